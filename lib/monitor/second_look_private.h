/*
 * second_look_private: the body of a second look, shared by second_look.c (beginning, judging) and
 * second_look_end.c (comparing with the record, the end). Not for anybody else.
 */
#ifndef MONITOR_SECOND_LOOK_PRIVATE_H
#define MONITOR_SECOND_LOOK_PRIVATE_H

#include "monitor/monitor_private.h"
#include "monitor/second_look.h"

struct episode {
    size_t rule;
    int64_t since_ms, raised_ms, returned_ms; /* returned: TIMESTAMP_NONE while it stands */
    double value, setpoint, baseline;
    bool known; /* the record has it */
};

struct rule_look {
    bool judged; /* by readings alone; the others keep their trackers */
    bool stood;  /* `before` says what, at the last reading before the look */
    struct episode before;
    bool raised; /* the look-back has come to it */
    bool stands; /* `standing` says what, at the last reading judged */
    struct episode standing;
    bool heard;      /* some reading of the look had something to judge it by, */
    bool hears;      /* the last one had */
    bool agrees;     /* from here on this look and the record say the same of it */
    int64_t open_ms; /* when the open alarm was raised; TIMESTAMP_NONE: none is */
    bool holds;      /* `held` says what: it has ended, and is the open alarm if nothing follows */
    struct episode held;
};

struct recorded {
    size_t rule;
    struct second_look_occurrence row;
};

struct second_look {
    struct monitor *monitor;
    size_t point, rule_count;
    int64_t from_ms, before_ms, warm_ms, next_ms, reached_ms, settled_ms, again_ms;
    int64_t to_ms; /* of the last settling */
    bool begun;    /* the readings before `from_ms` are behind */
    struct rule_look *rules;
    struct point_state scratch;
    struct tracker *trackers, *asleep; /* of the scratch; asleep ones for what is only absorbed */
    struct rollup_window window;
    struct list found;     /* struct episode: ended since the last settling */
    struct list recorded;  /* struct recorded: not decided yet */
    struct list forgotten; /* int64_t */
};

/** The point looked at. */
const struct fleet_point *second_look_owner_of(const struct second_look *look);
/** The rule of a condition that the look judges; FLEET_NONE: none. */
size_t second_look_rule_of(const struct second_look *look, enum condition condition);
/** The alarm that stands by a rule, or NULL. */
struct alarm *second_look_open_alarm(const struct second_look *look, size_t rule);
/** Brings delays up to the clock as far as the look has come. */
void second_look_catch_up(struct second_look *look);

#endif
