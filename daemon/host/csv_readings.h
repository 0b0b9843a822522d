/*
 * csv_readings: records of CSV with the columns time, system, point, value, unit (in any order,
 * more are ignored) to readings of a fleet. Fast: a replay reads millions. Where the first column
 * is line, it names the line of the file that a row came from.
 *
 * Time is RFC 3339. An empty unit is the point's own. A value is what was measured: scale and
 * offset of the sensor are already in it, so that what `export` writes comes back the same.
 */
#ifndef DAEMON_HOST_CSV_READINGS_H
#define DAEMON_HOST_CSV_READINGS_H

#include "measure/refusal.h"
#include "monitor/fleet.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct csv_readings;

/** For one fleet (borrowed). NULL when out of memory. */
struct csv_readings *csv_readings_create(const struct fleet *fleet);
void csv_readings_destroy(struct csv_readings *rows); /* NULL does nothing */

/** Reads the header record. False with a sentence in `why` when a column is missing. */
bool csv_readings_header(struct csv_readings *rows, char *text, size_t length, char *why,
                         size_t why_size);

struct csv_reading {
    int64_t time_ms;
    size_t point; /* of the fleet */
    double value; /* SI */
    int64_t line; /* 0: no such column */
};

/**
 * Reads one record (unquoting in place). REFUSAL_NONE when the row is good, else the reason with a
 * sentence in `why`; with REFUSAL_OUT_OF_RANGE time and point are set too.
 */
enum refusal csv_readings_read(struct csv_readings *rows, char *text, size_t length,
                               struct csv_reading *row, char *why, size_t why_size);

#endif
