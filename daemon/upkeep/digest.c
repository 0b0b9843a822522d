#include "upkeep/digest.h"

#include "store/records.h"

#include <jansson.h>
#include <stdlib.h>
#include <string.h>

enum { LINES_MOST = 100 };

struct digest {
    const struct fleet *fleet;
    struct monitor *monitor;
    const struct settings_contact *contact;
    size_t language;
    int64_t now_ms;
    char *lines[LINES_MOST];
    size_t count, more;
    json_t *systems;
    struct store *store;
    bool failed;
};

static int64_t age(const struct digest *digest, int64_t since_ms) {
    return since_ms == TIMESTAMP_NONE ? -1 : digest->now_ms - since_ms;
}

static void add_json(struct digest *digest, const char *system, const char *status,
                     int64_t since_ms) {
    char time[40];
    json_t *item = json_pack("{s:s,s:s,s:o}", "system", system, "status", status, "since",
                             since_ms == TIMESTAMP_NONE
                                 ? json_null()
                                 : json_string(timestamp_format(time, sizeof time, since_ms)));
    if (!item || json_array_append_new(digest->systems, item) != 0)
        digest->failed = true;
}

static void add_line(struct digest *digest, const struct wording_status *status) {
    if (digest->count == LINES_MOST) {
        digest->more++;
        return;
    }
    char *line =
        wording_status_line(digest->language, (enum wording_role)digest->contact->role, status);
    digest->failed |= line == NULL;
    if (line)
        digest->lines[digest->count++] = line;
}

/* ---- by status ---- */

struct service_since {
    const char *system;
    int64_t from_ms;
};

static bool find_service(void *context, const struct record_service *row) {
    struct service_since *since = context;
    if (strcmp(row->system, since->system) != 0)
        return true;
    since->from_ms = row->from_ms;
    return false;
}

static int64_t since_of(struct digest *digest, size_t system, enum monitor_status status,
                        int64_t since_ms) {
    struct service_since since = {fleet_system_id(digest->fleet, system), TIMESTAMP_NONE};
    if (status != MONITOR_OUT_OF_SERVICE)
        return since_ms;
    if (record_service_list(digest->store, find_service, &since) != STORE_OK)
        digest->failed = true;
    return since.from_ms;
}

static void add_status(struct digest *digest, enum monitor_status wanted,
                       enum wording_status_kind kind) {
    for (size_t s = 0; s < digest->fleet->system_count; s++) {
        int64_t since_ms = TIMESTAMP_NONE;
        if (!fleet_concerns(digest->fleet, digest->contact, s) ||
            monitor_status(digest->monitor, s, &since_ms) != wanted)
            continue;
        since_ms = since_of(digest, s, wanted, since_ms);
        const struct wording_status status = {kind, CONDITION_COUNT,
                                              digest->fleet->systems[s].description->name,
                                              age(digest, since_ms)};
        add_line(digest, &status);
        add_json(digest, fleet_system_id(digest->fleet, s), monitor_status_word(wanted), since_ms);
    }
}

/* ---- by alarm ---- */

static bool is_due(const struct alarm *alarm) {
    return condition_info(alarm->condition)->measure == MEASURE_DATE && alarm_stands(alarm) &&
           alarm_annunciates(alarm);
}

static void add_alarms(struct digest *digest, enum wording_status_kind kind) {
    const struct alarm_book *book = monitor_alarms(digest->monitor);
    for (size_t i = 0; i < alarm_book_count(book); i++) {
        const struct alarm *alarm = alarm_book_at(book, i);
        bool wanted = kind == WORDING_SHELVED ? alarm_state(alarm) == ALARM_SHELVED : is_due(alarm);
        if (!wanted || alarm->system == FLEET_NONE ||
            !announce_hears(digest->fleet, digest->contact, alarm))
            continue;
        const struct wording_status status = {
            kind, alarm->condition, digest->fleet->systems[alarm->system].description->name,
            age(digest, alarm->since_ms)};
        add_line(digest, &status);
        add_json(digest, fleet_system_id(digest->fleet, alarm->system),
                 kind == WORDING_SHELVED ? "shelved" : condition_info(alarm->condition)->name,
                 alarm->since_ms);
    }
}

static enum store_status write_message(struct digest *digest, struct announce *announce) {
    json_t *data = json_pack("{s:O}", "systems", digest->systems);
    char *text = data ? json_dumps(data, JSON_COMPACT) : NULL;
    json_decref(data);
    if (!text)
        return STORE_OUT_OF_MEMORY;
    const struct text_list lines = {(const char *const *)digest->lines, digest->count};
    enum store_status status =
        announce_digest(announce, digest->contact, lines, digest->more, text, digest->now_ms);
    free(text);
    return status;
}

enum store_status digest_write(struct pipeline *pipeline, const struct settings_contact *contact,
                               bool weekly, int64_t now_ms) {
    struct monitor *monitor = pipeline_monitor(pipeline);
    struct digest *digest = calloc(1, sizeof *digest);
    enum store_status status = STORE_OK;
    if (!digest)
        return STORE_OUT_OF_MEMORY;
    *digest = (struct digest){.fleet = monitor_fleet(monitor),
                              .monitor = monitor,
                              .contact = contact,
                              .now_ms = now_ms,
                              .systems = json_array(),
                              .store = pipeline_store(pipeline)};
    wording_language_find(contact->language, &digest->language);
    add_status(digest, MONITOR_OUT_OF_SPEC, WORDING_OUT_OF_SPEC);
    add_status(digest, MONITOR_SILENT, WORDING_SILENT);
    add_status(digest, MONITOR_DRIFTING, WORDING_DRIFTING);
    add_status(digest, MONITOR_OUT_OF_SERVICE, WORDING_OUT_OF_SERVICE);
    add_alarms(digest, WORDING_SHELVED);
    add_alarms(digest, WORDING_DUE);
    if (digest->failed)
        status = STORE_OUT_OF_MEMORY;
    else if (digest->count > 0 || weekly)
        status = write_message(digest, pipeline_announce(pipeline));
    for (size_t i = 0; i < digest->count; i++)
        free(digest->lines[i]);
    json_decref(digest->systems);
    free(digest);
    return status;
}
