/*
 * world_trace: what happened in a seeded world, one line an event with its true time, for the
 * person who repeats a seed; and a sum over all lines, by which two runs of one seed are compared.
 */
#ifndef WORLD_TRACE_H
#define WORLD_TRACE_H

#include <stdbool.h>
#include <stdint.h>

/** Begins anew; `aloud`: lines are printed as they come. */
void world_trace_begin(bool aloud);
/** One line; line breaks within it become spaces. */
__attribute__((format(printf, 1, 2))) void world_trace(const char *format, ...);
/** Sum over all lines so far. */
uint64_t world_trace_sum(void);
/** A promise is broken: one line, counted; the run goes on, so that a seed says all it found. */
__attribute__((format(printf, 1, 2))) void world_broken(const char *format, ...);
/** Promises broken since world_trace_begin, and the first of them ("" when there is none). */
unsigned world_broken_count(void);
const char *world_broken_first(void);

#endif
