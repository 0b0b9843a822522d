/*
 * answer: one call, its parts, and how answers are made.
 */
#ifndef DAEMON_API_ANSWER_H
#define DAEMON_API_ANSWER_H

#include "api/context.h"

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
/** Answers {"error": the first, "errors": all of them}. */
void api_errors(struct api_call *call, int status, const struct settings_errors *errors);
/** Answers text (taken over). */
void api_text(struct api_call *call, int status, const char *content_type, char *text);

/** A text of the request's JSON body, NULL when it is missing or empty. */
const char *api_given(const struct api_call *call, const char *name);
/** The same, but answers 400 with what is missing. */
const char *api_needed(struct api_call *call, const char *name);

/** System named by a part of the path; FLEET_NONE after a 404. */
size_t api_system(struct api_call *call, const char *id);

/** An instant a person wrote: RFC 3339, or a date (its first moment in `zone`). */
bool api_time_read(const char *text, const struct time_zone *zone, int64_t *time_ms);

/**
 * An instant a person wrote: RFC 3339, a date (its first moment in `zone`), or with `ahead` a span
 * from now ("2 h"). False after a 400.
 */
bool api_instant(struct api_call *call, const char *name, const char *text,
                 const struct time_zone *zone, bool ahead, int64_t *time_ms);

/** A whole number from 1 to `most` given in the query; 0 when it is not there. False after a 400.
 */
bool api_count(struct api_call *call, const char *name, int64_t most, int64_t *count);

/** The language that the query asks for, `language`, else English. False after a 400. */
bool api_language(struct api_call *call, size_t *language);

/** The commissioning value of a point that is in force now; NULL: none, or FLEET_NONE. */
const struct point_baseline *api_baseline(const struct api *api, size_t point);
/** Texts as an array. */
json_t *api_texts(const char *const *texts, size_t count);
/** RFC 3339 or null. */
json_t *api_time(int64_t time_ms);
/** A number, or null for NaN and infinities. */
json_t *api_number(double value);

/** Says in an object in which zone the place is, for whoever shows its times; FLEET_NONE: no place.
 */
void api_zone(json_t *object, const struct api *api, size_t system);

/** Commits what the call changed; false after a 503. */
bool api_commit(struct api_call *call);
/** The store for reading, NULL after a 503. */
struct store *api_store(struct api_call *call);

#endif
