/*
 * settings: the text of subslabd.yaml to checked settings. Pure: text in, structure out; reading
 * files and resolving names on disk is the daemon's. Every error names file, line, key and what is
 * allowed; unknown keys name the nearest known key.
 */
#ifndef SETTINGS_SETTINGS_H
#define SETTINGS_SETTINGS_H

#include "alarm/condition.h"
#include "measure/unit.h"
#include "settings/contact_settings.h"
#include "settings/error_list.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

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
    struct {
        int password_file, ca_file, certificate_file, key_file;
    } lines; /* of these keys, for errors */
};

struct settings {
    char *file; /* its own name, for messages and relative paths */
    struct settings_broker broker;
    char *store_file;
    int64_t keep_readings_ms;
    char *page_address;
    int page_port; /* 0: none */
    char *page_access_file;
    int page_access_line;
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

#endif
