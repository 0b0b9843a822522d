/*
 * history_memory: the past of all points as a replay needs it, built up reading by reading: daily
 * values for good, hourly sums for some weeks. Pure.
 */
#ifndef MONITOR_HISTORY_MEMORY_H
#define MONITOR_HISTORY_MEMORY_H

#include "measure/reading.h"
#include "monitor/fleet.h"
#include "monitor/history.h"

#include <stdbool.h>

struct history_memory;

/** For a fleet (borrowed). Hours are kept for `keep_hours` (0: 40 days). NULL: out of memory. */
struct history_memory *history_memory_create(const struct fleet *fleet, size_t keep_hours);
void history_memory_destroy(struct history_memory *memory); /* NULL does nothing */

/**
 * Takes a reading that is newer than all before of its point (an older one is left out). False when
 * out of memory.
 */
bool history_memory_add(struct history_memory *memory, size_t point, const struct reading *reading);

/** The exponent that a commissioning record gives from an instant on (NaN: none). */
void history_memory_set_exponent(struct history_memory *memory, size_t system, int64_t from_ms,
                                 double exponent);

/** How to ask; valid as long as the memory is. */
struct history history_memory_view(struct history_memory *memory);

#endif
