/*
 * api_private: what the files of the API share: one call, its parts, and how answers are made.
 */
#ifndef DAEMON_API_API_PRIVATE_H
#define DAEMON_API_API_PRIVATE_H

#include "api/api.h"

/** Is the clock of this machine doubted, so that nothing is taken from the broker? */
static inline bool api_clock_doubted(const struct api *api) {
    return api->clock_why && *api->clock_why;
}

#include <jansson.h>

enum { API_PARTS = 6 };

/** One request being answered. */
struct api_call {
    struct api *api;
    const struct web_request *request;
    struct web_answer *answer;
    char path[512];
    const char *parts[API_PARTS]; /* of the path behind "/api/", NULL where there is none */
    json_t *body;                 /* parsed JSON of a POST, or NULL */
};

/** Answers with JSON (the reference is taken over). */
void api_json(struct api_call *call, int status, json_t *json);
/** Answers {"error": text}. */
void api_error(struct api_call *call, int status, const char *format, ...)
    __attribute__((format(printf, 3, 4)));
/** Answers text (taken over). */
void api_text(struct api_call *call, int status, const char *content_type, char *text);

/** A text of the request's JSON body, NULL when it is missing or empty. */
const char *api_given(const struct api_call *call, const char *name);
/** The same, but answers 400 with what is missing. */
const char *api_needed(struct api_call *call, const char *name);

/** System named by a part of the path; FLEET_NONE after a 404. */
size_t api_system(struct api_call *call, const char *id);

/**
 * An instant a person wrote: RFC 3339, a date (its first moment in `zone`), or with `ahead` a span
 * from now ("2 h"). False after a 400.
 */
bool api_instant(struct api_call *call, const char *name, const char *text,
                 const struct time_zone *zone, bool ahead, int64_t *time_ms);

/** A whole number from 1 to `most` given in the query; 0 when it is not there. False after a 400.
 */
bool api_count(struct api_call *call, const char *name, int64_t most, int64_t *count);

/** RFC 3339 or null. */
json_t *api_time(int64_t time_ms);
/** A number, or null for NaN and infinities. */
json_t *api_number(double value);

/** Commits what the call changed; false after a 503. */
bool api_commit(struct api_call *call);
/** The store for reading, NULL after a 503. */
struct store *api_store(struct api_call *call);

/* api_systems.c */
void api_systems(struct api_call *call);
/** Systems of the fleet, worst first; the caller frees. */
size_t *api_systems_worst_first(const struct api *api, size_t *count);
/** One of that list as JSON. */
json_t *api_system_line(const struct api *api, size_t system);
/* api_alarm_list.c */
/** Which alarms a list holds. */
struct api_alarm_choice {
    bool all;         /* those that are over too */
    size_t system;    /* FLEET_NONE: all */
    int64_t since_ms; /* raised, with `all` or standing, since then; TIMESTAMP_NONE: ever */
    int64_t before;   /* goes on behind the alarm of this number; 0: begins with the newest */
    int64_t limit;    /* 0: none */
};
void api_alarms_list(struct api_call *call);
/** The list, newest first; NULL when the store can't be read, or knows no such alarm as `before`.
 */
json_t *api_alarms(struct api *api, const struct api_alarm_choice *choice);
/** One alarm. */
json_t *api_alarm_json(const struct api *api, const struct alarm *alarm);
/* api_alarms.c */
void api_alarm_change(struct api_call *call);
void api_service_change(struct api_call *call, bool out);
/* api_records.c */
void api_commission(struct api_call *call);
void api_learn_period(struct api_call *call);
void api_record_by_hand(struct api_call *call);
void api_visit_done(struct api_call *call);
/* api_series.c */
void api_import(struct api_call *call);
void api_readings(struct api_call *call);
/* api_messages.c */
void api_deliveries(struct api_call *call);
void api_delivery_again(struct api_call *call);
void api_test_alert(struct api_call *call);
void api_unclaimed(struct api_call *call);
void api_refused(struct api_call *call);
/* api_health.c */
void api_health(struct api_call *call);
/** For whoever is not signed in: whether it works, and nothing of what. */
void api_health_word(struct api_call *call);
void api_metrics(struct api_call *call);

#endif
