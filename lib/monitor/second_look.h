/*
 * second_look: the past of a point judged again, after readings came late or a new baseline was
 * recorded, in as many steps as the owner likes. The same judge works on the readings of a piece of
 * the past; what it finds is compared with the record of that time (occurrences in the history, the
 * open alarm): what is missing becomes history, what did not happen is forgotten, what stands in
 * the end is the open alarm. Nobody is told of a past that is over, and what people were told stays
 * as it was told.
 *
 * Where it begins. A reading that comes late at T changes nothing that happened up to A, the last
 * reading before T. So the record says what stood at A. What the record does not say (window,
 * rest, delays that ran) is found by judging the look-back before A without a word: whatever
 * stood at its beginning, a delay that runs at A began within it.
 *
 * Where it ends. With the newest reading; or sooner, a look-back after the last change, when every
 * condition has once agreed with the record: at a reading R that it was judged by, no delay of it
 * ran, and it stood by this look if and only if it stood by the record. From there on both are the
 * same for good: value, baseline, window of 24 h and rest of every later reading are (the look-back
 * is longer than each of them), and so is the tracker. One that is REST after R was not beyond its
 * setpoint at R: by the record, where it does not stand either, it is REST too. One that is
 * STANDING was not cleared at R: so it is by the record.
 *
 * Pure. One look holds what one piece found, never a whole past.
 */
#ifndef MONITOR_SECOND_LOOK_H
#define MONITOR_SECOND_LOOK_H

#include "monitor/monitor.h"

struct second_look;

/** An occurrence that is over, as the history has it. */
struct second_look_occurrence {
    int64_t id;
    enum condition condition;
    int64_t since_ms, raised_ms, returned_ms;
    double value, setpoint; /* SI; NaN: none */
    bool told;
};

/**
 * A look at what follows an instant. `before_ms` is the last reading before it, TIMESTAMP_NONE when
 * there is none. NULL when out of memory. The look must not outlive the monitor.
 */
struct second_look *second_look_create(struct monitor *monitor, size_t point, int64_t from_ms,
                                       int64_t before_ms);
void second_look_destroy(struct second_look *look); /* NULL does nothing */

/** Is a condition of the point one that a second look judges? Only its record is asked for. */
bool second_look_judges(const struct second_look *look, enum condition condition);

/** To be told first: the last occurrence of a condition that was raised by `before_ms`. */
void second_look_stood(struct second_look *look, const struct second_look_occurrence *last);

/** The next readings, in order, from second_look_next_ms on, none left out. */
void second_look_judge(struct second_look *look, const struct reading *readings, size_t count);
/** Readings are wanted from this instant on. */
int64_t second_look_next_ms(const struct second_look *look);
/** Time of the last reading judged; TIMESTAMP_NONE: none yet. */
int64_t second_look_reached_ms(const struct second_look *look);

/** After second_look_judge: what the history has of the time since the last settling, in
   any order. False when out of memory. */
bool second_look_recorded(struct second_look *look,
                          const struct second_look_occurrence *occurrence);
/** Occurrences are wanted that were raised after this instant and up to second_look_reached_ms (to
    the last there is, when the readings have ended). */
int64_t second_look_settled_ms(const struct second_look *look);

enum second_look_progress { SECOND_LOOK_GOES_ON, SECOND_LOOK_DONE, SECOND_LOOK_NO_MEMORY };
/**
 * Compares what was judged with what is recorded. `ended`: there are no further readings; then the
 * look's state becomes the point's. `to_ms`: it may end a look-back after that instant.
 */
enum second_look_progress second_look_settle(struct second_look *look, bool ended, int64_t to_ms);
/** Untold occurrences that did not happen after all, by the last settling: to be deleted once the
    alarm book has been written. Owned by the look. */
const int64_t *second_look_forgotten(const struct second_look *look, size_t *count);
/** Did an alarm end since the last settling that the look had taken for open? Then begin again. */
bool second_look_is_stale(const struct second_look *look);
/** Where a look that is broken off here must begin again. */
int64_t second_look_again_ms(const struct second_look *look);

/** How far back and on a second look reaches, so that every window and delay of the point fits. */
int64_t second_look_lookback_ms(const struct monitor *monitor, size_t point);

#endif
