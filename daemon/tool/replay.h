/*
 * replay: history through the same judgement as live readings, on a virtual clock, touching no
 * store. What would these limits have said?
 *
 * Readings are taken in order of time, each arriving at its own time; the clock goes from minute to
 * minute and stops at the last reading. Whoever is told acknowledges at once, so that a replay of
 * years stays small. A value that is physically impossible is judged as the daemon judges it live:
 * refused, and held against its sensor.
 */
#ifndef DAEMON_TOOL_REPLAY_H
#define DAEMON_TOOL_REPLAY_H

#include "monitor/monitor.h"

struct replay;

/** Whom a replay tells what; every function may be NULL. */
struct replay_listener {
    void *context;
    /** A line of the file that was not taken. Lines of conflicts come when the clock gets there. */
    void (*bad)(void *context, int64_t line, const char *why);
    void (*progress)(void *context, double done);
    /** A reading has been judged. */
    void (*taken)(void *context, size_t point, const struct reading *reading);
    /**
     * A local day of a system has ended; all its readings and then the day itself have been judged
     * (monitor/daily). Days after the last reading's are not told.
     */
    void (*day)(void *context, struct monitor *monitor, size_t system, int64_t local_day,
                int64_t start_ms, int64_t end_ms);
};

/** For a fleet (borrowed). NULL when out of memory. */
struct replay *replay_create(const struct fleet *fleet, const struct replay_listener *listener);
/** Compares the houses of each region (monitor/neighbours.h), as the daemon does; else each is
   judged as if it stood alone. */
void replay_compare_regions(struct replay *replay);
void replay_destroy(struct replay *replay); /* NULL does nothing */
struct monitor *replay_monitor(struct replay *replay);

/** Takes over the baselines and dates of a commissioning record. False when out of memory. */
bool replay_commission(struct replay *replay, size_t system, const struct commissioning *record);

/** Adds a reading; `line` tells where it stands. False when out of memory. */
bool replay_add(struct replay *replay, size_t point, int64_t time_ms, double value, int64_t line);
/** Adds all rows of a CSV file ("-": standard input). False with a sentence in `why`. */
bool replay_read(struct replay *replay, const char *path, char *why, size_t why_size);

/** Lets the clock run, once. False when out of memory. */
bool replay_run(struct replay *replay);

/** What would have been told: one occurrence of a condition. */
struct replay_alarm {
    size_t system, point; /* FLEET_NONE where the scope is wider */
    enum condition condition;
    enum priority priority;
    int64_t raised_ms;
    int64_t returned_ms; /* TIMESTAMP_NONE: still standing */
    char *cause;         /* of the diagnosis; NULL: none */
};
/** The rows in order of time, after replay_run; owned by the replay. */
const struct replay_alarm *replay_alarms(const struct replay *replay, size_t *count);

struct replay_counts {
    int64_t taken, same, bad;
    int64_t first_ms, last_ms; /* of the readings; TIMESTAMP_NONE: none */
};
struct replay_counts replay_counts(const struct replay *replay);

#endif
