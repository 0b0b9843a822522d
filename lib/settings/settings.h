/*
 * settings: the text of subslabd.yaml to checked settings. Pure: text in, structure out; reading
 * files and resolving names on disk is the daemon's. Every error names file, line, key and what is
 * allowed; unknown keys name the nearest known key.
 */
#ifndef SETTINGS_SETTINGS_H
#define SETTINGS_SETTINGS_H

#include "alarm/condition.h"
#include "measure/unit.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/** Errors found in one or more files, in order; each "FILE:LINE: key: what, and what is allowed".
 */
struct settings_errors {
    char **lines;
    size_t count;
};
/** printf-style; allocates the line. */
void settings_errors_add(struct settings_errors *errors, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
void settings_errors_free(struct settings_errors *errors);

enum settings_role { ROLE_CONTRACTOR, ROLE_HOMEOWNER, ROLE_TECHNICIAN };
enum settings_body { BODY_CLOUDEVENTS, BODY_TEXT, BODY_TEMPLATE };

struct settings_broker {
    char *host;
    int port;
    char *client_id;
    int protocol; /* 5, or 4 for 3.1.1 */
    char *username, *password_file;
    char *ca_file, *certificate_file, *key_file; /* ca_file set: TLS */
    bool tls;
    char **subscribe;
    size_t subscribe_count;
    int keepalive_s;         /* `keepalive`, default 30 s */
    int receive_maximum;     /* `receive_maximum`, default 2000, 1..65535 */
    uint32_t maximum_packet; /* `maximum_packet`, bytes, default 131072 */
};

struct settings_header {
    char *name;
    char *value;      /* literal, or NULL */
    char *value_file; /* "file:NAME", or NULL */
};

struct settings_contact {
    char *id;
    enum settings_role role;
    char *url;
    enum settings_body body;
    char *template_text;
    char *signing_secret_file;
    struct settings_header *headers;
    size_t header_count;
    bool has_quiet_hours;
    int quiet_from_minute, quiet_to_minute; /* minutes since local midnight */
    char *time_zone;                        /* NULL: the system's */
    bool has_units;
    enum unit_system units;
    char *language;          /* "en" default */
    int64_t remind_every_ms; /* 0: never */
    char *escalate_to;       /* contact id, or NULL */
    int64_t escalate_after_ms;
    char *digest;               /* NULL, "daily" or "weekly" */
    bool allow_private_address; /* `allow_private: true`: a webhook inside a private network */
    char *tls_ca_file;          /* extra CA for this webhook, or NULL */
    int64_t least_interval_ms;  /* `at_most_every`: rate limit; 0: none */
    uint64_t hears, hears_not;  /* `hears`: bit per enum condition, before what the role says */
    unsigned hears_priorities, hears_not_priorities; /* the same: bit per enum priority */
    int line;
};

struct settings {
    char *file; /* its own name, for messages and relative paths */
    struct settings_broker broker;
    char *store_file;
    int64_t keep_readings_ms;
    char *page_address;
    int page_port; /* 0: none */
    char *page_access_file;
    char **page_hosts; /* further Host names answered */
    size_t page_host_count;
    char *operator_socket;
    enum unit_system units;
    double radon_action_level_bq_m3;
    char *radon_action_level_text; /* as written, "4 pCi/L" */
    int64_t retest_every_ms;       /* `retest_every`, default 2 y */
    int64_t visit_every_ms;        /* `visit_every`, default 0: none */
    char *systems_folder;          /* or NULL */
    int systems_line;              /* of the folder, for errors */
    char **system_files;           /* or the list */
    size_t system_file_count;
    struct settings_contact *contacts;
    size_t contact_count;
    struct condition_override *conditions;
    size_t condition_count;
};

/**
 * Parses and checks one settings text. Returns NULL when there is any error (all of them are in
 * `errors`); the caller frees with settings_free. File names in it stay as written (relative to the
 * folder of `file`).
 */
struct settings *settings_parse(const char *file, const char *text, size_t length,
                                struct settings_errors *errors);
void settings_free(struct settings *settings); /* NULL does nothing */

/** The name of a file relative to the folder of the settings file; the caller frees. */
char *settings_path(const struct settings *settings, const char *name);

const char *settings_role_word(enum settings_role role);

#endif
