/*
 * reading_rows: rows of CSV with the columns time, system, point, value, unit (in any order, more
 * are ignored) to readings of a fleet. Fast: a replay reads millions.
 *
 * Time is RFC 3339. An empty unit is the point's own. A value is what was measured: scale and
 * offset of the sensor are already in it, so that what `export` writes comes back the same.
 */
#ifndef DAEMON_HOST_READING_ROWS_H
#define DAEMON_HOST_READING_ROWS_H

#include "measure/refusal.h"
#include "monitor/fleet.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct reading_rows;

/** For one fleet (borrowed). NULL when out of memory. */
struct reading_rows *reading_rows_create(const struct fleet *fleet);
void reading_rows_destroy(struct reading_rows *rows); /* NULL does nothing */

/** Reads the header record. False with a sentence in `why` when a column is missing. */
bool reading_rows_header(struct reading_rows *rows, char *text, size_t length, char *why,
                         size_t why_size);

struct reading_row {
    int64_t time_ms;
    size_t point; /* of the fleet */
    double value; /* SI */
};

/**
 * Reads one record (unquoting in place). REFUSAL_NONE when the row is good, else the reason with a
 * sentence in `why`; with REFUSAL_OUT_OF_RANGE time and point are set too.
 */
enum refusal reading_rows_read(struct reading_rows *rows, char *text, size_t length,
                               struct reading_row *row, char *why, size_t why_size);

#endif
