#include "scenario_world.h"

#include "host/fleet_files.h"
#include "measure/duration.h"
#include "upkeep/upkeep.h"
#include "web.h"

#include <dirent.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { BATCH = 200 };
static const int64_t batch_ms = 100, quiet_ms = 600;

static void close_parts(struct world *world);

/* ---- folder ---- */

void world_create(struct world *world, uint64_t seed) {
    const char *base = getenv("TMPDIR");
    *world =
        (struct world){.step_ms = 5 * DURATION_SECOND_MS, .random = {seed}, .shuffler = {~seed}};
    snprintf(world->folder, sizeof world->folder, "%s/scenario-XXXXXX", base ? base : "/tmp");
    ck_assert_ptr_nonnull(mkdtemp(world->folder));
    char systems[300];
    snprintf(systems, sizeof systems, "%s/systems", world->folder);
    ck_assert_int_eq(mkdir(systems, 0700), 0);
}

void world_remove_folder(const char *folder) {
    DIR *list = opendir(folder);
    for (const struct dirent *entry; list && (entry = readdir(list));) {
        char path[600];
        snprintf(path, sizeof path, "%s/%s", folder, entry->d_name);
        if (strcmp(entry->d_name, ".") != 0 && strcmp(entry->d_name, "..") != 0 &&
            unlink(path) != 0)
            world_remove_folder(path);
    }
    if (list)
        closedir(list);
    rmdir(folder);
}

void world_write(const struct world *world, const char *name, const char *text) {
    char path[600];
    snprintf(path, sizeof path, "%s/%s", world->folder, name);
    FILE *file = fopen(path, "w");
    ck_assert_msg(file != NULL, "%s cannot be written", path);
    fputs(text, file);
    fclose(file);
}

void world_delete(const struct world *world, const char *name) {
    char path[600];
    snprintf(path, sizeof path, "%s/%s", world->folder, name);
    ck_assert_msg(unlink(path) == 0, "%s cannot be deleted", path);
}

static void forget_message(struct world_message *message) {
    free(message->topic);
    free(message->payload);
}

void world_destroy(struct world *world) {
    if (world->pipeline)
        close_parts(world);
    for (size_t i = 0; i < world->sensor_count; i++) {
        free(world->sensors[i].name);
        free(world->sensors[i].topic);
    }
    free(world->sensors);
    for (size_t i = 0; i < world->kept_count; i++)
        forget_message(&world->kept[i]);
    free(world->kept);
    world_remove_folder(world->folder);
}

/* ---- the daemon ---- */

bool world_runs(const struct world *world) {
    return world->pipeline != NULL;
}

static struct fleet *load_fleet(const struct world *world) {
    struct settings_errors errors = {0};
    char path[300];
    snprintf(path, sizeof path, "%s/subslabd.yaml", world->folder);
    struct fleet *fleet = fleet_files_load(path, NULL, &errors);
    ck_assert_msg(fleet != NULL, "%s", errors.count ? errors.lines[0] : "no fleet");
    settings_errors_free(&errors);
    return fleet;
}

void world_settle(struct world *world) {
    pipeline_look_again(world->pipeline, INT64_MAX);
    enum store_status status = pipeline_settle(world->pipeline, world->now_ms);
    ck_assert_msg(status == STORE_OK, "settle: status %d: %s", (int)status,
                  store_error(world->store));
}

static void take(struct world *world, const struct world_message *message) {
    const struct intake_message arrived = {.topic = message->topic,
                                           .payload = message->payload,
                                           .length = strlen(message->payload),
                                           .retain = message->retain};
    pipeline_message(world->pipeline, &arrived, NULL, world->now_ms);
    world->next_tick_ms = world->now_ms;
}

/* The endpoints of all contacts answer 204 at once. */
static void deliver(struct world *world) {
    struct outbox_message *due[8];
    int64_t next_ms = INT64_MAX;
    size_t count = 0;
    while (!world->endpoints_down && outbox_next(world->store, &next_ms) == STORE_OK &&
           next_ms <= world->now_ms) {
        ck_assert_int_eq(outbox_due(world->store, world->now_ms, NULL, 0, due, 8, &count),
                         STORE_OK);
        ck_assert_uint_gt(count, 0);
        for (size_t i = 0; i < count; i++) {
            ck_assert_int_eq(outbox_sent(world->store, due[i]->row, world->now_ms, "204"),
                             STORE_OK);
            outbox_message_free(due[i]);
        }
    }
}

static void act(struct world *world) {
    if (world->now_ms >= world->next_tick_ms) {
        int64_t next_ms = pipeline_tick(world->pipeline, world->now_ms);
        world->next_tick_ms =
            next_ms < world->now_ms + world->step_ms ? world->now_ms + world->step_ms : next_ms;
    }
    if (world->now_ms >= world->next_upkeep_ms) {
        int64_t next_ms =
            upkeep_step(world->upkeep, world->pipeline, world->now_ms, !world->connected);
        bool more = next_ms <= world->now_ms; /* it works in small steps */
        int64_t least_ms = world->now_ms + (more ? 1 : world->step_ms);
        world->next_upkeep_ms = next_ms < least_ms ? least_ms : next_ms;
    }
    world_settle(world);
    deliver(world);
}

static void arrange(struct world *world, enum world_order order) {
    struct world_message *kept = world->kept, other;
    size_t count = world->kept_count;
    for (size_t i = 0; i + 1 < count && order != WORLD_IN_ORDER; i++) {
        size_t j = i + (size_t)(test_random_next(&world->shuffler) % (count - i));
        if (order == WORLD_REVERSED && (j = count - 1 - i) <= i)
            break;
        other = kept[i];
        kept[i] = kept[j];
        kept[j] = other;
    }
}

/* What the broker kept comes in batches, each a turn of the loop; half a second later it is over.
 */
static void connect_broker(struct world *world, enum world_order order) {
    arrange(world, order);
    for (size_t i = 0; i < world->kept_count; i++) {
        take(world, &world->kept[i]);
        forget_message(&world->kept[i]);
        if ((i + 1) % BATCH == 0) {
            act(world);
            world->now_ms += batch_ms;
        }
    }
    world->kept_count = 0;
    world->connected = true;
    monitor_daemon(pipeline_monitor(world->pipeline), CONDITION_BROKER_LOST, false, NULL, NAN,
                   world->now_ms);
    act(world);
    world->now_ms += quiet_ms;
    pipeline_set_backlog(world->pipeline, false, world->now_ms);
    world->next_tick_ms = 0;
    act(world);
}

static void open_parts(struct world *world) {
    char why[500] = "";
    const struct store_options options = {.mode = STORE_READ_WRITE};
    world->fleet = load_fleet(world);
    ck_assert_msg(store_open(world->fleet->settings->store_file, &options, &world->store, why,
                             sizeof why) == STORE_OK,
                  "%s", why);
    world->pipeline = pipeline_open(world->fleet, world->store, world->now_ms, why, sizeof why);
    ck_assert_msg(world->pipeline != NULL, "%s", why);
    world->upkeep = upkeep_open(world->fleet);
    ck_assert_ptr_nonnull(world->upkeep);
    world->api = (struct api){.pipeline = world->pipeline,
                              .upkeep = world->upkeep,
                              .fleet = world->fleet,
                              .store_why = "",
                              .lost_since_ms = TIMESTAMP_NONE};
    pipeline_set_backlog(world->pipeline, true, world->now_ms);
    world->next_tick_ms = world->next_upkeep_ms = 0;
}

void world_start(struct world *world) {
    if (world->pipeline)
        return;
    /* The first start is over just when the scenario begins. */
    if (!world->started)
        world->now_ms -= quiet_ms;
    world->started = true;
    open_parts(world);
    connect_broker(world, WORLD_IN_ORDER);
}

static void close_parts(struct world *world) {
    pipeline_close(world->pipeline);
    upkeep_close(world->upkeep);
    store_close(world->store);
    fleet_destroy(world->fleet);
    world->pipeline = NULL;
    world->upkeep = NULL;
    world->store = NULL;
    world->fleet = NULL;
    world->connected = false;
}

void world_stop(struct world *world, bool cleanly) {
    if (!world->pipeline || world->ignore_outages)
        return;
    if (cleanly)
        world_settle(world);
    close_parts(world);
}

void world_reload(struct world *world) {
    char why[500] = "";
    struct fleet_change change;
    struct fleet *fleet = load_fleet(world);
    ck_assert(fleet_change_open(&change, world->fleet, fleet));
    struct pipeline *pipeline = pipeline_open_beside(world->pipeline, &change, why, sizeof why);
    ck_assert_msg(pipeline != NULL, "%s", why);
    for (bool more = true; more;)
        ck_assert_int_eq(pipeline_read_beside(pipeline, &change, INT64_MAX, &more), STORE_OK);
    world_settle(world);
    ck_assert_int_eq(pipeline_hand_over(world->pipeline, pipeline, &change, world->now_ms),
                     STORE_OK);
    struct upkeep *upkeep = upkeep_open(fleet);
    ck_assert_ptr_nonnull(upkeep);
    pipeline_take_over(pipeline, world->pipeline, &change, world->now_ms);
    upkeep_take_over(upkeep, world->upkeep, &change);
    pipeline_close(world->pipeline);
    upkeep_close(world->upkeep);
    fleet_destroy(world->fleet);
    fleet_change_close(&change);
    world->pipeline = world->api.pipeline = pipeline;
    world->upkeep = world->api.upkeep = upkeep;
    world->fleet = fleet;
    world->api.fleet = fleet;
    world->next_tick_ms = world->next_upkeep_ms = 0;
    act(world);
}

void world_lose_broker(struct world *world) {
    if (world->ignore_outages)
        return;
    world->connected = false;
    pipeline_set_backlog(world->pipeline, true, world->now_ms);
    monitor_daemon(pipeline_monitor(world->pipeline), CONDITION_BROKER_LOST, true, "lost", NAN,
                   world->now_ms);
}

void world_return_broker(struct world *world, enum world_order order) {
    if (!world->ignore_outages)
        connect_broker(world, order);
}

/* ---- readings ---- */

static void keep(struct world *world, const char *topic, const char *payload, bool retain) {
    if (world->kept_count == world->kept_capacity) {
        world->kept_capacity = world->kept_capacity ? 2 * world->kept_capacity : 256;
        world->kept = realloc(world->kept, world->kept_capacity * sizeof *world->kept);
        ck_assert_ptr_nonnull(world->kept);
    }
    world->kept[world->kept_count++] =
        (struct world_message){strdup(topic), strdup(payload), retain};
}

void world_publish(struct world *world, const char *topic, const char *payload, bool retain) {
    if (!world->pipeline || !world->connected) {
        keep(world, topic, payload, retain);
        return;
    }
    struct world_message message = {strdup(topic), strdup(payload), retain};
    take(world, &message);
    forget_message(&message);
    act(world);
}

static void publish_sensor(struct world *world, struct world_sensor *sensor) {
    char payload[160];
    double value = sensor->values[sensor->at++ % sensor->count];
    if (sensor->spread > 0.0)
        value += sensor->spread * test_random_normal(&world->random);
    if (sensor->own_time)
        snprintf(payload, sizeof payload, "[{\"n\":\"x\",\"t\":%.3f,\"v\":%.6g}]",
                 (double)sensor->next_ms / 1000.0, value);
    else
        snprintf(payload, sizeof payload, "%.6g", value);
    sensor->next_ms += sensor->every_ms;
    world_publish(world, sensor->topic, payload, false);
}

/* ---- time ---- */

static int64_t next_event_ms(const struct world *world) {
    int64_t next_ms = INT64_MAX;
    for (size_t i = 0; i < world->sensor_count; i++)
        next_ms = world->sensors[i].next_ms < next_ms ? world->sensors[i].next_ms : next_ms;
    if (!world->pipeline)
        return next_ms;
    next_ms = world->next_tick_ms < next_ms ? world->next_tick_ms : next_ms;
    return world->next_upkeep_ms < next_ms ? world->next_upkeep_ms : next_ms;
}

void world_run_to(struct world *world, int64_t time_ms) {
    for (int64_t next_ms; (next_ms = next_event_ms(world)) <= time_ms;) {
        if (next_ms > world->now_ms)
            world->now_ms = next_ms;
        for (size_t i = 0; i < world->sensor_count; i++) {
            if (world->sensors[i].next_ms <= world->now_ms)
                publish_sensor(world, &world->sensors[i]);
        }
        if (world->pipeline)
            act(world);
    }
    if (time_ms > world->now_ms)
        world->now_ms = time_ms;
    if (world->pipeline) {
        world->next_tick_ms = 0;
        act(world);
    }
}

void world_move_clock(struct world *world, int64_t by_ms) {
    world->now_ms += by_ms;
    /* The sensors' clocks were set with ours: they go on from the same moment. */
    for (size_t i = 0; i < world->sensor_count; i++)
        world->sensors[i].next_ms += by_ms;
    pipeline_clock_moved(world->pipeline, by_ms, world->now_ms);
    world->next_tick_ms = world->next_upkeep_ms = 0;
    act(world);
}

/* ---- the operator ---- */

char *world_operate(struct world *world, const char *method, const char *path, const char *body,
                    int status) {
    const struct web_request request = {.method = method,
                                        .path = path,
                                        .body = body,
                                        .body_length = body ? strlen(body) : 0,
                                        .from_operator = true};
    struct web_answer answer = {0};
    world->api.now_ms = world->now_ms;
    web_handle(&world->api, &request, &answer);
    ck_assert_msg(answer.status == status, "%s %s: answered %d, not %d: %s", method, path,
                  answer.status, status, answer.body ? answer.body : "");
    return answer.body;
}
