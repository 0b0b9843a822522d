/* What people do in a scenario: they commission, acknowledge, shelve, visit, measure and import. */
#include "scenario_play.h"

#include "measure/duration.h"
#include "measure/timestamp.h"

#include <fnmatch.h>
#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- what people do ---- */

static void operate(struct play *play, const char *path, json_t *body) {
    char *text = json_dumps(body, JSON_COMPACT);
    json_decref(body);
    free(world_operate(&play->world, "POST", path, text, 200));
    free(text);
}

/* commission PATTERN POINT VALUE UNIT [, POINT VALUE UNIT …] */
static void commission(struct play *play, const char *system, size_t first_word) {
    struct script *script = &play->script;
    char *text = NULL, path[200], date[40];
    size_t size = 0;
    FILE *record = open_memstream(&text, &size);
    fprintf(record, "date: %s\nby: the installer\npoints:\n",
            timestamp_format(date, sizeof date, play->world.now_ms));
    for (script->at = first_word; script_more(script);) {
        const char *point = script_word(script, "a point"), *value = script_word(script, "a value");
        char unit[60];
        snprintf(unit, sizeof unit, "%s", script_word(script, "a unit"));
        unit[strcspn(unit, ",")] = '\0';
        fprintf(record, "  %s: %s %s\n", point, value, unit);
    }
    if (script->block)
        fputs(script->block, record);
    fclose(record);
    snprintf(path, sizeof path, "/api/systems/%s/commission", system);
    free(world_operate(&play->world, "POST", path, text, 200));
    free(text);
}

void play_commission(struct play *play) {
    const char *pattern = script_word(&play->script, "the system");
    size_t first_word = play->script.at;
    bool any = false;
    play_need_daemon(play);
    for (size_t s = 0; s < play->world.fleet->system_count; s++) {
        const char *id = fleet_system_id(play->world.fleet, s);
        if (fnmatch(pattern, id, 0) != 0)
            continue;
        commission(play, id, first_word);
        any = true;
    }
    if (!any)
        script_fail(&play->script, "no system matches \"%s\"", pattern);
}

/* The number of the open alarm of a system and condition. */
static int64_t open_alarm(struct play *play) {
    struct script *script = &play->script;
    const char *system = script_word(script, "the system");
    const char *condition = script_word(script, "the condition");
    char *text = world_operate(&play->world, "GET", "/api/alarms", NULL, 200);
    json_t *alarms = json_loads(text, 0, NULL), *alarm;
    int64_t id = 0;
    size_t i;
    json_array_foreach(alarms, i, alarm) {
        if (strcmp(json_string_value(json_object_get(alarm, "system")), system) == 0 &&
            strcmp(json_string_value(json_object_get(alarm, "condition")), condition) == 0)
            id = json_integer_value(json_object_get(alarm, "id"));
    }
    json_decref(alarms);
    free(text);
    if (id == 0)
        script_fail(script, "%s has no open alarm %s", system, condition);
    return id;
}

void play_acknowledge(struct play *play) {
    char path[100];
    snprintf(path, sizeof path, "/api/alarms/%lld/acknowledge", (long long)open_alarm(play));
    operate(play, path, json_pack("{s:s}", "by", "the dispatcher"));
}

/* shelve SYSTEM CONDITION for SPAN */
void play_shelve(struct play *play) {
    char path[100];
    snprintf(path, sizeof path, "/api/alarms/%lld/shelve", (long long)open_alarm(play));
    script_accept(&play->script, "for");
    char *until = script_rest(&play->script);
    operate(
        play, path,
        json_pack("{s:s,s:s,s:s}", "by", "the dispatcher", "why", "part ordered", "until", until));
    free(until);
}

void play_unshelve(struct play *play) {
    char path[100];
    snprintf(path, sizeof path, "/api/alarms/%lld/unshelve", (long long)open_alarm(play));
    operate(play, path, json_pack("{s:s}", "by", "the dispatcher"));
}

/* out-of-service SYSTEM for SPAN */
void play_out_of_service(struct play *play) {
    char path[200];
    snprintf(path, sizeof path, "/api/systems/%s/out-of-service",
             script_word(&play->script, "the system"));
    script_accept(&play->script, "for");
    char *until = script_rest(&play->script);
    operate(play, path,
            json_pack("{s:s,s:s,s:s}", "by", "the dispatcher", "why", "repair", "until", until));
    free(until);
}

void play_return_to_service(struct play *play) {
    char path[200];
    snprintf(path, sizeof path, "/api/systems/%s/return-to-service",
             script_word(&play->script, "the system"));
    operate(play, path, json_pack("{s:s}", "by", "the dispatcher"));
}

/* visit SYSTEM [calibration DATE] */
void play_visit(struct play *play) {
    struct script *script = &play->script;
    char path[200], on[40];
    snprintf(path, sizeof path, "/api/systems/%s/visit-done", script_word(script, "the system"));
    json_t *body =
        json_pack("{s:s,s:s,s:s,s:s}", "by", "the technician", "found", "all well", "did",
                  "nothing", "on", timestamp_format(on, sizeof on, play->world.now_ms));
    if (script_accept(script, "calibration"))
        json_object_set_new(body, "next_calibration", json_string(script_word(script, "a date")));
    operate(play, path, body);
}

/* radon-test SYSTEM VALUE UNIT over SPAN: it ends now */
void play_radon_test(struct play *play) {
    struct script *script = &play->script;
    char path[200], value[80], from[40], to[40];
    snprintf(path, sizeof path, "/api/systems/%s/radon-test", script_word(script, "the system"));
    const char *number = script_word(script, "a value");
    snprintf(value, sizeof value, "%s %s", number, script_word(script, "its unit"));
    script_accept(script, "over");
    int64_t end_ms = play->world.now_ms,
            start_ms = end_ms - script_span(script, "how long it took");
    operate(play, path,
            json_pack("{s:s,s:s,s:s,s:s,s:s,s:s}", "by", "the technician", "value", value, "place",
                      "basement", "device", "canister", "from",
                      timestamp_format(from, sizeof from, start_ms), "to",
                      timestamp_format(to, sizeof to, end_ms)));
}

/* import: a block of CSV */
void play_import(struct play *play) {
    play_need_daemon(play);
    free(world_operate(&play->world, "POST", "/api/import", play->script.block, 200));
}
