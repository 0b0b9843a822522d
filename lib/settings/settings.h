/*
 * settings: the text of subslabd.yaml to checked settings. Pure: text in, structure out; reading
 * files and resolving names on disk is the daemon's. Every error names file, line, key and what is
 * allowed; unknown keys name the nearest known key.
 */
#ifndef SETTINGS_SETTINGS_H
#define SETTINGS_SETTINGS_H

#include "alarm/condition.h"
#include "measure/arena.h"
#include "measure/unit.h"
#include "settings/broker_settings.h"
#include "settings/contact_settings.h"
#include "settings/contractor.h"
#include "settings/error_list.h"
#include "settings/fan_model.h"

#include <stdatomic.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/** A watcher outside, asked for at intervals while all works. */
struct settings_heartbeat {
    char *url; /* NULL: none */
    int64_t every_ms;
    bool allow_private_address;
};

/** A folder that the settings name. */
struct settings_folder {
    char *name; /* as written, relative to the settings file; NULL: none */
    int line;   /* of its key, for errors */
};

/** Where and to whom the page is shown. */
struct settings_page {
    char *address;
    int port; /* 0: none */
    char *access_file;
    int access_line;
    char *base;   /* the path below which a proxy shows the page, "/radon"; NULL: none */
    char **hosts; /* further Host names answered */
    size_t host_count;
};

struct settings {
    struct arena memory; /* of all but the fan models */
    char *file;          /* its own name, for messages and relative paths */
    struct settings_broker broker;
    char *store_file;
    int64_t keep_readings_ms;
    struct settings_page page;
    char *operator_socket;
    struct settings_heartbeat heartbeat;
    enum unit_system units;
    double radon_action_level_bq_m3;
    char *radon_action_level_text; /* as written, "4 pCi/L" */
    int64_t retest_every_ms;       /* `retest_every`, default 2 y */
    int64_t visit_every_ms;        /* `visit_every`, default 0: none */
    char *systems_folder;          /* or NULL */
    int systems_line;              /* of the folder, for errors */
    char **system_files;           /* or the list */
    size_t system_file_count;
    struct settings_folder enrolled; /* `enrolled_systems`: read too; where enrolling writes */
    struct contractor contractor;    /* whom people call; empty: nobody is named */
    struct fan_models fans;          /* the daemon reads the files of its folder */
    struct settings_contact *contacts;
    size_t contact_count;
    struct condition_override *conditions;
    size_t condition_count;
    uint64_t source;     /* of its files, as their reader tells files apart; 0: not known */
    atomic_uint sharers; /* besides the first owner */
};

/**
 * Parses and checks one settings text. Returns NULL when there is any error (all of them are in
 * `errors`); the caller frees with settings_free. File names in it stay as written (relative to the
 * folder of `file`).
 */
struct settings *settings_parse(const char *file, const char *text, size_t length,
                                struct settings_errors *errors);
/** One more owner, who frees it too; from any thread. Nobody may change it any more. */
struct settings *settings_share(struct settings *settings);
void settings_free(struct settings *settings); /* NULL does nothing */

/** The name of a file relative to the folder of the settings file; the caller frees. */
char *settings_path(const struct settings *settings, const char *name);

#endif
