/*
 * move: all of a system out of this daemon and into another one, as bytes that the operator's tool
 * carries. The way in writes the store first and the system's file in the same turn; both or none.
 */
#include "api/enrol.h"
#include "api/routes.h"
#include "host/fleet_files.h"
#include "host/log.h"
#include "settings/checked_text.h"
#include "store/moved.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { FILE_BYTES_MOST = 1 << 20 };

/* ---- out ---- */

static bool nothing_waits(struct api_call *call, struct store *store, const char *system) {
    int64_t waiting = 0;
    if (moved_waiting(store, system, &waiting) != STORE_OK)
        api_error(call, 503, "the store can't be read: %s", store_error(store));
    else if (waiting > 0)
        api_error(call, 409,
                  "%lld messages about it still wait; move it when they were sent, see: "
                  "subslabctl deliveries",
                  (long long)waiting);
    return !call->answer->status;
}

static void answer_bytes(struct api_call *call, const unsigned char *bytes, size_t size) {
    char *body = malloc(size + 1);
    if (!body) {
        api_error(call, 503, "out of memory");
        return;
    }
    memcpy(body, bytes, size);
    call->answer->status = 200;
    call->answer->content_type = "application/octet-stream";
    call->answer->body = body;
    call->answer->body_length = size;
}

static void hand_out(struct api_call *call, struct store *store, size_t system) {
    const struct fleet *fleet = call->api->fleet;
    const char *path = fleet->systems[system].description->file;
    unsigned char *bytes = NULL;
    size_t size = 0, length = 0;
    struct moved_counts counts;
    char *file = fleet_files_read(path, FILE_BYTES_MOST, &length);
    if (!file) {
        api_error(call, 409, "%s can't be read", path);
        return;
    }
    enum store_status status =
        moved_out(store, fleet_system_id(fleet, system), file, &bytes, &size, &counts);
    if (status == STORE_OK)
        answer_bytes(call, bytes, size);
    else if (status == STORE_DAMAGED)
        api_error(call, 409, "a day of its readings is damaged; bring back a backup first");
    else
        api_error(call, 503, "the store can't be read: %s", store_error(store));
    moved_free(bytes);
    free(file);
}

void api_move_out(struct api_call *call) {
    size_t system = api_system(call, call->parts[1]);
    if (system == FLEET_NONE || !api_commit(call))
        return;
    struct store *store = api_store(call);
    if (store && nothing_waits(call, store, call->parts[1]))
        hand_out(call, store, system);
}

/* ---- in: what speaks against it ---- */

static bool is_unknown(struct api_call *call, const char *system) {
    struct store *store = api_store(call);
    struct forgotten found = {0};
    if (!store)
        return false;
    if (fleet_find_system(call->api->fleet, system) != FLEET_NONE)
        api_error(call, 409, "this daemon watches a system \"%s\"", system);
    else if (forget_count(store, system, &found) != STORE_OK)
        api_error(call, 503, "the store can't be read: %s", store_error(store));
    else if (found.points + found.alarms + found.records > 0)
        api_error(call, 409, "the store has something of an earlier system \"%s\"; see forget",
                  system);
    return !call->answer->status;
}

static bool is_taken(const struct settings_broker *broker, const char *topic) {
    for (size_t i = 0; i < broker->subscribe_count; i++)
        if (checked_text_filter_takes(broker->subscribe[i], topic))
            return true;
    return false;
}

static void check_topics(const struct settings *settings, const struct enrol_text *text,
                         struct settings_errors *errors) {
    struct system_description *system =
        system_description_parse(text->label, text->text, text->length, settings, errors);
    for (size_t i = 0; system && i < system->point_count; i++) {
        const struct point_description *point = &system->points[i];
        if (point->topic && !point->by_hand && !is_taken(&settings->broker, point->topic))
            settings_errors_add(errors,
                                "%s: broker.subscribe: no filter takes \"%.200s\"; add one and "
                                "reload",
                                settings->file, point->topic);
    }
    system_description_free(system);
}

/* ---- in ---- */

static bool put(struct api_call *call, struct moved *moved, struct moved_counts *counts) {
    struct pipeline *pipeline = call->api->pipeline;
    struct alarm_book *book = pipeline_alarms(pipeline);
    int64_t highest = alarm_book_highest(book);
    if (pipeline_begin(pipeline))
        pipeline_note(pipeline, moved_in(pipeline_store(pipeline), moved, &highest, counts));
    alarm_book_number_from(book, highest);
    return api_commit(call);
}

static json_t *counts_json(const struct moved_counts *counts, const char *file) {
    return json_pack("{s:I, s:I, s:I, s:s?}", "readings", (json_int_t)counts->readings, "alarms",
                     (json_int_t)counts->alarms, "records", (json_int_t)counts->records, "file",
                     file);
}

static void take(struct api_call *call, struct moved *moved, const struct enrol_text *text,
                 const char *by) {
    struct api *api = call->api;
    struct settings_errors errors = {0};
    struct moved_counts counts = {0};
    json_t *enrolled = json_array();
    int status = enrol_systems(api, text, 1, by, enrolled, &errors);
    const char *file = json_string_value(json_object_get(json_array_get(enrolled, 0), "file"));
    if (status != 200) {
        api_errors(call, status, &errors);
    } else if (put(call, moved, &counts)) {
        log_line(LOG_LEVEL_NOTICE, "move", "%s moved %s here", by, moved_system(moved));
        api_json(call, 200, counts_json(&counts, file));
    } else {
        unlink(file);
        api->reload_wanted = false;
    }
    settings_errors_free(&errors);
    json_decref(enrolled);
}

static void look(struct api_call *call, const struct moved *moved, const struct enrol_text *text) {
    struct settings_errors errors = {0};
    const struct moved_counts counts = moved_count(moved);
    int status = enrol_check(call->api, text, 1, &errors);
    if (status == 200)
        check_topics(call->api->fleet->settings, text, &errors);
    if (errors.count)
        api_errors(call, status == 200 ? 409 : status, &errors);
    else if (web_query(call->request, "check"))
        api_json(call, 200, counts_json(&counts, NULL));
    settings_errors_free(&errors);
}

void api_move_in(struct api_call *call) {
    char why[200], label[80];
    const char *by = web_query(call->request, "by");
    struct moved *moved =
        moved_open(call->request->body, call->request->body_length, why, sizeof why);
    if (!moved)
        api_error(call, 400, "%s", why);
    else if (strcmp(moved_system(moved), call->parts[1]) != 0)
        api_error(call, 400, "these bytes are of \"%s\"", moved_system(moved));
    else if (!by || !*by)
        api_error(call, 400, "by: is missing");
    else if (is_unknown(call, moved_system(moved))) {
        snprintf(label, sizeof label, "%.70s.yaml", moved_system(moved));
        const struct enrol_text text = {label, moved_file(moved), strlen(moved_file(moved))};
        look(call, moved, &text);
        if (!call->answer->status)
            take(call, moved, &text, by);
    }
    moved_close(moved);
}
