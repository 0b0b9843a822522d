/*
 * ctl_client: requests to the daemon over its operator socket (HTTP over a Unix socket, by libcurl,
 * whose types stay in ctl_client.c).
 */
#ifndef DAEMON_TOOL_CTL_CLIENT_H
#define DAEMON_TOOL_CTL_CLIENT_H

#include "tool/ctl.h"

#include <jansson.h>

struct ctl_answer {
    long status; /* HTTP */
    char *body;  /* null-terminated; owned */
    size_t length;
};

struct ctl_body {
    const char *content_type; /* NULL: no body */
    const char *bytes;
    size_t length;
};

/**
 * One request. `body` NULL: GET, else POST. True when the daemon did as asked (2xx); the caller
 * frees answer->body. False after an error was printed; nothing is to be freed.
 */
bool ctl_request(struct ctl *ctl, const char *path, const struct ctl_body *body,
                 struct ctl_answer *answer);
/** The same, with whatever the daemon answers: false only when there was no answer. */
bool ctl_request_any(struct ctl *ctl, const char *path, const struct ctl_body *body,
                     struct ctl_answer *answer);

/** Asks for a path: the HTTP status, 0 when there was no answer, and that was said. */
long ctl_status_of(struct ctl *ctl, const char *path);

/** Frees handle and connection at the end. */
void ctl_client_clear(void);

/** A path under construction: "/api/systems/" then percent-encoded parts. */
struct ctl_path {
    char text[2048];
    size_t length;
};
struct ctl_path ctl_path(const char *start);
/** Adds text as it is. */
void ctl_path_add(struct ctl_path *path, const char *text);
/** Adds a part, percent-encoded (RFC 3986). */
void ctl_path_encode(struct ctl_path *path, const char *text);
/** All three: what stands before a part, the part, what stands behind it. */
struct ctl_path ctl_path_of(const char *start, const char *part, const char *end);
/** Adds "?name=value" or "&name=value"; nothing when value is NULL. */
void ctl_path_query(struct ctl_path *path, const char *name, const char *value);
/** Asks for the texts of an answer in the language of the reader; nothing when that is English. */
void ctl_path_language(struct ctl_path *path, const struct ctl *ctl);

/**
 * Asks for JSON. With --json prints it as it is and sets *root to NULL; else parses it. CTL_DONE,
 * or CTL_FAILED after an error was printed. The caller frees *root.
 */
enum ctl_status ctl_get_json(struct ctl *ctl, const char *path, json_t **root);
/** The same for an answer to work with, also under --json. NULL after an error was printed. */
json_t *ctl_ask(struct ctl *ctl, const char *path);
/** An answer's JSON, NULL when it is none; its body is freed. */
json_t *ctl_json_of(struct ctl_answer *answer);
/** Sends `body` (taken over) as JSON; the answer as with ctl_get_json. */
enum ctl_status ctl_post_json(struct ctl *ctl, const char *path, json_t *body, json_t **root);
/** Prints an answer as it is, with a line break at its end. */
void ctl_print_answer(const struct ctl_answer *answer);

/** Prints JSON (taken over) for people. */
void ctl_print_json(json_t *json);

/** Sets a text in a request body unless it is NULL. */
void ctl_set(json_t *object, const char *key, const char *text);
/** A request body of those of the named options that were given: "next_calibration" of
 * "--next-calibration". The names end with NULL. */
json_t *ctl_body(const struct ctl_arguments *given, ...) __attribute__((sentinel));

#endif
