#include "world_script.h"

#include "measure/duration.h"
#include "measure/timestamp.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#define HOUR DURATION_HOUR_MS
#define MINUTE DURATION_MINUTE_MS

enum {
    EPISODES_MOST = 8,
    READINGS_ABOUT = 400,
    READINGS_A_DAY_MOST = 200,
    IDLE_TURNS_ABOUT = 1500
};

const char *const world_system_ids[WORLD_SYSTEMS_MOST] = {"birch", "elm", "oak"};

/* What befalls a house for a while. */
enum trouble {
    FAN_OFF,
    SUCTION_LOST,
    SUCTION_WEAK,
    RADON_UP,
    FIELD_WEAK,
    SENSOR_QUIET,
    HOUSE_DARK,
    TROUBLES
};

struct episode {
    enum trouble trouble;
    size_t system, sensor;
    int64_t from_ms, to_ms;
};

struct making {
    struct world_script *script;
    struct test_random random;
    struct episode episodes[EPISODES_MOST];
    size_t episode_count;
    size_t reading_room, message_room;
};

/* ---- chance ---- */

static double unit(struct making *making) {
    return test_random_unit(&making->random);
}

static size_t below(struct making *making, size_t n) {
    return (size_t)(test_random_next(&making->random) % n);
}

/* Between the two, every order of magnitude alike. */
static int64_t span(struct making *making, int64_t least_ms, int64_t most_ms) {
    double factor = (double)most_ms / (double)least_ms;
    return (int64_t)((double)least_ms * pow(factor, unit(making)));
}

static int64_t moment(struct making *making, int64_t from_ms, int64_t to_ms) {
    return from_ms + (int64_t)(unit(making) * (double)(to_ms - from_ms));
}

/* ---- houses ---- */

static void add_sensor(struct making *making, size_t system, const char *point,
                       const char *quantity, const char *unit_text, double baseline,
                       int64_t every_ms) {
    struct world_script *script = making->script;
    struct world_sensor *sensor = &script->sensors[script->sensor_count++];
    sensor->system = world_system_ids[system];
    sensor->point = point;
    sensor->quantity = quantity;
    sensor->unit = unit_text;
    sensor->baseline = baseline;
    sensor->every_ms = every_ms;
}

static void make_houses(struct making *making) {
    static const int64_t intervals_ms[] = {10 * MINUTE, 20 * MINUTE, 30 * MINUTE, HOUR, 2 * HOUR};
    struct world_script *script = making->script;
    script->system_count = 1 + below(making, WORLD_SYSTEMS_MOST);
    int64_t every_ms = intervals_ms[below(making, 5)];
    for (size_t s = 0; s < script->system_count; s++) {
        add_sensor(making, s, "suction", "suction", "Pa", 150 + 200 * unit(making), every_ms);
        if (unit(making) < 0.6)
            add_sensor(making, s, "fan", "fan-power", "W", 20 + 40 * unit(making), every_ms);
        if (unit(making) < 0.4)
            add_sensor(making, s, "hole", "field", "Pa", 3 + 5 * unit(making), every_ms);
        if (unit(making) < 0.5)
            add_sensor(making, s, "radon", "radon", "Bq/m3", 30 + 60 * unit(making),
                       every_ms > HOUR ? every_ms : HOUR);
    }
    double a_day = 0, slower = 1;
    for (size_t i = 0; i < script->sensor_count; i++)
        a_day += (double)DURATION_DAY_MS / (double)script->sensors[i].every_ms;
    while (a_day / slower > READINGS_A_DAY_MOST)
        slower *= 2;
    for (size_t i = 0; i < script->sensor_count; i++)
        script->sensors[i].every_ms *= (int64_t)slower;
    double days = READINGS_ABOUT / a_day * slower;
    days = days < 2.5 ? 2.5 : days > 40 ? 40 : days;
    script->start_ms = INT64_C(1772323200000) + (int64_t)below(making, 300) * DURATION_DAY_MS;
    script->end_ms = script->start_ms + (int64_t)(days * DURATION_DAY_MS);
    script->calm_ms = script->end_ms - 28 * HOUR;
    script->step_ms = (script->end_ms - script->start_ms) / IDLE_TURNS_ABOUT;
}

/* ---- what befalls them ---- */

static void make_episodes(struct making *making) {
    const struct world_script *script = making->script;
    making->episode_count = below(making, EPISODES_MOST + 1);
    for (size_t i = 0; i < making->episode_count; i++) {
        struct episode *episode = &making->episodes[i];
        episode->trouble = (enum trouble)below(making, TROUBLES);
        episode->system = below(making, script->system_count);
        episode->sensor = below(making, script->sensor_count);
        episode->from_ms = moment(making, script->start_ms, script->calm_ms);
        episode->to_ms = episode->from_ms + span(making, 5 * MINUTE, 60 * HOUR);
        if (episode->to_ms > script->calm_ms)
            episode->to_ms = script->calm_ms;
    }
}

static bool concerns(const struct making *making, const struct episode *episode, size_t sensor,
                     int64_t time_ms) {
    const char *system = world_system_ids[episode->system];
    return time_ms >= episode->from_ms && time_ms < episode->to_ms &&
           (episode->trouble == SENSOR_QUIET
                ? episode->sensor == sensor
                : strcmp(making->script->sensors[sensor].system, system) == 0);
}

static double factor_of(enum trouble trouble, const char *point) {
    bool suction = strcmp(point, "suction") == 0;
    switch (trouble) {
    case FAN_OFF:
        return strcmp(point, "radon") == 0 ? 3.0 : 0.01;
    case SUCTION_LOST:
        return suction ? 0.02 : 1.0;
    case SUCTION_WEAK:
        return suction ? 0.5 : 1.0;
    case RADON_UP:
        return strcmp(point, "radon") == 0 ? 9.0 : 1.0;
    case FIELD_WEAK:
        return strcmp(point, "hole") == 0 ? 0.2 : 1.0;
    default:
        return 1.0;
    }
}

/* False: the sensor says nothing then. */
static bool value_at(struct making *making, size_t sensor, int64_t time_ms, double *value) {
    const struct world_sensor *one = &making->script->sensors[sensor];
    double factor = 1.0, noise = test_random_normal(&making->random);
    for (size_t i = 0; i < making->episode_count; i++) {
        const struct episode *episode = &making->episodes[i];
        if (!concerns(making, episode, sensor, time_ms))
            continue;
        if (episode->trouble >= SENSOR_QUIET)
            return false;
        factor *= factor_of(episode->trouble, one->point);
    }
    char text[40]; /* the number that is sent is the one that must be stored */
    snprintf(text, sizeof text, "%.6g", one->baseline * (factor + 0.02 * fabs(noise)));
    *value = strtod(text, NULL);
    return true;
}

/* ---- readings and their ways ---- */

static void send(struct making *making, size_t reading, int64_t publish_ms) {
    struct world_script *script = making->script;
    if (publish_ms >= script->calm_ms + HOUR &&
        publish_ms > script->readings[reading].time_ms + MINUTE)
        publish_ms = script->readings[reading].time_ms + MINUTE;
    if (script->message_count == making->message_room) {
        making->message_room = making->message_room ? 2 * making->message_room : 1024;
        script->messages =
            realloc(script->messages, making->message_room * sizeof *script->messages);
    }
    script->messages[script->message_count++] = (struct world_message){reading, publish_ms};
}

static void add_reading(struct making *making, size_t sensor, int64_t time_ms, double value) {
    struct world_script *script = making->script;
    if (script->reading_count == making->reading_room) {
        making->reading_room = making->reading_room ? 2 * making->reading_room : 1024;
        script->readings =
            realloc(script->readings, making->reading_room * sizeof *script->readings);
    }
    script->readings[script->reading_count++] =
        (struct world_reading){.sensor = sensor, .time_ms = time_ms, .value = value};
}

/* Of bare numbers only the value tells which one a row is. */
static double unlike_all_before(const struct world_script *script, size_t sensor, double value) {
    char text[40];
    for (size_t i = 0; i < script->reading_count;) {
        const struct world_reading *before = &script->readings[i];
        if (before->sensor != sensor || before->value != value) {
            i++;
            continue;
        }
        snprintf(text, sizeof text, "%.6g", value * 1.00002);
        value = strtod(text, NULL);
        i = 0;
    }
    return value;
}

/* How a sensor's messages travel: mostly at once, some late, some twice; and for hours a gateway
   may keep all, and then send them in order or not. */
struct gateway {
    int64_t from_ms, to_ms;
    bool shuffles;
};

static int64_t delay(struct making *making, const struct gateway *gateway, int64_t time_ms) {
    int64_t delay_ms = 200 + (int64_t)below(making, 1800);
    if (time_ms >= gateway->from_ms && time_ms < gateway->to_ms)
        return gateway->to_ms - time_ms +
               (gateway->shuffles ? delay_ms : (time_ms - gateway->from_ms) / 1000);
    return making->script->has_late && unit(making) < 0.01 ? span(making, MINUTE, 30 * HOUR)
                                                           : delay_ms;
}

static void run_sensor(struct making *making, size_t sensor) {
    struct world_script *script = making->script;
    int64_t every_ms = script->sensors[sensor].every_ms, value_ms = every_ms / 1000;
    int64_t phase_ms = (int64_t)below(making, (size_t)value_ms) * 1000;
    struct gateway gateway = {0, 0, unit(making) < 0.5};
    if (script->has_late && unit(making) < 0.5) {
        gateway.from_ms = moment(making, script->start_ms, script->calm_ms);
        gateway.to_ms = gateway.from_ms + span(making, 30 * MINUTE, 40 * HOUR);
    }
    for (int64_t t = script->start_ms + 10 * MINUTE + phase_ms; t < script->end_ms - MINUTE;
         t += every_ms) {
        double value;
        if (!value_at(making, sensor, t, &value))
            continue;
        if (script->sensors[sensor].plain)
            value = unlike_all_before(script, sensor, value);
        add_reading(making, sensor, t, value);
        int64_t publish_ms = t + delay(making, &gateway, t);
        send(making, script->reading_count - 1, publish_ms);
        if (unit(making) < 0.03)
            send(making, script->reading_count - 1, publish_ms + span(making, 1000, 20 * HOUR));
    }
}

static void make_plain(struct making *making) {
    struct world_script *script = making->script;
    bool some = unit(making) < 0.5;
    for (size_t i = 0; i < script->sensor_count; i++)
        script->sensors[i].plain = some && unit(making) < 0.4;
}

/* ---- junk ---- */

/* What is out of range or of a wrong time says something of its sensor too: not here. */
static const struct world_junk junk[] = {
    {"", NULL},
    {"off", NULL},
    {"nan", NULL},
    {"{\"value\":", NULL},
    {"{\"value\":[1,2]}", NULL},
    {"[{\"n\":\"x\",\"v\":true}]", NULL},
    {"[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[", NULL},
    {"\xff\xfe 12", NULL},
    {"12.5 apples", NULL},
    {"12.5", "attic"},
};
enum { JUNK = sizeof junk / sizeof junk[0] };

const struct world_junk *world_junk(int number) {
    return &junk[number - 1];
}

static void make_junk(struct making *making) {
    struct world_script *script = making->script;
    size_t count = unit(making) < 0.5 ? 1 + below(making, 40) : 0;
    for (size_t i = 0; i < count; i++) {
        int64_t at_ms = moment(making, script->start_ms + 10 * MINUTE, script->calm_ms);
        add_reading(making, below(making, script->sensor_count), at_ms, 0.0);
        script->readings[script->reading_count - 1].junk = 1 + (int)below(making, JUNK);
        send(making, script->reading_count - 1, at_ms);
    }
}

static int by_publishing(const void *a, const void *b) {
    const struct world_message *x = a, *y = b;
    if (x->publish_ms != y->publish_ms)
        return x->publish_ms < y->publish_ms ? -1 : 1;
    return x->reading < y->reading ? -1 : x->reading > y->reading;
}

/* ---- faults ---- */

static int some_answer(struct making *making) {
    static const int answers[] = {0, 0, 500, 503, 503, 429, 404, 400};
    return answers[below(making, sizeof answers / sizeof answers[0])];
}

/* Minutes to days in both directions; a year ahead; a clock that begins in 1970. */
static int64_t clock_step(struct making *making) {
    double kind = unit(making);
    int64_t by_ms = span(making, MINUTE, 72 * HOUR);
    if (kind < 0.08)
        return 365 * DURATION_DAY_MS;
    if (kind < 0.16)
        return -making->script->start_ms;
    return kind < 0.58 ? by_ms : -by_ms;
}

static struct world_fault make_fault(struct making *making, enum world_fault_kind kind) {
    const struct world_script *script = making->script;
    struct world_fault fault = {
        .kind = kind, .from_ms = moment(making, script->start_ms + HOUR, script->calm_ms)};
    int64_t lasts_ms = span(making, 1000, 8 * HOUR);
    if (kind == WORLD_DISK_FULL ||
        kind == WORLD_DISK_FAILS) { /* when there is something to write */
        fault.from_ms = script->messages[below(making, script->message_count)].publish_ms;
        lasts_ms = span(making, 1000, 3 * MINUTE);
    }
    if (kind == WORLD_RECEIVER_FAILS)
        lasts_ms = span(making, MINUTE, 30 * HOUR);
    if (kind == WORLD_CLOCK_STEP) {
        fault.by_ms = clock_step(making);
        lasts_ms = span(making, MINUTE, 20 * HOUR);
    }
    fault.to_ms = fault.from_ms + lasts_ms;
    if (fault.to_ms > script->calm_ms)
        fault.to_ms = script->calm_ms;
    fault.n = kind == WORLD_RECEIVER_FAILS ? (long)below(making, WORLD_CONTACTS)
                                           : (long)span(making, 1, 3000);
    fault.answer = some_answer(making);
    return fault;
}

static int by_time(const void *a, const void *b) {
    const struct world_fault *x = a, *y = b;
    return x->from_ms < y->from_ms ? -1 : x->from_ms > y->from_ms;
}

/* Each kind is left out of half of the worlds, so that they meet in all combinations. */
static void make_faults(struct making *making) {
    static const struct {
        enum world_fault_kind kind;
        double share;
        size_t most;
        int edition;
    } kinds[] = {
        {WORLD_BROKER_DOWN, 0.5, 4, 1}, {WORLD_BROKER_FORGETS, 0.25, 2, 1},
        {WORLD_LINE_CUT, 0.5, 5, 1},    {WORLD_KILLED, 0.6, 6, 1},
        {WORLD_POWER_CUT, 0.5, 5, 1},   {WORLD_STOPPED, 0.3, 3, 1},
        {WORLD_RELOADED, 0.4, 4, 1},    {WORLD_DISK_FULL, 0.3, 2, 1},
        {WORLD_DISK_FAILS, 0.3, 2, 1},  {WORLD_RECEIVER_FAILS, 0.6, 5, 1},
        {WORLD_CLOCK_STEP, 0.4, 2, 3},  {WORLD_RETUNED, 0.3, 1, 4},
    };
    struct world_script *script = making->script;
    for (size_t k = 0; k < sizeof kinds / sizeof kinds[0]; k++) {
        if (kinds[k].edition > script->edition || unit(making) >= kinds[k].share)
            continue;
        for (size_t n = 1 + below(making, kinds[k].most); n > 0; n--)
            script->faults[script->fault_count++] = make_fault(making, kinds[k].kind);
    }
    qsort(script->faults, script->fault_count, sizeof script->faults[0], by_time);
}

const char *world_fault_name(enum world_fault_kind kind) {
    static const char *const names[WORLD_FAULT_KINDS] = {
        [WORLD_BROKER_DOWN] = "broker down",
        [WORLD_BROKER_FORGETS] = "broker down and forgets its sessions",
        [WORLD_LINE_CUT] = "line to the broker cut",
        [WORLD_KILLED] = "kill",
        [WORLD_POWER_CUT] = "power cut",
        [WORLD_STOPPED] = "stop",
        [WORLD_RELOADED] = "reload",
        [WORLD_DISK_FULL] = "disk full",
        [WORLD_DISK_FAILS] = "disk fails",
        [WORLD_RECEIVER_FAILS] = "receiver fails",
        [WORLD_CLOCK_STEP] = "clock step",
        [WORLD_RETUNED] = ("reload without " WORLD_UNWATCHED),
    };
    return names[kind];
}

/* ---- making ---- */

void world_script_make(struct world_script *script, uint64_t seed, int edition) {
    static const char *const zones[] = {"UTC", "America/Denver", "Europe/Berlin"};
    *script = (struct world_script){.seed = seed, .edition = edition};
    struct making making = {.script = script, .random = {seed * UINT64_C(0x9E3779B97F4A7C15)}};
    make_houses(&making);
    script->time_zone = zones[below(&making, 3)];
    script->receive_maximum = (int)span(&making, 5, 2000);
    script->granted_first = unit(&making) < 0.5;
    script->has_late = unit(&making) < 0.4;
    make_episodes(&making);
    if (edition >= 2)
        make_plain(&making);
    for (size_t i = 0; i < script->sensor_count; i++)
        run_sensor(&making, i);
    if (edition >= 2)
        make_junk(&making);
    qsort(script->messages, script->message_count, sizeof script->messages[0], by_publishing);
    make_faults(&making);
    script->has_time_service = edition < 3 || unit(&making) < 0.5;
}

void world_script_without_faults(const struct world_script *script, struct world_script *calm) {
    *calm = *script;
    calm->fault_count = 0;
    calm->step_ms = 3 * script->step_ms; /* nothing can come between its turns */
    calm->readings = calloc(script->row_count + 1, sizeof *calm->readings);
    calm->messages = calloc(script->row_count + 1, sizeof *calm->messages);
    calm->reading_count = calm->message_count = script->row_count;
    calm->rows = NULL;
    for (size_t i = 0; i < script->sensor_count; i++)
        calm->sensors[i].plain = false;
    for (size_t i = 0; i < script->row_count; i++) {
        calm->readings[i] = script->rows[i];
        calm->messages[i] = (struct world_message){i, script->rows[i].time_ms + 1000};
    }
    qsort(calm->messages, calm->message_count, sizeof calm->messages[0], by_publishing);
}

void world_script_free(struct world_script *script) {
    free(script->readings);
    free(script->messages);
    free(script->rows);
}

/* ---- the files of the settings ---- */

static const char settings_text[] =
    "broker: {host: 127.0.0.1, receive_maximum: %d}\n"
    "store: {file: subslab.db}\n"
    "page: {port: 0}\n"
    "operator_socket: operator.sock\n"
    "units: si\n"
    "systems: systems/\n"
    "contacts:\n"
    "  - {id: office, role: contractor, webhook: {url: \"http://127.0.0.1:9/\"}}\n"
    "  - {id: workshop, role: technician, webhook: {url: \"http://127.0.0.1:9/\"}}\n"
    "  - {id: owner, role: homeowner, webhook: {url: \"http://127.0.0.1:9/\"}}\n";

static void write_system(const struct world_script *script, size_t system) {
    const char *id = world_system_ids[system];
    char path[60];
    snprintf(path, sizeof path, "systems/%s.yaml", id);
    FILE *file = fopen(path, "w");
    fprintf(file, "id: %s\nname: %s\ntime_zone: %s\ncontacts: [office, workshop, owner]\npoints:\n",
            id, id, script->time_zone);
    for (size_t i = 0; i < script->sensor_count; i++) {
        const struct world_sensor *sensor = &script->sensors[i];
        if (strcmp(sensor->system, id) == 0)
            fprintf(file, "  - {id: %s, quantity: %s, unit: %s, every: %lld min}\n", sensor->point,
                    sensor->quantity, sensor->unit, (long long)(sensor->every_ms / MINUTE));
    }
    fclose(file);
}

void world_script_write(const struct world_script *script, bool retuned) {
    mkdir("systems", 0700);
    FILE *file = fopen("subslabd.yaml", "w");
    fprintf(file, settings_text, script->receive_maximum);
    if (retuned)
        fputs("conditions: {" WORLD_UNWATCHED ": {enabled: no}}\n", file);
    fclose(file);
    for (size_t s = 0; s < script->system_count; s++)
        write_system(script, s);
}
