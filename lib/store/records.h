/*
 * records: everything in the store that is neither a series nor a message: alarms and their
 * trackers, commissioning, visits, service states, refusals, unclaimed topics, and small notes.
 *
 * Strings handed in are borrowed. Strings handed out in a struct belong to it; free it with the
 * function named. A list callback gets a row that is valid only during the call; a callback that
 * returns false ends the list.
 */
#ifndef STORE_RECORDS_H
#define STORE_RECORDS_H

#include "store/store.h"

/* ---- alarms: one row an occurrence, kept for good ---- */

struct record_alarm {
    int64_t id;                 /* 1, 2, 3, … given by the monitor */
    const char *system, *point; /* "" where the scope is wider */
    const char *condition, *state, *priority;
    int64_t since_ms;                   /* when the condition began */
    int64_t raised_ms;                  /* event time at which the on-delay was over */
    int64_t returned_ms;                /* TIMESTAMP_NONE while it stands */
    int64_t acknowledged_ms;            /* TIMESTAMP_NONE */
    const char *acknowledged_by, *note; /* or NULL */
    int64_t shelved_until_ms;           /* TIMESTAMP_NONE */
    const char *shelved_by, *shelved_why;
    double value, setpoint;            /* SI, NaN: none */
    const char *unit;                  /* SI word or "" */
    bool told;                         /* a message about the raise is in the outbox */
    bool open;                         /* in `alarms`, not only in the history */
    int64_t reminded_ms, escalated_ms; /* TIMESTAMP_NONE */
    const char *details;               /* JSON: diagnosis, check, bring, text; or NULL */
};
typedef bool record_alarm_row(void *context, const struct record_alarm *alarm);

enum store_status record_alarm_put(struct store *store, const struct record_alarm *alarm);
enum store_status record_alarm_delete(struct store *store, int64_t id);
enum store_status record_alarm_highest(struct store *store, int64_t *id); /* 0 when none */

struct record_alarm_filter {
    bool only_open;
    const char *system;    /* NULL: all */
    const char *point;     /* NULL: all */
    const char *condition; /* NULL: all */
    int64_t since_ms;      /* raised or standing at or after; TIMESTAMP_NONE: all */
    int64_t limit;         /* 0: no limit */
    /* Where the list goes on: behind the alarm of this number and raise; before_id 0: nowhere. */
    int64_t before_id, before_raised_ms;
};
/** Newest raised first, of one instant the highest number. */
enum store_status record_alarm_list(struct store *store, const struct record_alarm_filter *filter,
                                    record_alarm_row *row, void *context);
/** One alarm by number; STORE_NOT_FOUND. */
enum store_status record_alarm_get(struct store *store, int64_t id, record_alarm_row *row,
                                   void *context);

/** Occurrences of a condition of a point with after < raised <= until, the last one first. */
enum store_status record_alarm_raised(struct store *store, const char *system, const char *point,
                                      const char *condition, int64_t after_ms, int64_t until_ms,
                                      record_alarm_row *row, void *context);

/* ---- second looks that are still to be made (schema_4.sql) ---- */

struct record_look {
    int64_t from_ms, to_ms;           /* judged again from here on, so far at least */
    int64_t late_from_ms, late_to_ms; /* where late readings lie; TIMESTAMP_NONE: none came */
};
typedef bool record_look_row(void *context, const char *system, const char *point,
                             const struct record_look *look);
/** `key` is the point's, see series_key. */
enum store_status record_look_put(struct store *store, int64_t key, const struct record_look *look);
/** Forgets all of a point. */
enum store_status record_look_delete(struct store *store, int64_t key);
enum store_status record_look_list(struct store *store, record_look_row *row, void *context);

/* ---- trackers: where a delay that runs stands; only rows that are not at rest ---- */

struct record_tracker {
    const char *system, *point, *condition;
    int phase;        /* enum alarm_phase of the monitor */
    int64_t since_ms; /* when the phase began, event time */
};
typedef bool record_tracker_row(void *context, const struct record_tracker *tracker);
enum store_status record_tracker_put(struct store *store, const struct record_tracker *tracker);
enum store_status record_tracker_delete(struct store *store, const char *system, const char *point,
                                        const char *condition);
enum store_status record_tracker_list(struct store *store, record_tracker_row *row, void *context);

/** Of what people put on record. */
enum record_order { RECORD_OLDEST_FIRST = 1, RECORD_NEWEST_FIRST = -1 };

/* ---- commissioning records and learned baselines ---- */

struct record_commissioning {
    int64_t id;
    const char *system;
    int64_t from_ms;
    int64_t recorded_ms;
    const char *by;
    const char *origin; /* "commissioned" or "learned" */
    const char *text;   /* the record as JSON, SI values: {"points":{"suction":274.0},…} */
};
typedef bool record_commissioning_row(void *context, const struct record_commissioning *record);
enum store_status record_commissioning_add(struct store *store,
                                           const struct record_commissioning *record, int64_t *id);
/** Of one system (NULL: all). */
enum store_status record_commissioning_list(struct store *store, const char *system,
                                            enum record_order order, record_commissioning_row *row,
                                            void *context);

/* ---- readings by hand: the reading is in its series, here is who took it (schema_5.sql) ---- */

struct record_by_hand {
    int64_t time_ms;
    double value; /* SI */
    const char *by;
};
typedef bool record_by_hand_row(void *context, const struct record_by_hand *record);
/** `key` is the point's, see series_key. Said again, the first one to say it stays. */
enum store_status record_by_hand_add(struct store *store, int64_t key,
                                     const struct record_by_hand *record);
/** Of one point, newest first, `most` at most. */
enum store_status record_by_hand_newest(struct store *store, int64_t key, int most,
                                        record_by_hand_row *row, void *context);

/* ---- visits ---- */

struct record_visit {
    int64_t id;
    const char *system;
    int64_t on_ms, recorded_ms;
    const char *by, *found, *did;
    const char
        *text; /* JSON: further facts such as measured values and reasons answered; or NULL */
};
typedef bool record_visit_row(void *context, const struct record_visit *visit);
enum store_status record_visit_add(struct store *store, const struct record_visit *visit,
                                   int64_t *id);
enum store_status record_visit_list(struct store *store, const char *system,
                                    enum record_order order, record_visit_row *row, void *context);

/* ---- radon tests: results with the place and the days they are of (schema_6.sql) ---- */

enum record_answer { RECORD_NO, RECORD_YES, RECORD_UNKNOWN };

struct record_radon_test {
    int64_t id;
    const char *system;
    int64_t from_ms, to_ms, recorded_ms;
    double value_bq_m3;
    double uncertainty_relative; /* standard uncertainty, 0.10 for 10 % */
    const char *kind;            /* "short" or "long" */
    const char *place, *device, *by;
    enum record_answer closed_house; /* doors and windows kept closed, as short tests ask for */
};
typedef bool record_radon_test_row(void *context, const struct record_radon_test *test);
enum store_status record_radon_test_add(struct store *store, const struct record_radon_test *test,
                                        int64_t *id);
/** The same result of the same days, device and place, whoever wrote it down; STORE_NOT_FOUND. */
enum store_status record_radon_test_find(struct store *store, const struct record_radon_test *test,
                                         int64_t *id);
/** STORE_NOT_FOUND. */
enum store_status record_radon_test_get(struct store *store, int64_t id, record_radon_test_row *row,
                                        void *context);
/** With what a household sent of it. Does nothing when there is none. */
enum store_status record_radon_test_delete(struct store *store, int64_t id);
/** Of one system (NULL: all), by the end of the test. */
enum store_status record_radon_test_list(struct store *store, const char *system,
                                         enum record_order order, record_radon_test_row *row,
                                         void *context);

/* ---- what a household sent by the link of its house (schema_7.sql) ---- */

struct record_home_report {
    const char *system;
    int64_t sent_ms, time_ms; /* when it came, and when what it tells of was */
    const char *kind;         /* home_report_word */
    const char *branch;       /* NULL: of none, or of the only one */
    double value;             /* SI; NaN: none */
    const char *note;         /* or NULL */
};
typedef bool record_home_report_row(void *context, const struct record_home_report *report);
enum store_status record_home_report_add(struct store *store,
                                         const struct record_home_report *report);
/** Of one system, newest first, `most` at most. */
enum store_status record_home_report_newest(struct store *store, const char *system, int most,
                                            record_home_report_row *row, void *context);
/** How many came at or after an instant. */
enum store_status record_home_report_count(struct store *store, const char *system,
                                           int64_t since_ms, int64_t *count);

/* ---- out of service ---- */

struct record_service {
    const char *system;
    int64_t from_ms, until_ms;
    const char *by, *why;
};
typedef bool record_service_row(void *context, const struct record_service *service);
enum store_status record_service_put(struct store *store, const struct record_service *service);
enum store_status record_service_delete(struct store *store, const char *system);
enum store_status record_service_list(struct store *store, record_service_row *row, void *context);

/* ---- refused messages: a bounded table, a row per (topic, reason) ---- */

#define RECORD_REFUSED_ROWS 1000
#define RECORD_EXAMPLE_BYTES 256

/** Counts one refusal; keeps the first example; drops the row not seen for longest beyond the
 * bound. */
enum store_status record_refused_add(struct store *store, const char *topic, const char *reason,
                                     int64_t now_ms, int64_t times, const void *example,
                                     size_t example_length);
struct record_refused {
    const char *topic, *reason;
    int64_t count, first_ms, last_ms;
    const void *example;
    size_t example_length;
};
typedef bool record_refused_row(void *context, const struct record_refused *refused);
enum store_status record_refused_list(struct store *store, record_refused_row *row, void *context);

/* ---- topics that no point claims: a bounded table ---- */

#define RECORD_UNCLAIMED_ROWS 1000
#define RECORD_UNCLAIMED_BYTES 2048 /* enough for what a box with many sensors sends */

/** As record_refused_add, but the example is the last message: what the topic says now. */
enum store_status record_unclaimed_add(struct store *store, const char *topic, int64_t now_ms,
                                       int64_t times, const void *example, size_t example_length);
/** Same row struct; `reason` is "". */
enum store_status record_unclaimed_list(struct store *store, record_refused_row *row,
                                        void *context);

/* ---- notes: small named values of the daemon ("broker session seen", "last digest of office")
 * ---- */

enum store_status record_note_put(struct store *store, const char *name, const char *value);
/** Does nothing when there is none. */
enum store_status record_note_delete(struct store *store, const char *name);
/** Writes the value, null-terminated; STORE_NOT_FOUND. */
enum store_status record_note_get(struct store *store, const char *name, char *value, size_t size);

#endif
