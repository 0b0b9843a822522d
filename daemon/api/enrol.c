#include "api/enrol.h"

#include "api/routes.h"
#include "complaints.h"
#include "host/enrolled_files.h"
#include "host/fleet_files.h"
#include "host/log.h"
#include "measure/duration.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- may anybody enrol now? ---- */

static int check_state(const struct api *api, struct settings_errors *errors) {
    const struct settings *settings = api->fleet->settings;
    if (!settings->enrolled.name)
        settings_errors_add(errors, SAY_NO_FOLDER, settings->file);
    else if (api->reload_refused)
        settings_errors_add(errors, SAY_SETTINGS_REFUSED);
    if (errors->count)
        return 409;
    if (api->store_failing)
        settings_errors_add(errors, SAY_STORE_FAILS_NOW, api->store_why);
    else if (api->reload_wanted || api->reloading)
        settings_errors_add(errors, SAY_SETTINGS_BEING_READ);
    return errors->count ? 503 : 200;
}

/* ---- checks against the fleet ---- */

static const int64_t furthest_east_ms = 14 * DURATION_HOUR_MS;

struct newcomers {
    struct system_description **items;
    size_t count;
};

static void check_id(const struct fleet *fleet, const struct system_description *system,
                     struct settings_errors *errors) {
    size_t taken = fleet_find_system(fleet, system->id);
    if (taken != FLEET_NONE)
        settings_errors_add(errors, "%s:%d: id: " SAY_TAKEN, system->file, system->id_line,
                            system->id, fleet->systems[taken].description->file);
}

static void check_topics(const struct fleet *fleet, const struct system_description *system,
                         struct settings_errors *errors) {
    for (size_t i = 0; i < system->point_count; i++) {
        const struct point_description *point = &system->points[i];
        size_t other = fleet_topic(fleet, point->topic);
        for (; other != FLEET_NONE; other = fleet->points[other].next_same_topic) {
            if (!point_description_same_source(point, fleet->points[other].description))
                continue;
            settings_errors_add(errors, "%s:%d: points[%s].topic: " SAY_TOPIC_TAKEN, system->file,
                                point->line, point->id, point->topic, fleet_point_id(fleet, other),
                                fleet_system_id(fleet, fleet->points[other].system));
            break;
        }
    }
}

/* A fan that stands nowhere yet: its day has not begun in any time zone. */
static void check_installed(const struct system_description *system, int64_t now_ms,
                            struct settings_errors *errors) {
    int64_t last_day = (now_ms + furthest_east_ms) / DURATION_DAY_MS;
    for (size_t i = 0; i < system->branch_count; i++) {
        const struct branch_description *branch = &system->branches[i];
        bool only = system->branch_count == 1;
        if (branch->fan.installed_day != TIMESTAMP_NONE && branch->fan.installed_day > last_day)
            settings_errors_add(errors, "%s:%d: %s%s%sfan.installed: " SAY_AHEAD, system->file,
                                branch->line ? branch->line : system->id_line,
                                only ? "" : "branches[", only ? "" : branch->id, only ? "" : "].");
    }
}

static void check_newcomers(const struct fleet *fleet, const struct newcomers *newcomers,
                            int64_t now_ms, struct settings_errors *errors) {
    for (size_t i = 0; i < newcomers->count; i++) {
        check_id(fleet, newcomers->items[i], errors);
        check_topics(fleet, newcomers->items[i], errors);
        check_installed(newcomers->items[i], now_ms, errors);
        fleet_files_check_zone(newcomers->items[i], errors);
    }
    system_descriptions_check(newcomers->items, newcomers->count, fleet->settings, errors);
}

static void read_newcomers(const struct api *api, const struct enrol_text *texts, size_t count,
                           struct newcomers *newcomers, struct settings_errors *errors) {
    newcomers->items = calloc(count, sizeof(struct system_description *));
    if (!newcomers->items)
        settings_errors_add(errors, SAY_OUT_OF_MEMORY);
    for (size_t i = 0; newcomers->items && i < count; i++) {
        struct system_description *system = system_description_parse(
            texts[i].label, texts[i].text, texts[i].length, api->fleet->settings, errors);
        if (system)
            newcomers->items[newcomers->count++] = system;
    }
    if (errors->count == 0)
        check_newcomers(api->fleet, newcomers, api->now_ms, errors);
}

/* ---- writing ---- */

static void tell(const struct newcomers *newcomers, const char *folder,
                 const struct enrolled_file *files, const char *by, json_t *enrolled) {
    for (size_t i = 0; i < newcomers->count; i++) {
        const struct system_description *system = newcomers->items[i];
        char *path = enrolled_files_path(folder, files[i].name);
        log_line(LOG_LEVEL_NOTICE, "enrol", "%s enrolled %s, %zu points: %s", by, system->id,
                 system->point_count, path ? path : folder);
        if (enrolled)
            json_array_append_new(enrolled, json_pack("{s:s,s:s,s:I}", "id", system->id, "file",
                                                      path ? path : folder, "points",
                                                      (json_int_t)system->point_count));
        free(path);
    }
}

/* "ID.yaml" of each; NULL when out of memory. */
static struct enrolled_file *files_of(const struct enrol_text *texts,
                                      const struct newcomers *newcomers, char (*names)[80]) {
    struct enrolled_file *files = calloc(newcomers->count, sizeof *files);
    for (size_t i = 0; files && names && i < newcomers->count; i++) {
        snprintf(names[i], sizeof names[i], "%s.yaml", newcomers->items[i]->id);
        files[i] = (struct enrolled_file){names[i], texts[i].text, texts[i].length};
    }
    return files;
}

static int write_files(struct api *api, const struct enrol_text *texts,
                       const struct newcomers *newcomers, const char *by, json_t *enrolled,
                       struct settings_errors *errors) {
    const struct settings *settings = api->fleet->settings;
    char *folder = settings_path(settings, settings->enrolled.name), why[1024] = SAY_OUT_OF_MEMORY;
    char(*names)[80] = calloc(newcomers->count, sizeof *names);
    struct enrolled_file *files = files_of(texts, newcomers, names);
    bool good = folder && files && names &&
                enrolled_files_write(folder, files, newcomers->count, why, sizeof why);
    if (good) {
        tell(newcomers, folder, files, by, enrolled);
        api->reload_wanted = true;
        api->changes++;
    } else {
        settings_errors_add(errors, "%s", why);
    }
    free(files);
    free(names);
    free(folder);
    return good ? 200 : 409;
}

/* Without `by` nothing is written. */
static int check_and_write(struct api *api, const struct enrol_text *texts, size_t count,
                           const char *by, json_t *enrolled, struct settings_errors *errors) {
    struct newcomers newcomers = {0};
    int status = check_state(api, errors);
    if (status == 200) {
        read_newcomers(api, texts, count, &newcomers, errors);
        bool good = errors->count == 0 && newcomers.count == count;
        status = !good ? 400 : by ? write_files(api, texts, &newcomers, by, enrolled, errors) : 200;
    }
    for (size_t i = 0; i < newcomers.count; i++)
        system_description_free(newcomers.items[i]);
    free(newcomers.items);
    return status;
}

int enrol_systems(struct api *api, const struct enrol_text *texts, size_t count, const char *by,
                  json_t *enrolled, struct settings_errors *errors) {
    return check_and_write(api, texts, count, by, enrolled, errors);
}

int enrol_check(struct api *api, const struct enrol_text *texts, size_t count,
                struct settings_errors *errors) {
    return check_and_write(api, texts, count, NULL, NULL, errors);
}

/* ---- over the operator's socket ---- */

enum { SYSTEMS_A_REQUEST = 500 }; /* written within one turn of the loop */

/* {"by": NAME, "systems": [{"file": NAME, "text": TEXT}]} */
static struct enrol_text *given_texts(struct api_call *call, size_t *count) {
    const json_t *list = json_object_get(call->body, "systems"), *one;
    *count = json_array_size(list);
    struct enrol_text *texts =
        *count && *count <= SYSTEMS_A_REQUEST ? calloc(*count, sizeof *texts) : NULL;
    size_t i;
    json_array_foreach(list, i, one) {
        if (!texts)
            break;
        const char *file = json_string_value(json_object_get(one, "file"));
        const json_t *text = json_object_get(one, "text");
        texts[i] = (struct enrol_text){file ? file : "system", json_string_value(text),
                                       json_string_length(text)};
        if (texts[i].text)
            continue;
        free(texts);
        texts = NULL;
    }
    if (!texts)
        api_error(call, 400, "\"systems\" is missing: a list of {file, text}, 500 at most");
    return texts;
}

void api_enrol(struct api_call *call) {
    const char *by = api_needed(call, "by");
    size_t count = 0;
    struct enrol_text *texts = by ? given_texts(call, &count) : NULL;
    struct settings_errors errors = {0};
    if (!texts)
        return;
    json_t *enrolled = json_array();
    int status = enrol_systems(call->api, texts, count, by, enrolled, &errors);
    if (status == 200)
        api_json(call, 200, json_pack("{s:O}", "enrolled", enrolled));
    else
        api_errors(call, status, &errors);
    json_decref(enrolled);
    settings_errors_free(&errors);
    free(texts);
}
