/*
 * monitor: the pure heart. (fleet, reading, now) go in; alarms, their history, hourly rollups and
 * the trackers that must survive a restart come out when the owner asks (monitor_flush).
 *
 * Two clocks meet here. Readings are judged at their own time, point by point, so a backlog gives
 * what live readings would have given. `monitor_advance` brings the clock on the wall: delays that
 * end without a further reading, silence, shelvings, dates. While a backlog comes in
 * (monitor_set_backlog) the wall clock decides nothing about points, because the broker may still
 * hold what would contradict it.
 *
 * Nothing here does I/O or asks for the time.
 */
#ifndef MONITOR_MONITOR_H
#define MONITOR_MONITOR_H

#include "monitor/alarm_book.h"
#include "monitor/fitted_fans.h"
#include "monitor/fleet.h"
#include "monitor/judge.h"
#include "monitor/neighbours.h"
#include "monitor/point_state.h"
#include "monitor/renewal_list.h"

struct monitor;

/** A monitor of a fleet (borrowed). NULL when out of memory. */
struct monitor *monitor_create(const struct fleet *fleet);
/** One of new settings, beside the one at work: complete only after monitor_take_over, for what
   does not change is not made twice. */
struct monitor *monitor_create_beside(const struct fleet_change *change);
void monitor_destroy(struct monitor *monitor); /* NULL does nothing */

const struct fleet *monitor_fleet(const struct monitor *monitor);
struct alarm_book *monitor_alarms(struct monitor *monitor);
const struct point_state *monitor_point(const struct monitor *monitor, size_t point);
/** What the houses of each region have in common; belongs to the monitor. */
struct neighbours *monitor_neighbours(const struct monitor *monitor);

/* ---- what the store knows, at start-up ---- */

/** Newest reading of a point, since when its value has not moved, and its running hour. What was
    loaded of its readings before is forgotten. */
void monitor_load_newest(struct monitor *monitor, size_t point, const struct reading *newest,
                         int64_t unchanged_since_ms, const struct rollup_hour *hour);
/** Hours of some weeks, for points whose value stands still: was that their way (rests.h)? */
void monitor_load_rests(struct monitor *monitor, size_t point, const struct rollup_hour *hours,
                        size_t count);
/** Does the monitor need the last 25 hours of this point? */
bool monitor_wants_hours(const struct monitor *monitor, size_t point);
void monitor_load_hour(struct monitor *monitor, size_t point, const struct rollup_hour *hour);
/** A value that can be no baseline (quantity.h) is left out. False: out of memory. */
bool monitor_load_baseline(struct monitor *monitor, size_t point, int64_t from_ms, double value,
                           const char *by, bool learned);

/** A fan that a record names, from an instant on; one of a branch that the settings do not know is
    left out. False: out of memory. */
bool monitor_load_fan(struct monitor *monitor, size_t system, int64_t since_ms,
                      const struct equipment *equipment);
/** Forgets the fans of the records, before they are loaded anew. */
void monitor_forget_fans(struct monitor *monitor, size_t system);
/** The fans of a branch by the records; before the first the system file holds. */
const struct fitted_fans *monitor_fans(const struct monitor *monitor, size_t system, size_t branch);

/** A tracker that is not at rest. Indexes are FLEET_NONE where the scope is wider. */
struct monitor_tracker {
    size_t system, point;
    enum condition condition;
    struct tracker tracker;
};
void monitor_load_tracker(struct monitor *monitor, const struct monitor_tracker *stored);

/** Dates that make a visit due; TIMESTAMP_NONE where there is none. */
struct monitor_dates {
    int64_t tested_ms;           /* end of the last radon test: retest-due counts from here */
    int64_t commissioned_ms;     /* for the first time: a system never tested is due 30 d later */
    int64_t visited_ms;          /* last visit or commissioning: visit-due counts from here */
    int64_t next_calibration_ms; /* calibration-due */
};
#define MONITOR_NO_DATES                                                                           \
    { TIMESTAMP_NONE, TIMESTAMP_NONE, TIMESTAMP_NONE, TIMESTAMP_NONE }
void monitor_set_dates(struct monitor *monitor, size_t system, const struct monitor_dates *dates);
const struct monitor_dates *monitor_dates(const struct monitor *monitor, size_t system);
/** What work changed at a system (renewal_list.h), and when. False when out of memory. */
bool monitor_load_renewal(struct monitor *monitor, size_t system, int64_t from_ms,
                          unsigned changed);
const struct renewal_list *monitor_renewals(const struct monitor *monitor, size_t system);
/** When a dated condition of a system is due; INT64_MAX: never. */
int64_t monitor_due_ms(const struct monitor *monitor, size_t system, enum condition condition);
/** When a point that is read by hand is to be read again: an interval after the last reading, a
    commissioning value included; INT64_MAX: never read. */
int64_t monitor_reading_due_ms(const struct monitor *monitor, size_t point);

/** Out of service until an instant; TIMESTAMP_NONE: in service. */
void monitor_set_out_of_service(struct monitor *monitor, size_t system, int64_t until_ms);
int64_t monitor_out_of_service_until(const struct monitor *monitor, size_t system);

/* ---- new settings ---- */

/**
 * Ends what `next` (the monitor's own fleet, or the one to come) no longer watches: its alarms are
 * closed (alarm_book_unwatch), its delays stop. Call it after a load, and before a take-over; then
 * tell and write.
 */
void monitor_end_unwatched(struct monitor *monitor, const struct fleet *next, int64_t now_ms);

/** A system is about to be forgotten here: what ends with it is told to nobody as over. */
void monitor_end_untold(struct monitor *monitor, size_t system);

/**
 * Takes over the memory of the monitor of the former settings, of which nothing may wait to be
 * written; it can only be destroyed afterwards. What change->unchanged says is taken as it is; of
 * other points this monitor has loaded the readings, and of new ones the baselines. Cannot fail.
 */
void monitor_take_over(struct monitor *monitor, struct monitor *former,
                       const struct fleet_change *change, int64_t now_ms);

/* ---- what happens ---- */

/** Is the time of a reading after every one before of its point? Else it is late: store it, then
    have a second look (second_look.h). */
bool monitor_is_newest(const struct monitor *monitor, size_t point, int64_t time_ms);
/** Time of the newest reading of all points; TIMESTAMP_NONE: there is none. */
int64_t monitor_newest_ms(const struct monitor *monitor);
/** Is a condition of a point more than at rest: its delay runs, or it stands? */
bool monitor_holds(const struct monitor *monitor, size_t point, enum condition condition);
/** The newest reading of a point; its time is TIMESTAMP_NONE when there is none. */
struct reading monitor_newest(const struct monitor *monitor, size_t point);

/** Judges a reading that is the newest of its point. `arrival_ms` is our clock. */
void monitor_reading(struct monitor *monitor, size_t point, const struct reading *reading,
                     int64_t arrival_ms);
/** A reading without a time of its own gets this one: the next of a burst gets a later one. */
void monitor_plain(struct monitor *monitor, size_t point, int64_t time_ms, int64_t arrival_ms);

/** A message of the point was refused: as impossible (`value` in SI, NaN: not known), or because of
    its time. */
void monitor_refused(struct monitor *monitor, size_t point, enum refusal refusal, double value,
                     int64_t arrival_ms);

/** A second look at a point (second_look.h) is still to be made: what is found of it meanwhile
   waits before it is told. */
void monitor_set_look_waits(struct monitor *monitor, size_t point, bool waits);

/** A finding made once a day; of a whole branch `point` is its fleet_branch_place. */
void monitor_daily(struct monitor *monitor, size_t system, size_t point, enum condition condition,
                   bool holds, bool cleared, double value, double setpoint, int64_t time_ms);

/** Something about the daemon itself begins or ends. `subject` (copied, may be NULL) names it. */
void monitor_daemon(struct monitor *monitor, enum condition condition, bool holds,
                    const char *subject, double value, int64_t now_ms);

/* ---- time ---- */

/** A backlog begins or ends; silence is judged one interval after the end at the earliest. */
void monitor_set_backlog(struct monitor *monitor, bool backlog, int64_t now_ms);
/** The clock on the wall was moved: delays and silence count on from where they were. */
void monitor_clock_moved(struct monitor *monitor, int64_t by_ms);
/** Lets the wall clock act. Returns when to call again at the latest. */
int64_t monitor_advance(struct monitor *monitor, int64_t now_ms);

/**
 * Tells what is certain: a live finding at once, one from the past when its system has been quiet
 * for two seconds (the end of a backlog). True when something still waits.
 */
bool monitor_tell(struct monitor *monitor, int64_t now_ms, void *context,
                  void (*tell)(void *context, struct alarm *alarm, enum alarm_notice notice));

/* ---- what must be kept ---- */

struct monitor_sink {
    void *context;
    bool (*hour)(void *context, size_t point, const struct rollup_hour *hour);
    bool (*alarm)(void *context, const struct alarm *alarm);
    bool (*tracker)(void *context, const struct monitor_tracker *tracker); /* REST: delete */
};
/** Is there anything to hand out? Then hands it out. False when a callback says so; then the
    memory is ahead of the store and the monitor must be loaded anew. */
bool monitor_has_changes(const struct monitor *monitor);
bool monitor_flush(struct monitor *monitor, const struct monitor_sink *sink);
/** The hours alone. */
bool monitor_flush_hours(struct monitor *monitor, const struct monitor_sink *sink);

/* ---- what people see ---- */

enum monitor_status {
    MONITOR_IN_SPEC,
    MONITOR_DRIFTING,
    MONITOR_OUT_OF_SPEC,
    MONITOR_SILENT,
    MONITOR_OUT_OF_SERVICE,
    MONITOR_STATUSES
};
/** Status of a system, and since when (TIMESTAMP_NONE: unknown). */
enum monitor_status monitor_status(const struct monitor *monitor, size_t system, int64_t *since_ms);
/** How many systems of each status. */
void monitor_tally(const struct monitor *monitor, size_t tally[MONITOR_STATUSES]);
const char *monitor_status_word(enum monitor_status status); /* "out of spec" */
/** Newest reading of any point of a system; TIMESTAMP_NONE: none yet. */
int64_t monitor_system_newest_ms(const struct monitor *monitor, size_t system);

#endif
