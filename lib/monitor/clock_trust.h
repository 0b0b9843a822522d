/*
 * clock_trust: may the clock on the wall be believed?
 *
 * A reading without a time of its own gets ours, and one with a time of its own is refused when it
 * lies in our future; so a wrong clock moves readings, or loses them. Against the clock speak what
 * the store remembers, and times of several sensors that lie ahead of it. For it speak sensors
 * whose times agree with it, and a time service. What only the store remembers is given up after a
 * day: the clock may have been wrong when that was written. Where the clock was set back while we
 * ran, one sensor ahead is enough. Pure.
 */
#ifndef MONITOR_CLOCK_TRUST_H
#define MONITOR_CLOCK_TRUST_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/** So far a clock may stand before what was, or a sensor's time ahead of the clock. */
#define CLOCK_TRUST_SLACK_MS INT64_C(300000)

enum clock_doubt {
    CLOCK_TRUSTED,
    CLOCK_NOT_SET,         /* it stands before this program was made */
    CLOCK_BEFORE_READINGS, /* before the newest stored reading */
    CLOCK_BEFORE_LIFE,     /* before a time at which the service is known to have run */
    CLOCK_FAR_AHEAD,       /* a month or more after both */
    CLOCK_BEHIND_SENSORS   /* times of several points lie in its future */
};

/** What the store remembers; TIMESTAMP_NONE where it knows nothing. */
struct clock_memory {
    int64_t newest_ms; /* newest reading */
    int64_t life_ms;   /* when the service last noted that it ran */
};

/** What sensors with times of their own say of the clock. */
struct clock_sensors {
    unsigned char *said;       /* of each point: its last word */
    unsigned char *first_word; /* what its newest time said when it first came: one that waits with
                                  the broker is caught up by any clock, and does not agree then */
    int64_t *newest_ms;        /* that time */
    size_t points, ahead, agreeing;
};
bool clock_sensors_open(struct clock_sensors *sensors, size_t points); /* false: out of memory */
void clock_sensors_close(struct clock_sensors *sensors);
/** After the clock was set, nothing said before counts. */
void clock_sensors_forget(struct clock_sensors *sensors);
/** All messages that wait are asked once more. */
void clock_sensors_ask_anew(struct clock_sensors *sensors);
/** A time of a point's own lies more than the slack ahead of the clock. */
void clock_sensors_ahead(struct clock_sensors *sensors, size_t point);
/** A time of a point's own that does not; one older than `every_ms` says nothing of the clock. */
void clock_sensors_time(struct clock_sensors *sensors, size_t point, int64_t time_ms,
                        int64_t every_ms, int64_t now_ms);
/** Do so many agree (two, or the only one) that a time ahead is its sensor's fault? */
bool clock_sensors_agree(const struct clock_sensors *sensors);

struct clock_evidence {
    int64_t now_ms; /* what the clock says */
    struct clock_memory memory;
    const struct clock_sensors *sensors;
    bool synchronised; /* a time service says it sets this clock */
    bool moved_back;   /* under our eyes, by more than the slack, and no sensor agreed since */
    int64_t held_ms;   /* how long the clock has been doubted, by one that is never set */
};

/** What speaks against the clock by memory alone. */
enum clock_doubt clock_trust_by_memory(const struct clock_memory *memory, int64_t now_ms);
/** The judgement on all evidence. */
enum clock_doubt clock_trust_judge(const struct clock_evidence *evidence);

#endif
