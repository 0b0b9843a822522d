/*
 * contact_settings: the list `contacts:` of the settings. Pure.
 */
#ifndef SETTINGS_CONTACT_SETTINGS_H
#define SETTINGS_CONTACT_SETTINGS_H

#include "measure/unit.h"
#include "settings/key_table.h"

#include <stdbool.h>
#include <stdint.h>

enum settings_role { ROLE_CONTRACTOR, ROLE_HOMEOWNER, ROLE_TECHNICIAN };
enum settings_body { BODY_CLOUDEVENTS, BODY_TEXT, BODY_TEMPLATE };

struct settings_header {
    char *name;
    char *value;      /* literal, or NULL */
    char *value_file; /* "file:NAME", or NULL */
    int line;
};

struct settings_quiet_hours {
    bool given;
    int from_minute, to_minute; /* since local midnight */
};

/** Bits by enum. */
struct settings_hearing {
    uint64_t conditions;
    unsigned priorities;
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
    struct settings_quiet_hours quiet;
    char *time_zone; /* NULL: the system's */
    bool has_units;
    enum unit_system units;
    char *language;          /* NULL: English, and on a page what the browser asks for */
    int64_t remind_every_ms; /* 0: never */
    char *escalate_to;       /* contact id, or NULL */
    int64_t escalate_after_ms;
    char *digest;               /* NULL, "daily" or "weekly" */
    bool allow_private_address; /* `allow_private: true`: a webhook inside a private network */
    char *tls_ca_file;          /* extra CA for this webhook, or NULL */
    int64_t least_interval_ms;  /* `at_most_every`: rate limit; 0: none */
    struct settings_hearing hears, hears_not; /* before what the role says */
    int line;
    struct {
        int template_text, signing_secret_file, tls_ca_file;
    } lines; /* of these keys, for errors */
};

struct contact_list {
    struct settings_contact *contacts;
    size_t count;
};

/** Reads the list (empty on a failure) and checks it as a whole: ids, escalations. */
struct contact_list contact_settings_read(const struct key_at *at);

#endif
