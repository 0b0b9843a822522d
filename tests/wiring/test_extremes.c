/*
 * Nothing that a sensor can say stops the daemon or the tool: systems with every quantity, with
 * pasts and baselines at the edge of what is taken, walked through all pages and time spans,
 * the API and the commands that print. What comes back must be whole and hold no NaN and no
 * infinity.
 */
#include "api/api.h"
#include "host/clock.h"
#include "link/web_server.h"
#include "measure/duration.h"
#include "page/page.h"
#include "page/page_private.h"
#include "page/share.h"
#include "pipeline/pipeline.h"
#include "small_fleet.h"
#include "store_support.h"
#include "tool/ctl.h"
#include "tool/ctl_client.h"
#include "upkeep/daily_upkeep.h"
#include "upkeep/upkeep.h"
#include "web.h"

#include <ctype.h>
#include <curl/curl.h>
#include <float.h>
#include <math.h>
#include <poll.h>
#include <pthread.h>
#include <stdatomic.h>

enum { DAYS = 45, HALF_HOURLY_DAYS = 8, POINTS = QUANTITY_COUNT };

static const char *const units[QUANTITY_COUNT] = {
    [QUANTITY_SUCTION] = "Pa",
    [QUANTITY_FIELD] = "Pa",
    [QUANTITY_VELOCITY_PRESSURE] = "Pa",
    [QUANTITY_AIRFLOW] = "m3/s",
    [QUANTITY_FAN_POWER] = "W",
    [QUANTITY_FAN_CURRENT] = "A",
    [QUANTITY_RADON] = "Bq/m3",
    [QUANTITY_INDOOR_TEMPERATURE] = "degC",
    [QUANTITY_OUTDOOR_TEMPERATURE] = "degC",
    [QUANTITY_BAROMETRIC_PRESSURE] = "Pa",
    [QUANTITY_HUMIDITY] = "%",
    [QUANTITY_WATER_LEVEL] = "m",
    [QUANTITY_BATTERY] = "%",
};

/* ---- histories ---- */

static double middle(enum quantity quantity) {
    const struct quantity_info *info = quantity_info(quantity);
    return info->lowest + 0.307 * (info->highest - info->lowest);
}

/* The smallest that is not 0, where the range has room for it. */
static double least(enum quantity quantity) {
    const struct quantity_info *info = quantity_info(quantity);
    return info->lowest <= 0.0 ? DBL_TRUE_MIN : info->lowest;
}

static double constant(enum quantity quantity, int64_t i) {
    (void)i;
    return middle(quantity);
}

static double nearly_constant(enum quantity quantity, int64_t i) {
    return middle(quantity) * (1.0 + DBL_EPSILON * (double)(i % 3));
}

static double denormal(enum quantity quantity, int64_t i) {
    (void)i;
    return least(quantity);
}

static double zero(enum quantity quantity, int64_t i) {
    (void)i;
    return fmax(quantity_info(quantity)->lowest, 0.0);
}

static double lowest(enum quantity quantity, int64_t i) {
    (void)i;
    return quantity_info(quantity)->lowest;
}

static double highest(enum quantity quantity, int64_t i) {
    (void)i;
    return quantity_info(quantity)->highest;
}

static double swinging(enum quantity quantity, int64_t i) {
    return i % 2 ? lowest(quantity, i) : highest(quantity, i);
}

static double smallest_and_highest(enum quantity quantity, int64_t i) {
    return i % 7 ? least(quantity) : highest(quantity, i);
}

static const struct past {
    const char *name;
    double (*value)(enum quantity quantity, int64_t i);
    int64_t count; /* the newest so many; 0: none */
    int64_t left_out, out_of;
} pasts[] = {
    {"constant", constant, INT64_MAX, 0, 1},
    {"nearly constant", nearly_constant, INT64_MAX, 0, 1},
    {"denormal", denormal, INT64_MAX, 0, 1},
    {"zero", zero, INT64_MAX, 0, 1},
    {"lowest", lowest, INT64_MAX, 0, 1},
    {"highest", highest, INT64_MAX, 0, 1},
    {"swinging", swinging, INT64_MAX, 0, 1},
    {"smallest and highest", smallest_and_highest, INT64_MAX, 0, 1},
    {"empty", constant, 0, 0, 1},
    {"one reading", constant, 1, 0, 1},
    {"one denormal reading", denormal, 1, 0, 1},
    {"full of gaps", swinging, INT64_MAX, 29, 31},
    {"constant with gaps", constant, INT64_MAX, 29, 31},
};

static double no_baseline(enum quantity quantity) {
    (void)quantity;
    return NAN;
}

static double highest_baseline(enum quantity quantity) {
    return quantity_info(quantity)->highest;
}

static double (*const baselines[])(enum quantity quantity) = {no_baseline, middle, least,
                                                              highest_baseline};

enum { PASTS = sizeof pasts / sizeof pasts[0] };
enum { BASELINES = sizeof baselines / sizeof baselines[0] };

/* ---- a daemon without its loop ---- */

struct extremes {
    const char *folder;
    struct fleet *fleet;
    struct store *store;
    struct pipeline *pipeline;
    struct upkeep *upkeep;
    struct api api;
    struct web_server *page, *operator_socket;
    pthread_t server;
    atomic_bool over;
    char share[PAGE_SHARE_SIZE];
    int64_t start_ms, end_ms;
};

static struct fleet *load(const char *folder) {
    char settings[1000], *system = NULL;
    size_t size = 0;
    snprintf(settings, sizeof settings,
             "broker: {host: 127.0.0.1}\nstore: {file: %s/house.db}\n"
             "operator_socket: %s/operator.sock\nsystems: %s/systems/\ncontacts:\n"
             "  - {id: office, role: contractor, webhook: {url: \"http://127.0.0.1:9/\"}}\n",
             folder, folder, folder);
    FILE *file = fopen(store_test_path(folder, "subslabd.yaml"), "w");
    ck_assert_ptr_nonnull(file);
    fputs(settings, file);
    fclose(file);
    FILE *to = open_memstream(&system, &size);
    fprintf(to, "id: house\nname: The House\ntime_zone: America/Denver\n"
                "pipe: {inside_diameter: 3.068 in}\n"
                "fan: {curve: [[0 L/s, 500 Pa], [20 L/s, 420 Pa], [48 L/s, 38 Pa]]}\npoints:\n");
    for (int q = 0; q < QUANTITY_COUNT; q++)
        fprintf(to, "  - {id: %s, quantity: %s, unit: \"%s\", every: 2 h}\n",
                quantity_info((enum quantity)q)->name, quantity_info((enum quantity)q)->name,
                units[q]);
    fclose(to);
    const char *const systems[] = {system};
    struct fleet *fleet = small_fleet(settings, systems, 1);
    free(system);
    return fleet;
}

static void commission(struct extremes *world, double (*baseline)(enum quantity quantity)) {
    json_t *points = json_object();
    for (int q = 0; q < QUANTITY_COUNT; q++) {
        double value = baseline((enum quantity)q);
        if (isfinite(value))
            json_object_set_new(points, quantity_info((enum quantity)q)->name, json_real(value));
    }
    bool any = json_object_size(points) > 0;
    json_t *json = json_pack("{s:o}", "points", points);
    char *text = json_dumps(json, 0);
    int64_t id = 0;
    const struct record_commissioning record = {.system = "house",
                                                .from_ms = world->start_ms,
                                                .recorded_ms = world->start_ms,
                                                .by = "the installer",
                                                .origin = "commissioned",
                                                .text = text};
    if (any)
        ck_assert_int_eq(record_commissioning_add(world->store, &record, &id), STORE_OK);
    ck_assert_int_eq(pipeline_read_records(world->pipeline, 0), STORE_OK);
    free(text);
    json_decref(json);
}

/* Two hours apart until the last month, then half an hour with the jitter of a network. */
static void feed(struct extremes *world, const struct past *past) {
    struct test_random random = {11};
    int64_t step_ms = 2 * DURATION_HOUR_MS, total = 0, i = 0;
    for (int64_t at_ms = world->start_ms; at_ms < world->end_ms; at_ms += step_ms, total++)
        step_ms = at_ms < world->end_ms - HALF_HOURLY_DAYS * DURATION_DAY_MS
                      ? 2 * DURATION_HOUR_MS
                      : 30 * DURATION_MINUTE_MS;
    step_ms = 2 * DURATION_HOUR_MS;
    for (int64_t at_ms = world->start_ms; at_ms < world->end_ms; at_ms += step_ms, i++) {
        if (at_ms >= world->end_ms - HALF_HOURLY_DAYS * DURATION_DAY_MS)
            step_ms = 30 * DURATION_MINUTE_MS;
        if (total - i > past->count || i % past->out_of < past->left_out)
            continue;
        int64_t jitter_ms = (int64_t)(test_random_next(&random) % 60000);
        for (size_t point = 0; point < POINTS; point++) {
            const struct reading reading = {
                at_ms + jitter_ms,
                past->value(world->fleet->points[point].description->quantity, i)};
            if (pipeline_take(world->pipeline, point, &reading, SERIES_FROM_SENSOR,
                              reading.time_ms) != PIPELINE_NEW)
                ck_abort_msg("a reading was not taken");
        }
        if (i % 240 == 0) {
            pipeline_tick(world->pipeline, at_ms);
            daily_upkeep_step(upkeep_daily(world->upkeep), world->pipeline, at_ms);
            ck_assert_int_eq(pipeline_settle(world->pipeline, at_ms), STORE_OK);
        }
    }
    while (daily_upkeep_step(upkeep_daily(world->upkeep), world->pipeline, world->end_ms))
        ck_assert_int_eq(pipeline_settle(world->pipeline, world->end_ms), STORE_OK);
    ck_assert_int_eq(page_share_create(world->store, "house"), STORE_OK);
    ck_assert_int_eq(pipeline_settle(world->pipeline, world->end_ms), STORE_OK);
    ck_assert(page_share_current(world->store, "house", world->share));
}

static void *serve(void *context) {
    struct extremes *world = context;
    while (!atomic_load(&world->over)) {
        struct pollfd fds[] = {{web_server_descriptor(world->page), POLLIN, 0},
                               {web_server_descriptor(world->operator_socket), POLLIN, 0}};
        poll(fds, 2, 20);
        web_server_turn(world->page, clock_monotonic_ms());
        web_server_turn(world->operator_socket, clock_monotonic_ms());
    }
    return NULL;
}

static void open_world(struct extremes *world, const struct past *past,
                       double (*baseline)(enum quantity quantity)) {
    char why[300] = "";
    memset(world, 0, sizeof *world);
    world->folder = store_test_folder();
    world->fleet = load(world->folder);
    world->store = store_test_open(store_test_path(world->folder, "house.db"), NULL);
    world->pipeline = pipeline_open(world->fleet, world->store, 0, why, sizeof why);
    ck_assert_msg(world->pipeline != NULL, "%s", why);
    world->upkeep = upkeep_open(world->fleet);
    ck_assert_ptr_nonnull(world->upkeep);
    world->start_ms = INT64_C(1760000000000);
    world->end_ms = world->start_ms + DAYS * DURATION_DAY_MS;
    world->api = (struct api){.pipeline = world->pipeline,
                              .upkeep = world->upkeep,
                              .fleet = world->fleet,
                              .store_why = "",
                              .now_ms = world->end_ms,
                              .lost_since_ms = TIMESTAMP_NONE};
    world->api.dispatch = dispatch_open(world->fleet, why, sizeof why);
    ck_assert_msg(world->api.dispatch != NULL, "%s", why);
    commission(world, baseline);
    feed(world, past);
    world->page = web_server_create_tcp("127.0.0.1", 0, web_handle, &world->api, why, sizeof why);
    ck_assert_msg(world->page != NULL, "%s", why);
    world->operator_socket = web_server_create_socket(
        store_test_path(world->folder, "operator.sock"), web_handle, &world->api, why, sizeof why);
    ck_assert_msg(world->operator_socket != NULL, "%s", why);
    ck_assert_int_eq(pthread_create(&world->server, NULL, serve, world), 0);
}

static void close_world(struct extremes *world) {
    atomic_store(&world->over, true);
    pthread_join(world->server, NULL);
    web_server_destroy(world->page);
    web_server_destroy(world->operator_socket);
    page_close(world->api.page);
    dispatch_close(world->api.dispatch);
    pipeline_close(world->pipeline);
    upkeep_close(world->upkeep);
    store_close(world->store);
    fleet_destroy(world->fleet);
    store_test_remove(world->folder);
}

/* ---- looking ---- */

/* No word of it is what printf makes of a number that is none. */
static void check_words(const char *text, const char *where) {
    for (const char *at = text; *at;) {
        size_t length = 0;
        while (isalnum((unsigned char)at[length]))
            length++;
        bool none = length == 3 && (strncasecmp(at, "nan", 3) == 0 || strncmp(at, "inf", 3) == 0);
        if (none) /* a check that holds costs a system call */
            ck_abort_msg("%s: \"…%.60s\"", where, at > text + 20 ? at - 20 : text);
        at += length ? length : 1;
    }
}

static size_t collect(char *bytes, size_t size, size_t count, void *context) {
    fwrite(bytes, size, count, context);
    return size * count;
}

static long get(const struct extremes *world, const char *path, char **text) {
    char address[600];
    size_t size = 0;
    long status = 0;
    CURL *curl = curl_easy_init();
    FILE *to = open_memstream(text, &size);
    snprintf(address, sizeof address, "http://127.0.0.1:%d%s", web_server_port(world->page), path);
    curl_easy_setopt(curl, CURLOPT_URL, address);
    curl_easy_setopt(curl, CURLOPT_PROXY, "");
    curl_easy_setopt(curl, CURLOPT_WRITEFUNCTION, collect);
    curl_easy_setopt(curl, CURLOPT_WRITEDATA, to);
    ck_assert_msg(curl_easy_perform(curl) == CURLE_OK, "no answer to %s", path);
    curl_easy_getinfo(curl, CURLINFO_RESPONSE_CODE, &status);
    curl_easy_cleanup(curl);
    fclose(to);
    return status;
}

/* The page rations its time (page_cache.h); here it always has all of it. */
static void look(const struct extremes *world, const char *path) {
    char *text = NULL;
    if (world->api.page)
        world->api.page->allowance.reckoned_ms = world->api.page->share_allowance.reckoned_ms = 0;
    long status = get(world, path, &text);
    ck_assert_msg(status == 200, "%s: answered %ld: %s", path, status, text);
    check_words(text, path);
    if (*text == '{' || *text == '[') {
        json_t *json = json_loads(text, 0, NULL);
        ck_assert_msg(json != NULL, "%s is no JSON", path);
        json_decref(json);
    } else if (strstr(text, "<html")) {
        ck_assert_msg(strstr(text, "</html>") != NULL, "%s is cut short", path);
    }
    free(text);
}

static void look_at_pages(const struct extremes *world) {
    static const char *const ranges[] = {"24h", "7d", "30d", "91d", "1y", "5y"};
    static const char *const paths[] = {"/",
                                        "/alarms",
                                        "/visits",
                                        "/visits.ics",
                                        "/systems/house/record",
                                        "/api/systems",
                                        "/api/systems/house",
                                        "/api/alarms?all=1",
                                        "/api/visits",
                                        "/api/readings?system=house&limit=50000",
                                        "/metrics"};
    char path[PAGE_SHARE_SIZE + 60];
    for (size_t i = 0; i < sizeof paths / sizeof paths[0]; i++)
        look(world, paths[i]);
    for (size_t i = 0; i < sizeof ranges / sizeof ranges[0]; i++) {
        snprintf(path, sizeof path, "/systems/house?range=%s&units=%s", ranges[i],
                 i % 2 ? "us" : "si");
        look(world, path);
        if (i % 3 != 1)
            continue;
        snprintf(path, sizeof path, "/share/%s?range=%s&units=%s", world->share, ranges[i],
                 i % 2 ? "si" : "us");
        look(world, path);
    }
    snprintf(path, sizeof path, "/systems/house?range=7d&to=2025-12-01T00:00:00Z");
    look(world, path);
    snprintf(path, sizeof path, "/share/%s/record", world->share);
    look(world, path);
}

/* Runs a command of subslabctl against the world; its output is read back. */
static void command(const struct extremes *world, enum ctl_status expected,
                    const char *const words[]) {
    const char *settings = store_test_path(world->folder, "subslabd.yaml");
    const char *output = store_test_path(world->folder, "output");
    struct ctl ctl = {.settings_file = settings, .settings_named = true};
    char *arguments[12];
    int count = 0, kept = dup(STDOUT_FILENO);
    size_t length = 0;
    while (words[count]) {
        arguments[count] = strdup(words[count]);
        count++;
    }
    arguments[count] = NULL;
    fflush(stdout);
    ck_assert_ptr_nonnull(freopen(output, "w", stdout));
    ctl.command = ctl_find(words[0]);
    ck_assert_ptr_nonnull(ctl.command);
    struct ctl_arguments given;
    bool good = ctl_arguments(&ctl, count - 1, arguments + 1, &given);
    enum ctl_status status = good ? ctl.command->run(&ctl, &given) : given.status;
    ctl_arguments_clear(&given);
    fflush(stdout);
    dup2(kept, STDOUT_FILENO);
    close(kept);
    ck_assert_msg(status == expected, "%s ended with %d", words[0], (int)status);
    char *text = test_read_file(output, &length);
    check_words(text, words[0]);
    free(text);
    for (int i = 0; i < count; i++)
        free(arguments[i]);
    ctl_clear(&ctl);
}

static void run_commands(const struct extremes *world) {
    static const char *const all[][6] = {
        {"show", "house", NULL},   {"show", "house", "--json", NULL},
        {"systems", NULL},         {"systems", "--json", NULL},
        {"alarms", "--all", NULL}, {"visits", NULL},
        {"export", "house", NULL}, {"export", "house", "--as", "senml", NULL},
    };
    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++)
        command(world, CTL_DONE, all[i]);
}

/* A reading by hand may be as extreme, and is looked at again. */
static void record_by_hand(const struct extremes *world) {
    for (int q = 0; q < QUANTITY_COUNT; q++) {
        const struct quantity_info *info = quantity_info((enum quantity)q);
        char value[60];
        snprintf(value, sizeof value, "%.17g %s", info->lowest <= 0.0 ? 4.9e-324 : info->highest,
                 units[q]);
        const char *const words[] = {"record", "house",      info->name, value,
                                     "--by",   "the tester", NULL};
        command(world, CTL_DONE, words);
    }
    static const char *const impossible[] = {"record", "house",      "suction", "1e308 Pa",
                                             "--by",   "the tester", NULL};
    command(world, CTL_FAILED, impossible);
}

START_TEST(no_history_stops_page_api_or_tool) {
    struct extremes world;
    open_world(&world, &pasts[_i], baselines[_i % BASELINES]);
    look_at_pages(&world);
    run_commands(&world);
    record_by_hand(&world);
    look(&world, "/systems/house");
    look(&world, "/api/systems/house");
    ctl_client_clear();
    close_world(&world);
}
END_TEST

int main(void) {
    TCase *extremes = tcase_create("extremes");
    tcase_set_timeout(extremes, 120);
    tcase_add_loop_test(extremes, no_history_stops_page_api_or_tool, 0, PASTS);
    return run_test_case(extremes);
}
