/*
 * pipeline: what a message, a batch and a tick cause. The only place that knows the whole path:
 * decode, store, judge, tell. Everything one turn of the loop causes is one transaction:
 *
 *     pipeline_message …   readings, refusals        (opens the transaction)
 *     pipeline_tick        delays, silence, dates
 *     pipeline_look_again  second looks after late readings, a share of them
 *     pipeline_write       rollups, alarms, trackers, outbox rows
 *     pipeline_commit      COMMIT
 *
 * When anything fails, nothing of the turn is kept and the memory is ahead of the store: the owner
 * closes the pipeline, drops the broker connection and opens a new one when the store works again.
 */
#ifndef DAEMON_PIPELINE_PIPELINE_H
#define DAEMON_PIPELINE_PIPELINE_H

#include "link/intake.h"
#include "measure/payload.h"
#include "monitor/monitor.h"
#include "pipeline/busy_points.h"
#include "pipeline/clock_question.h"
#include "pipeline/monitor_memory.h"
#include "store/forget.h"
#include "store/in_hand.h"
#include "store/store_turn.h"
#include "tell/announce.h"

struct pipeline;

/** Opens the way from fleet to store (both borrowed). NULL with a sentence in `why`. */
struct pipeline *pipeline_open(const struct fleet *fleet, struct store *store, int64_t now_ms,
                               char *why, size_t why_size);
void pipeline_close(struct pipeline *pipeline); /* NULL does nothing */

/**
 * A pipeline for new settings, beside the one at work (its store is used between turns): open it,
 * call pipeline_read_beside until nothing more is to be read, then, within one turn,
 * pipeline_hand_over and pipeline_take_over. Until then it can be closed again at any time. NULL
 * with a sentence in `why`.
 */
struct pipeline *pipeline_open_beside(const struct pipeline *former,
                                      const struct fleet_change *change, char *why,
                                      size_t why_size);
enum store_status pipeline_read_beside(struct pipeline *pipeline, const struct fleet_change *change,
                                       int64_t until_monotonic_ms, bool *more);
/** The last step before: ends in `former` what the new settings no longer watch, and commits. */
enum store_status pipeline_hand_over(struct pipeline *former, struct pipeline *pipeline,
                                     const struct fleet_change *change, int64_t now_ms);
/** Takes over the memory of `former`, which can only be closed afterwards. Cannot fail. */
void pipeline_take_over(struct pipeline *pipeline, struct pipeline *former,
                        const struct fleet_change *change, int64_t now_ms);

struct monitor *pipeline_monitor(struct pipeline *pipeline);
struct alarm_book *pipeline_alarms(struct pipeline *pipeline); /* the monitor's */
struct announce *pipeline_announce(struct pipeline *pipeline);
/** Which points send far more than they should (busy_points.h). */
const struct busy_points *pipeline_busy(const struct pipeline *pipeline);
/** NULL after pipeline_forget_store. */
struct store *pipeline_store(const struct pipeline *pipeline);
int64_t pipeline_key(const struct pipeline *pipeline, size_t point);
/** The mean of a point over the last 30 days (month_means.h); only while there is a store. */
enum store_status pipeline_month_mean(struct pipeline *pipeline, size_t point, int64_t now_ms,
                                      struct month_mean *mean);
/** What explains and studies asks this (its store is NULL after pipeline_forget_store). */
struct monitor_memory *pipeline_memory(struct pipeline *pipeline);

/** Where it is noted what is in hand, from here on (borrowed; NULL: nowhere). */
void pipeline_set_in_hand(struct pipeline *pipeline, struct in_hand *hand);

/** Forgets a system that is no longer watched, in the turn's transaction: pages of the store, what
    comes and goes, notes of what was in hand. */
void pipeline_forget(struct pipeline *pipeline, const struct forget *what);

/**
 * One message from the broker, and what it said when asked with the same `now_ms` and fleet (or
 * NULL). After a failure in this turn nothing more is taken.
 */
void pipeline_message(struct pipeline *pipeline, const struct intake_message *message,
                      const struct clock_answer *asked, int64_t now_ms);

enum pipeline_taken { PIPELINE_NEW, PIPELINE_SAME, PIPELINE_CONFLICT, PIPELINE_FAILED };
/** One checked reading of a point. */
enum pipeline_taken pipeline_take(struct pipeline *pipeline, size_t point,
                                  const struct reading *reading, enum series_origin origin,
                                  int64_t now_ms);

/* A checked reading of history, and what became of it. */
struct pipeline_row {
    size_t point;
    struct reading reading;
    int64_t line; /* where it stood: of two of one instant the first counts */
    enum pipeline_taken taken;
};
/** Many of them at once, in any order; they are put in order of time. Where one is PIPELINE_FAILED,
    so is the turn. */
void pipeline_import(struct pipeline *pipeline, struct pipeline_row *rows, size_t count,
                     int64_t now_ms);
/** Days that ended by then are over: they lie packed. */
int64_t pipeline_pack_before_ms(int64_t now_ms);

/** The turn's transaction, which the pipeline ends; lent to others who write in it. */
struct store_turn *pipeline_turn(struct pipeline *pipeline);
/** Its store_turn_begin and store_turn_note. */
bool pipeline_begin(struct pipeline *pipeline);
bool pipeline_note(struct pipeline *pipeline, enum store_status status);
/** pipeline_begin for a named piece of work besides readings; false also when it was in hand at two
   deaths of the daemon. */
bool pipeline_begin_task(struct pipeline *pipeline, const char *name);

/** The broker's backlog begins (connected) or has been read; lets the wall clock act only after. */
void pipeline_set_backlog(struct pipeline *pipeline, bool backlog, int64_t now_ms);

/** The connection to the broker is back after [from, to): watch for what was lost. */
void pipeline_was_away(struct pipeline *pipeline, int64_t from_ms, int64_t to_ms);

/** The clock on the wall was moved: delays follow it, and people are told. */
void pipeline_clock_moved(struct pipeline *pipeline, int64_t by_ms, int64_t now_ms);
/** While the clock is not trusted nobody is told anything: its time would be the message's. */
void pipeline_set_quiet(struct pipeline *pipeline, bool quiet);
/** What was told lies ahead of the clock, by `by_ms`: it was told by a clock that is right now. */
void pipeline_clock_back(struct pipeline *pipeline, int64_t by_ms, int64_t now_ms);
/** The instant from which retention counts; TIMESTAMP_NONE: nothing is deleted now. */
int64_t pipeline_keep_from_ms(const struct pipeline *pipeline, int64_t now_ms);

/** Lets the wall clock act. Returns when to call again at the latest. */
int64_t pipeline_tick(struct pipeline *pipeline, int64_t now_ms);

/** Makes second looks until the monotonic clock says so; what is left waits in the store. */
void pipeline_look_again(struct pipeline *pipeline, int64_t until_monotonic_ms);
/** Points whose second look is still to be made or ended. */
size_t pipeline_looks_waiting(const struct pipeline *pipeline);

/** Writes all that the turn caused: what is told, hours, alarms, trackers. Then only
   pipeline_commit is left, and what others write before it. */
void pipeline_write(struct pipeline *pipeline, int64_t now_ms);
/** Ends the turn. Not STORE_OK: nothing of it was kept. */
enum store_status pipeline_commit(struct pipeline *pipeline);
/** Both. */
enum store_status pipeline_settle(struct pipeline *pipeline, int64_t now_ms);
/** What a point is judged by changed from an instant on: notes a second look. */
void pipeline_judge_again(struct pipeline *pipeline, size_t point, int64_t from_ms);
/** Reads baselines and dates of a system anew, within the turn. */
enum store_status pipeline_read_records(struct pipeline *pipeline, size_t system);

/** Is anything of the turn not committed yet? */
bool pipeline_uncommitted(const struct pipeline *pipeline);

/** The store is closed by its owner: from here on only the monitor's memory is left. */
void pipeline_forget_store(struct pipeline *pipeline);

struct pipeline_counters {
    uint64_t messages, readings, repeats, conflicts, refused, unclaimed, late, retained;
    uint64_t behind; /* readings from the past, see backlog.h */
};
struct pipeline_counters pipeline_count(const struct pipeline *pipeline);

#endif
