/*
 * The end of a contract: all that is known of a house is deleted. That is done once it is no longer
 * watched; so its file goes first, and the settings are read again.
 */
#include "api/routes.h"
#include "host/log.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { WORDS_MOST = 8 };

void api_reload(struct api_call *call) {
    call->api->reload_wanted = true;
    api_json(call, 202, json_pack("{s:b}", "asked", true));
}

/* ---- while it is watched ---- */

/* Does the contact hear of this system and of no other? */
static bool is_only_its(const struct fleet *fleet, const struct settings_contact *contact,
                        size_t system) {
    const struct system_description *about = fleet->systems[system].description;
    bool named = false;
    for (size_t i = 0; i < about->contact_count; i++)
        named |= strcmp(about->contacts[i], contact->id) == 0;
    for (size_t s = 0; named && s < fleet->system_count; s++)
        named = s == system || !fleet_concerns(fleet, contact, s);
    return named;
}

static json_t *contacts_of(const struct fleet *fleet, size_t system) {
    json_t *list = json_array();
    for (size_t i = 0; i < fleet->settings->contact_count; i++) {
        const struct settings_contact *contact = &fleet->settings->contacts[i];
        if (is_only_its(fleet, contact, system))
            json_array_append_new(list, json_string(contact->id));
    }
    return list;
}

/* Where the settings list files, the list is a person's to change. */
static bool is_listed(const struct settings *settings, const char *file) {
    bool found = false;
    for (size_t i = 0; i < settings->system_file_count && !found; i++) {
        char *path = settings_path(settings, settings->system_files[i]);
        found = !path || strcmp(path, file) == 0;
        free(path);
    }
    return found;
}

/* A file of a folder may go. One that this daemon may not delete is left to whoever asked. What
   stands ends with the file; nobody is told that it is over. */
static void take_file_away(struct api_call *call, size_t system) {
    struct api *api = call->api;
    const char *file = api->fleet->systems[system].description->file;
    bool listed = is_listed(api->fleet->settings, file);
    bool removed = !listed && unlink(file) == 0;
    api->reload_wanted |= removed;
    if (!listed)
        monitor_end_untold(pipeline_monitor(api->pipeline), system);
    api_json(call, 202,
             json_pack("{s:s, s:b, s:b, s:s, s:o}", "file", file, "removed", removed, "listed",
                       listed, "settings", api->fleet->settings->file, "contacts",
                       contacts_of(api->fleet, system)));
}

/* ---- then ---- */

static json_t *forgotten_json(const struct forgotten *found, bool log_emptied) {
    return json_pack("{s:I, s:I, s:I, s:I, s:I, s:b}", "points", (json_int_t)found->points,
                     "readings", (json_int_t)found->readings, "alarms", (json_int_t)found->alarms,
                     "records", (json_int_t)found->records, "messages", (json_int_t)found->messages,
                     "log_emptied", log_emptied);
}

static bool may_forget(struct api_call *call, const struct forget *what) {
    struct store *store = api_store(call);
    char id[40], contact[200];
    if (!store)
        return false;
    enum store_status waits = forget_waiting(store, what, id, contact, sizeof contact);
    if (waits == STORE_NOT_FOUND)
        return true;
    if (waits == STORE_OK)
        api_error(call, 409,
                  "a message to %s about several systems names this one and still waits (delivery "
                  "%s); forget it when that was sent, see: subslabctl deliveries",
                  contact, id);
    else
        api_error(call, 503, "the store can't be read: %s", store_error(store));
    return false;
}

static void forget_now(struct api_call *call, const struct forget *what, const char *by) {
    struct pipeline *pipeline = call->api->pipeline;
    struct forgotten found = {0};
    enum store_status status = forget_count(pipeline_store(pipeline), what->system, &found);
    if (status == STORE_OK && found.points + found.alarms + found.records + found.messages == 0) {
        api_error(call, 404, "nothing is known of a system \"%s\"", what->system);
        return;
    }
    pipeline_note(pipeline, status);
    pipeline_forget(pipeline, what);
    if (!api_commit(call))
        return;
    log_line(LOG_LEVEL_INFO, "forget", "a system was forgotten, by %s", by);
    api_json(call, 200, forgotten_json(&found, forget_empty_log(pipeline_store(pipeline))));
}

static size_t read_words(const struct api_call *call, const char *words[WORDS_MOST]) {
    json_t *given = json_object_get(call->body, "words"), *word;
    size_t i, count = 0;
    json_array_foreach(given, i, word) {
        if (count < WORDS_MOST && json_string_length(word) > 0)
            words[count++] = json_string_value(word);
    }
    return count;
}

void api_forget(struct api_call *call) {
    const char *words[WORDS_MOST], *by = api_needed(call, "by");
    const struct forget what = {call->parts[1], words, read_words(call, words)};
    if (!by || !may_forget(call, &what))
        return;
    size_t system = fleet_find_system(call->api->fleet, what.system);
    if (system == FLEET_NONE)
        forget_now(call, &what, by);
    else
        take_file_away(call, system);
}
