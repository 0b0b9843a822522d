/*
 * replay_bench: a fleet, a replay over it and what is heard of it. Functions in a header, because
 * only programs that link the daemon can use them.
 */
#ifndef REPLAY_BENCH_H
#define REPLAY_BENCH_H

#include "measure/duration.h"
#include "measure/timestamp.h"
#include "test_support.h"
#include "tool/replay.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define START INT64_C(1767225600000) /* 2026-01-01T00:00:00Z */

#define MINUTE DURATION_MINUTE_MS

static inline struct time_zone *utc_only(void *context, const char *name) {
    (void)context, (void)name;
    return NULL;
}

/* `count` systems sys-0 …, each with suction and fan-power every 10 min. */
static inline struct fleet *make_fleet(size_t count) {
    static const char text[] = "units: us\n";
    struct settings_errors errors = {0};
    struct settings *settings = settings_parse("s.yaml", text, strlen(text), &errors);
    struct system_description **systems = calloc(count, sizeof(struct system_description *));
    ck_assert_ptr_nonnull(settings);
    for (size_t i = 0; i < count; i++) {
        char system[400], file[40];
        snprintf(file, sizeof file, "sys-%zu.yaml", i);
        snprintf(system, sizeof system,
                 "id: sys-%zu\n"
                 "points:\n"
                 "  - {id: suction, quantity: suction, unit: Pa, every: 10 min}\n"
                 "  - {id: fan-power, quantity: fan-power, unit: W, every: 10 min}\n",
                 i);
        systems[i] = system_description_parse(file, system, strlen(system), settings, &errors);
        ck_assert_msg(systems[i] != NULL, "%s", errors.count ? errors.lines[0] : "");
    }
    struct fleet *fleet = fleet_create(settings, systems, count, utc_only, NULL, &errors);
    ck_assert_ptr_nonnull(fleet);
    settings_errors_free(&errors);
    return fleet;
}

static inline void give_baseline(struct replay *replay, size_t system) {
    struct commissioning_value values[] = {{(char *)"suction", 200.0}, {(char *)"fan-power", 20.0}};
    const struct commissioning record = {
        .from_ms = START - DURATION_DAY_MS,
        .by = (char *)"the installer",
        .next_calibration_ms = TIMESTAMP_NONE,
        .radon_before_bq_m3 = NAN,
        .radon_after_bq_m3 = NAN,
        .ground_exponent = NAN,
        .values = values,
        .value_count = 2,
    };
    ck_assert(replay_commission(replay, system, &record));
}

struct heard {
    size_t bad;
    int64_t bad_line;
    char why[200];
    size_t days[4];
    int64_t last_day_end_ms, taken_before_day_end;
    bool day_too_late;
};

static inline void on_bad(void *context, int64_t line, const char *why) {
    struct heard *heard = context;
    heard->bad++;
    heard->bad_line = line;
    snprintf(heard->why, sizeof heard->why, "%s", why);
}

static inline void on_day(void *context, struct monitor *monitor, size_t system, int64_t local_day,
                          int64_t start_ms, int64_t end_ms) {
    struct heard *heard = context;
    (void)monitor, (void)local_day;
    ck_assert_int_eq(end_ms - start_ms, DURATION_DAY_MS); /* UTC */
    heard->days[system]++;
    heard->last_day_end_ms = end_ms;
}

static inline void on_taken(void *context, size_t point, const struct reading *reading) {
    struct heard *heard = context;
    (void)point;
    if (reading->time_ms >= START + DURATION_DAY_MS && heard->last_day_end_ms == 0)
        heard->day_too_late = true;
}

static inline struct replay *make_replay(const struct fleet *fleet, struct heard *heard) {
    const struct replay_listener listener = {
        .context = heard, .bad = on_bad, .day = on_day, .taken = on_taken};
    struct replay *replay = replay_create(fleet, &listener);
    ck_assert_ptr_nonnull(replay);
    for (size_t s = 0; s < fleet->system_count; s++)
        give_baseline(replay, s);
    return replay;
}

#endif
