/*
 * show_bench: a house with a pipeline and a store, fed with readings, and what is shown of it.
 * Functions in a header, because only programs that link the daemon can use them.
 */
#ifndef SHOW_BENCH_H
#define SHOW_BENCH_H

#include "api/show.h"
#include "api/systems.h"
#include "api/visits.h"
#include "measure/duration.h"
#include "measure/timestamp.h"
#include "page/alarm_items.h"
#include "page/facts.h"
#include "page/view.h"
#include "pipeline/pipeline.h"
#include "small_fleet.h"
#include "store_support.h"
#include "upkeep/daily_upkeep.h"
#include "upkeep/upkeep.h"

#include <math.h>

static const char settings[] = "broker: {host: 127.0.0.1, client_id: subslabd}\n"
                               "store: {file: test.db}\n"
                               "operator_socket: test.sock\n"
                               "units: us\n"
                               "systems: systems/\n"
                               "retest_every: 2 y\n"
                               "contacts:\n"
                               "  - id: office\n"
                               "    role: contractor\n"
                               "    webhook: {url: \"http://127.0.0.1:9/\"}\n";

static const char house[] =
    "id: house\nname: The House\naddress: 1 Test Way\nfoundation: drain tile\n"
    "time_zone: America/Denver\n"
    "fan: {curve: [[0 L/s, 500 Pa], [20 L/s, 420 Pa], [40 L/s, 180 Pa], [48 L/s, 38 Pa]]}\n"
    "points:\n"
    "  - {id: suction, quantity: suction, unit: Pa, every: 1 h}\n"
    "  - {id: flow, quantity: airflow, unit: L/s, every: 1 h}\n"
    "  - {id: radon, quantity: radon, unit: Bq/m3, every: 1 h}\n"
    "  - {id: hole, quantity: field, unit: Pa, every: 1 h}\n"
    "  - {id: spare, quantity: field, unit: Pa, every: 1 h}\n";

static const char bare[] = "id: bare\nname: Bare\npoints:\n"
                           "  - {id: suction, quantity: suction, unit: Pa, every: 1 h}\n"
                           "  - {id: cellar, quantity: radon, unit: Bq/m3, every: 1 h}\n"
                           "  - {id: bedroom, quantity: radon, unit: Bq/m3, every: 1 h}\n"
                           "  - {id: tube, quantity: suction, unit: Pa, by: hand}\n";

enum { SUCTION, FLOW, RADON, HOLE };

static const int64_t first_day = 20360;

struct show_bench {
    const char *folder;
    struct fleet *fleet;
    struct store *store;
    struct pipeline *pipeline;
    struct upkeep *upkeep;
    struct api api;
    int64_t start_ms;
};

static inline void open_world(struct show_bench *world) {
    const char *const systems[] = {house, bare};
    char why[200] = "";
    world->fleet = small_fleet(settings, systems, 2);
    world->folder = store_test_folder();
    world->store = store_test_open(store_test_path(world->folder, "house.db"), NULL);
    world->pipeline = pipeline_open(world->fleet, world->store, 0, why, sizeof why);
    ck_assert_msg(world->pipeline != NULL, "%s", why);
    world->upkeep = upkeep_open(world->fleet);
    ck_assert_ptr_nonnull(world->upkeep);
    world->start_ms = time_zone_day_start_ms(world->fleet->systems[0].zone, first_day);
    world->api = (struct api){.pipeline = world->pipeline,
                              .upkeep = world->upkeep,
                              .fleet = world->fleet,
                              .store_why = "",
                              .now_ms = world->start_ms,
                              .lost_since_ms = TIMESTAMP_NONE};
}

static inline void close_world(struct show_bench *world) {
    pipeline_close(world->pipeline);
    upkeep_close(world->upkeep);
    store_close(world->store);
    fleet_destroy(world->fleet);
    store_test_remove(world->folder);
}

static inline void commission(struct show_bench *world, const char *text) {
    int64_t id = 0;
    const struct record_commissioning record = {
        .system = "house",
        .from_ms = world->start_ms,
        .recorded_ms = world->start_ms,
        .by = "the installer",
        .origin = "commissioned",
        .text = text,
    };
    ck_assert_int_eq(record_commissioning_add(world->store, &record, &id), STORE_OK);
    ck_assert_int_eq(pipeline_read_records(world->pipeline, 0), STORE_OK);
}

static const char record[] =
    "{\"points\":{\"suction\":300.0,\"flow\":0.0316,\"hole\":6.0},"
    "\"ground_exponent\":1.5,\"radon_after\":40.0,\"instruments\":\"micromanometer 12\"}";

/* What a leak or a blockage does: shares of suction and of flow that are left. */
struct air_left {
    double suction, flow;
};

/* Feeds more days; suction falls by `fade` a day from 300 Pa. */
static inline void feed_air(struct show_bench *world, int64_t from_day, int64_t to_day, double fade,
                            struct air_left left) {
    struct test_random random = {7 + (uint64_t)from_day};
    for (int64_t hour = from_day * 24; hour < to_day * 24; hour++) {
        double day = (double)hour / 24.0, share = 1.0 - fade * day;
        const double values[] = {300.0 * share * left.suction, 0.0316 * sqrt(share) * left.flow,
                                 50.0, 6.0 * share};
        for (size_t point = 0; point < 4; point++) {
            const struct reading reading = {
                world->start_ms + hour * DURATION_HOUR_MS,
                values[point] *
                    (1.0 + (point == RADON ? 0.2 : 0.004) * test_random_normal(&random))};
            ck_assert_int_eq(pipeline_take(world->pipeline, point, &reading, SERIES_FROM_SENSOR,
                                           reading.time_ms),
                             PIPELINE_NEW);
        }
        world->api.now_ms = world->start_ms + hour * DURATION_HOUR_MS + 1;
        pipeline_tick(world->pipeline, world->api.now_ms);
        if (hour % 24 == 0)
            daily_upkeep_step(upkeep_daily(world->upkeep), world->pipeline, world->api.now_ms);
        ck_assert_int_eq(pipeline_settle(world->pipeline, world->api.now_ms), STORE_OK);
    }
}

static inline void feed(struct show_bench *world, int64_t from_day, int64_t to_day, double fade) {
    feed_air(world, from_day, to_day, fade, (struct air_left){1.0, 1.0});
}

/* Every null of an object has a why beside it, and no number is anything but finite. */
static inline void check_whys(const json_t *json, const char *path) {
    const char *key;
    json_t *value;
    size_t i;
    char inner[300];
    ck_assert(!json_is_real(json) || isfinite(json_real_value(json)));
    json_object_foreach((json_t *)json, key, value) {
        snprintf(inner, sizeof inner, "%s.%s", path, key);
        bool number = strcmp(key, "mean") == 0 || strcmp(key, "value") == 0 ||
                      strcmp(key, "per_year") == 0 || strcmp(key, "speed_ratio") == 0 ||
                      strcmp(key, "resistance_ratio") == 0 || strcmp(key, "date") == 0 ||
                      strcmp(key, "standard_uncertainty") == 0 ||
                      strcmp(key, "probability_above_action") == 0;
        if (number && json_is_null(value))
            ck_assert_msg(json_is_string(json_object_get(json, "why")), "%s is null without why",
                          inner);
        check_whys(value, inner);
    }
    json_array_foreach((json_t *)json, i, value) {
        snprintf(inner, sizeof inner, "%s[%zu]", path, i);
        check_whys(value, inner);
    }
}

static inline json_t *show(struct show_bench *world, size_t system) {
    json_t *json = api_show(&world->api, system, WORDING_ENGLISH);
    ck_assert_ptr_nonnull(json);
    check_whys(json, "show");
    char *text = json_dumps(json, 0); /* refuses what is no JSON */
    ck_assert_ptr_nonnull(text);
    free(text);
    return json;
}

static inline json_t *point_of(const json_t *json, const char *id) {
    json_t *point;
    size_t i;
    json_array_foreach(json_object_get(json, "points"), i, point) {
        if (strcmp(json_string_value(json_object_get(point, "id")), id) == 0)
            return point;
    }
    ck_abort_msg("no point %s", id);
    return NULL;
}

static inline double number(const json_t *json, const char *object, const char *key) {
    const json_t *value = json_object_get(object ? json_object_get(json, object) : json, key);
    ck_assert_msg(json_is_number(value), "%s.%s is no number", object ? object : "", key);
    return json_number_value(value);
}

#endif
