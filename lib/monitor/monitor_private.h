/*
 * monitor_private: the body of a monitor, shared by the files that make it up: monitor.c (readings,
 * time, telling), monitor_stored.c (from and to the store), monitor_wider.c (systems, the daemon),
 * silence.c (points, systems, the fleet falling silent), second_look.c, new_settings.c. Not for
 * anybody else.
 */
#ifndef MONITOR_MONITOR_PRIVATE_H
#define MONITOR_MONITOR_PRIVATE_H

#include "monitor/fitted_fans.h"
#include "monitor/monitor.h"

enum system_tracker {
    SYSTEM_TRACKER_SILENT,
    SYSTEM_TRACKER_RETEST,
    SYSTEM_TRACKER_VISIT,
    SYSTEM_TRACKER_CALIBRATION,
    SYSTEM_TRACKER_COUNT
};

enum branch_tracker {
    BRANCH_TRACKER_FAN_WEAK,
    BRANCH_TRACKER_FAN_FADING,
    BRANCH_TRACKER_GROUND_CHANGED,
    BRANCH_TRACKER_COUNT
};

struct branch_state {
    struct fitted_fans fans; /* by the records */
    struct tracker trackers[BRANCH_TRACKER_COUNT];
};

struct system_state {
    struct monitor_dates dates;
    struct renewal_list renewals;
    int64_t out_until_ms; /* TIMESTAMP_NONE: in service */
    struct tracker trackers[SYSTEM_TRACKER_COUNT];
};

struct point_rule {
    size_t point, rule;
};

struct closed_hour {
    size_t point;
    struct rollup_hour hour;
};

/* A growing array; used for everything that waits for the next flush. */
struct list {
    void *items;
    size_t count;
};

/* What the newest readings of a system's points say of its silence. */
struct system_silence {
    int64_t look_at_ms; /* before it a look finds the same */
    size_t seen;        /* points that ever reported */
    int64_t newest_ms;  /* newest reading of the system */
    int64_t overdue_ms; /* since when all that should have reported have not; */
    int64_t silent_ms;  /* since when they are silent; */
    int64_t raised_ms;  /* when that has lasted for the on-delay; INT64_MAX: it is not so */
};

struct monitor {
    const struct fleet *fleet;
    struct alarm_book *book;
    struct neighbours *neighbours;
    struct point_state *points;
    struct tracker *trackers; /* of all points, side by side */
    bool *has_moved;          /* per such tracker: it stands in `moved` */
    struct system_state *systems;
    struct branch_state *branches; /* of all systems, side by side */
    struct tracker daemon_trackers[CONDITION_COUNT];
    char *daemon_subjects[CONDITION_COUNT]; /* last named, for a delay that ends by the clock */
    struct tracker fleet_silent;
    struct judge judge;
    struct list running;             /* size_t: points with a delay that runs */
    bool *is_running;                /* per point */
    bool *look_waits;                /* per point: a second look is still to be made */
    struct system_silence *silences; /* per system, as of the last look */
    struct list hours;               /* struct closed_hour */
    struct list changed_points;      /* size_t: their running hour changed */
    struct list moved;               /* struct point_rule */
    struct list moved_other;         /* struct monitor_tracker of systems and the daemon */
    bool out_of_memory;              /* a list could not grow: the next flush fails */
    bool backlog;
    int64_t arrival_ms; /* of the reading being judged */
    int64_t scanned_ms, dates_ms, advanced_ms;
    int64_t next_date_ms; /* before it no date comes and no time out of service ends */
    int64_t expired_ms;   /* up to here the clock has ended delays of points */
    int64_t newest_ms;    /* of all points */
};

/** Appends one item of `size` bytes; on failure sets out_of_memory. */
void monitor_list_add(struct monitor *monitor, struct list *list, const void *item, size_t size);

/** Raises or returns an alarm of a wider scope. */
void monitor_raise(struct monitor *monitor, size_t system, size_t point, enum condition condition,
                   int64_t since_ms, int64_t raised_ms, double value, double setpoint,
                   const char *subject);

/** Notes that a tracker of a branch, a system, the fleet or the daemon changed. */
void monitor_moved_other(struct monitor *monitor, size_t system, size_t point,
                         enum condition condition, const struct tracker *tracker);

/** The tracker of a condition of a wider scope; `point`: the place of a branch, else FLEET_NONE.
    NULL: it has none. */
struct tracker *monitor_wider_tracker(struct monitor *monitor, size_t system, size_t point,
                                      enum condition condition);
/** monitor_stored.c: the newest reading of all points may be this one. */
void monitor_note_newest(struct monitor *monitor, int64_t time_ms);
/** monitor_wider.c: after a reading of a point: a new outdoor temperature makes a new draft in the
    risers of its system. */
void monitor_note_weather(struct monitor *monitor, size_t point);
/** monitor_wider.c: raises and returns the dates of all systems and ends their time out of service;
    costs nothing until the next of them comes. */
void monitor_judge_dates(struct monitor *monitor, int64_t now_ms);
/** monitor_wider.c: something that dates are counted from changed: all are looked at next time. */
void monitor_dates_changed(struct monitor *monitor);
/** monitor_wider.c: raises or returns a condition of the daemon itself, as its tracker says. */
void monitor_daemon_event(struct monitor *monitor, enum condition condition,
                          enum tracker_event event, int64_t at_ms, double value,
                          const char *subject);
/** A point has a delay that runs: it is looked at by the clock. */
void monitor_note_running(struct monitor *monitor, size_t point);
/** Up to which instant no further reading of the point is to be expected at `now_ms`: where
   readings come hours late, through a gateway that was cut off, that is hours ago. */
int64_t monitor_known_to_ms(const struct point_state *state, int64_t now_ms);

/** silence.c: looks by the clock on the wall at every system of which there may be more to say. */
void silence_scan(struct monitor *monitor, int64_t now_ms);
/** silence.c: what is known of a system has changed by more than a newer reading that came later:
    it is looked at next time. */
void silence_look_again(struct monitor *monitor, size_t system);
/** silence.c: the same of every system. */
void silence_look_at_all(struct monitor *monitor);
/** silence.c: has no point of the system said anything for too long, by the last look at the clock?
    True also while the alarm still waits, after a start or an import of old readings. */
bool silence_of_system(const struct monitor *monitor, size_t system);
/** silence.c: a reading came: the system is not silent any more. */
void silence_heard(struct monitor *monitor, size_t system, int64_t time_ms);

#endif
