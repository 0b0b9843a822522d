#include "scenario_play.h"

#include "measure/duration.h"
#include "measure/timestamp.h"

#include <fnmatch.h>
#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char base_settings[] = "broker: {host: 127.0.0.1, client_id: scenario}\n"
                                    "store: {file: store.db}\n"
                                    "page: {port: 0}\n"
                                    "operator_socket: operator.sock\n"
                                    "systems: systems/\n";
static const char base_contacts[] =
    "contacts:\n"
    "  - {id: office, role: contractor, webhook: {url: \"http://127.0.0.1:9/a\"}}\n"
    "  - {id: workshop, role: technician, webhook: {url: \"http://127.0.0.1:9/b\"}}\n"
    "  - {id: owner, role: homeowner, webhook: {url: \"http://127.0.0.1:9/c\"}}\n";

/* ---- settings and systems ---- */

static void write_settings(struct play *play) {
    char *text = NULL;
    const char *given = play->settings ? play->settings : "";
    bool contacts = strncmp(given, "contacts:", 9) == 0 || strstr(given, "\ncontacts:");
    if (asprintf(&text, "%s%s%s", base_settings, contacts ? "" : base_contacts, given) < 0)
        abort();
    world_write(&play->world, "subslabd.yaml", text);
    free(text);
}

/* The daemon starts when it is first needed. */
void play_need_daemon(struct play *play) {
    if (world_runs(&play->world))
        return;
    write_settings(play);
    world_start(&play->world);
}

static void command_settings(struct play *play) {
    free(play->settings);
    play->settings = strdup(play->script.block ? play->script.block : "");
}

/* {id} stands for the system's id, so that one block can describe many. */
static void write_system(struct play *play, const char *id) {
    char *text = NULL, name[200];
    size_t size = 0;
    FILE *stream = open_memstream(&text, &size);
    fprintf(stream, "id: %s\n", id);
    if (!strstr(play->script.block ? play->script.block : "", "contacts:"))
        fputs("contacts: [office, workshop, owner]\n", stream);
    for (const char *at = play->script.block; at && *at;) {
        const char *mark = strstr(at, "{id}");
        fwrite(at, 1, mark ? (size_t)(mark - at) : strlen(at), stream);
        fputs(mark ? id : "", stream);
        at = mark ? mark + 4 : NULL;
    }
    fclose(stream);
    snprintf(name, sizeof name, "systems/%s.yaml", id);
    world_write(&play->world, name, text);
    free(text);
}

/* system ID: …, or system ID gone */
static void command_system(struct play *play) {
    char name[200];
    const char *id = script_word(&play->script, "the system's id");
    if (!script_accept(&play->script, "gone")) {
        write_system(play, id);
        return;
    }
    snprintf(name, sizeof name, "systems/%s.yaml", id);
    world_delete(&play->world, name);
}

static void command_reload(struct play *play) {
    play_need_daemon(play);
    write_settings(play);
    world_reload(&play->world);
}

static void command_systems(struct play *play) {
    const char *stem = script_word(&play->script, "the stem of the ids");
    int first = (int)script_number(&play->script, "the first number");
    int last = (script_accept(&play->script, "to"), (int)script_number(&play->script, "the last"));
    for (int i = first; i <= last; i++) {
        char id[100];
        snprintf(id, sizeof id, "%s-%d", stem, i);
        write_system(play, id);
    }
}

/* ---- time ---- */

static void command_start(struct play *play) {
    play->world.now_ms = play->script.mark_ms = script_time(&play->script, "the beginning");
}

static void command_mark(struct play *play) {
    play->script.mark_ms = play->world.now_ms;
    play->script.at = play->script.count;
}

static void run_to(struct play *play, int64_t time_ms) {
    if (time_ms < play->world.now_ms)
        script_fail(&play->script, "that time is already over");
    world_run_to(&play->world, time_ms);
}

static void command_run(struct play *play) {
    if (script_accept(&play->script, "to"))
        run_to(play, script_time(&play->script, "where to run"));
    else
        run_to(play, play->world.now_ms + script_span(&play->script, "how long to run"));
}

static void command_step(struct play *play) {
    play->world.step_ms = script_span(&play->script, "the step");
}

static void command_clock(struct play *play) {
    struct script *script = &play->script;
    if (!script_accept(script, "jumps"))
        script_fail(script, "after clock comes jumps");
    bool back = script_accept(script, "back");
    int64_t by_ms = script_span(script, "how far");
    world_move_clock(&play->world, back ? -by_ms : by_ms);
}

/* ---- sensors ---- */

static const struct point_description *find_point(struct play *play, const char *name) {
    const struct fleet *fleet = play->world.fleet;
    char id[128];
    const char *slash = strchr(name, '/');
    if (!slash)
        script_fail(&play->script, "\"%s\" is not SYSTEM/POINT", name);
    snprintf(id, sizeof id, "%.*s", (int)(slash - name), name);
    size_t system = fleet_find_system(fleet, id);
    size_t point = system == FLEET_NONE ? FLEET_NONE : fleet_find_point(fleet, system, slash + 1);
    if (point == FLEET_NONE)
        script_fail(&play->script, "there is no point \"%s\"", name);
    return fleet->points[point].description;
}

static struct world_sensor *provide_sensor(struct world *world, const char *name,
                                           const char *topic) {
    for (size_t i = 0; i < world->sensor_count; i++) {
        if (strcmp(world->sensors[i].name, name) == 0)
            return &world->sensors[i];
    }
    world->sensors = realloc(world->sensors, (world->sensor_count + 1) * sizeof *world->sensors);
    ck_assert_ptr_nonnull(world->sensors);
    struct world_sensor *sensor = &world->sensors[world->sensor_count++];
    *sensor = (struct world_sensor){.name = strdup(name), .topic = strdup(topic)};
    return sensor;
}

static void read_values(struct script *script, struct world_sensor *sensor) {
    sensor->count = sensor->at = 0;
    sensor->spread = 0.0;
    sensor->own_time = true;
    do {
        sensor->values[sensor->count++] = script_number(script, "a value");
    } while (script_accept(script, "then") && sensor->count < 32);
    if (script_accept(script, "±"))
        sensor->spread = script_number(script, "the spread");
    if (script_accept(script, "without"))
        sensor->own_time = !script_accept(script, "time");
}

static void change_sensors(struct play *play, const char *pattern,
                           const struct world_sensor *given) {
    for (size_t i = 0; i < play->world.sensor_count; i++) {
        struct world_sensor *sensor = &play->world.sensors[i], old = *sensor;
        if (fnmatch(pattern, sensor->name, 0) != 0)
            continue;
        *sensor = *given;
        sensor->name = old.name;
        sensor->topic = old.topic;
        sensor->next_ms = old.next_ms;
    }
}

/* Sets every point of the fleet that matches SYSTEM/POINT, with * in it. A sensor that already
   reports keeps its rhythm; a new one begins at once, or later by its number times `apart`. */
static void command_every(struct play *play) {
    struct script *script = &play->script;
    struct world *world = &play->world;
    struct world_sensor given = {0};
    size_t matched = 0;
    if (world->sensor_count == 0)
        play_need_daemon(play);
    given.every_ms = script_span(script, "the interval");
    const char *pattern = script_word(script, "SYSTEM/POINT");
    read_values(script, &given);
    if (!world_runs(world)) { /* sensors know nothing of the daemon: they go on without it */
        change_sensors(play, pattern, &given);
        return;
    }
    int64_t apart_ms = script_accept(script, "apart") ? script_span(script, "how far apart") : 0;
    for (size_t i = 0; i < world->fleet->point_count; i++) {
        char name[256];
        snprintf(name, sizeof name, "%s/%s",
                 fleet_system_id(world->fleet, world->fleet->points[i].system),
                 fleet_point_id(world->fleet, i));
        if (fnmatch(pattern, name, 0) != 0)
            continue;
        const char *topic = world->fleet->points[i].description->topic;
        struct world_sensor *sensor = provide_sensor(world, name, topic);
        int64_t next_ms = sensor->next_ms == 0 || sensor->next_ms == INT64_MAX
                              ? world->now_ms + (int64_t)matched * apart_ms
                              : sensor->next_ms;
        char *own_name = sensor->name, *own_topic = sensor->topic;
        *sensor = given;
        sensor->name = own_name;
        sensor->topic = own_topic;
        sensor->next_ms = next_ms;
        matched++;
    }
    if (matched == 0)
        script_fail(script, "no point matches \"%s\"", pattern);
}

static void command_stop(struct play *play) {
    const char *pattern = script_word(&play->script, "SYSTEM/POINT");
    bool any = false;
    for (size_t i = 0; i < play->world.sensor_count; i++) {
        if (fnmatch(pattern, play->world.sensors[i].name, 0) != 0)
            continue;
        play->world.sensors[i].next_ms = INT64_MAX;
        any = true;
    }
    if (!any)
        script_fail(&play->script, "no sensor matches \"%s\"", pattern);
}

/* reading SYSTEM/POINT VALUE [at TIME] */
static void command_reading(struct play *play) {
    struct script *script = &play->script;
    char payload[200];
    play_need_daemon(play);
    const struct point_description *point = find_point(play, script_word(script, "SYSTEM/POINT"));
    double value = script_number(script, "the value");
    int64_t time_ms =
        script_accept(script, "at") ? script_time(script, "its time") : play->world.now_ms;
    snprintf(payload, sizeof payload, "[{\"n\":\"x\",\"t\":%.3f,\"v\":%.9g}]",
             (double)time_ms / 1000.0, value);
    world_publish(&play->world, point->topic, payload, false);
}

/* message TOPIC PAYLOAD [retained] */
static void command_message(struct play *play) {
    const char *topic = script_word(&play->script, "the topic");
    const char *payload = script_word(&play->script, "the payload");
    play_need_daemon(play);
    world_publish(&play->world, topic, payload, script_accept(&play->script, "retained"));
}

/* ---- outages ---- */

static void command_broker(struct play *play) {
    struct script *script = &play->script;
    play_need_daemon(play);
    if (script_accept(script, "lost")) {
        world_lose_broker(&play->world);
        return;
    }
    if (!script_accept(script, "back"))
        script_fail(script, "after broker comes lost or back");
    enum world_order order = WORLD_IN_ORDER;
    if (script_accept(script, "shuffled"))
        order = WORLD_SHUFFLED;
    else if (script_accept(script, "reversed"))
        order = WORLD_REVERSED;
    world_return_broker(&play->world, play->in_order ? WORLD_IN_ORDER : order);
}

static void command_daemon(struct play *play) {
    struct script *script = &play->script;
    const char *word = script_word(script, "stops, is killed, starts or restarts");
    if (strcmp(word, "stops") == 0 || strcmp(word, "killed") == 0) {
        world_stop(&play->world, strcmp(word, "stops") == 0);
    } else if (strcmp(word, "starts") == 0) {
        play_need_daemon(play);
    } else if (strcmp(word, "restarts") == 0) {
        world_stop(&play->world, true);
        play_need_daemon(play);
    } else {
        script_fail(script, "a daemon stops, is killed, starts or restarts");
    }
}

/* ---- comparisons and expectations ---- */

static void command_compare(struct play *play) {
    const char *word =
        (script_accept(&play->script, "with"), script_word(&play->script, "sorted or live"));
    play->compare_with_sorted = strcmp(word, "sorted") == 0;
    play->compare_with_live = strcmp(word, "live") == 0;
    if (!play->compare_with_sorted && !play->compare_with_live)
        script_fail(&play->script, "compare with sorted, or with live");
}

static void command_endpoints(struct play *play) {
    const char *word = script_word(&play->script, "down or up");
    play->world.endpoints_down = strcmp(word, "down") == 0;
}

static void command_forget(struct play *play) {
    play_need_daemon(play);
    script_accept(&play->script, "messages");
    play->seen_row = play_newest_row(play);
}

static const struct {
    const char *name;
    void (*play)(struct play *play);
} commands[] = {
    {"settings", command_settings},
    {"system", command_system},
    {"systems", command_systems},
    {"start", command_start},
    {"mark", command_mark},
    {"run", command_run},
    {"step", command_step},
    {"clock", command_clock},
    {"every", command_every},
    {"stop", command_stop},
    {"reading", command_reading},
    {"message", command_message},
    {"broker", command_broker},
    {"daemon", command_daemon},
    {"reload", command_reload},
    {"commission", play_commission},
    {"acknowledge", play_acknowledge},
    {"shelve", play_shelve},
    {"unshelve", play_unshelve},
    {"out-of-service", play_out_of_service},
    {"return-to-service", play_return_to_service},
    {"visit", play_visit},
    {"radon-test", play_radon_test},
    {"import", play_import},
    {"compare", command_compare},
    {"endpoints", command_endpoints},
    {"forget", command_forget},
    {"expect", play_expect},
};

static void play_line(struct play *play) {
    const char *name = script_word(&play->script, "a command");
    for (size_t i = 0; i < sizeof commands / sizeof commands[0]; i++) {
        if (strcmp(commands[i].name, name) != 0)
            continue;
        commands[i].play(play);
        if (script_more(&play->script))
            script_fail(&play->script, "\"%s\" is too much", play->script.words[play->script.at]);
        return;
    }
    script_fail(&play->script, "there is no command \"%s\"", name);
}

/* ---- a whole file ---- */

/* Fixed by the file's name, so that a scenario is the same every time; TEST_SEED changes it. */
static uint64_t seed_of(const char *file) {
    uint64_t seed = getenv("TEST_SEED") ? test_seed() : 1;
    for (const char *at = strrchr(file, '/'); at && *at; at++)
        seed = seed * 31 + (unsigned char)*at;
    return seed;
}

enum variant { AS_WRITTEN, IN_ORDER, LIVE };

/* What stands in the end: alarms, readings, hours. The caller frees. */
static char *play_variant(const char *file, const char *text, enum variant variant,
                          struct play *play) {
    *play = (struct play){.in_order = variant == IN_ORDER};
    script_open(&play->script, file, text);
    world_create(&play->world, seed_of(file));
    play->world.ignore_outages = variant == LIVE;
    while (script_next(&play->script)) {
        /* Expectations are about the scenario as it is written. */
        bool skipped = variant != AS_WRITTEN && strcmp(play->script.words[0], "expect") == 0;
        if (!skipped)
            play_line(play);
    }
    char *outcome = world_runs(&play->world) ? play_outcome(play) : NULL;
    world_destroy(&play->world);
    script_close(&play->script);
    free(play->settings);
    return outcome;
}

static void compare(const char *file, const char *text, const char *outcome, enum variant variant,
                    const char *what) {
    struct play play;
    char *other = play_variant(file, text, variant, &play);
    ck_assert_msg(outcome && other && strcmp(outcome, other) == 0,
                  "%s: the outcome is not that of the %s run.\nas written:\n%.1500s\n%s:\n%.1500s",
                  file, what, outcome ? outcome : "none", what, other ? other : "none");
    free(other);
}

void play_file(const char *file) {
    struct play play;
    char *text = test_read_file(file, NULL);
    char *outcome = play_variant(file, text, AS_WRITTEN, &play);
    if (play.compare_with_sorted)
        compare(file, text, outcome, IN_ORDER, "sorted");
    if (play.compare_with_live)
        compare(file, text, outcome, LIVE, "live");
    free(outcome);
    free(text);
}
