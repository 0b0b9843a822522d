/* monitor_bench: a monitor of one house, fed reading by reading with a clock of our own. */
#ifndef MONITOR_BENCH_H
#define MONITOR_BENCH_H

#include "measure/duration.h"
#include "monitor/judge_mixup.h"
#include "monitor/monitor.h"
#include "small_fleet.h"

#define MINUTE DURATION_MINUTE_MS

static const int64_t start_ms = INT64_C(1767225600000); /* 2026-01-01T00:00:00Z */

static const char house[] = "id: house\n"
                            "name: House\n"
                            "points:\n"
                            "  - {id: suction, quantity: suction, unit: Pa, every: 10 min}\n"
                            "  - {id: power, quantity: fan-power, unit: W, every: 10 min}\n"
                            "  - {id: hole, quantity: field, unit: Pa, every: 10 min}\n"
                            "  - {id: radon, quantity: radon, unit: Bq/m3, every: 1 h}\n";

enum { SUCTION, POWER, HOLE, RADON };

static struct fleet *fleet;

static struct monitor *monitor;

static char told[4096];

static inline void set_up(void) {
    const char *const systems[] = {house};
    fleet = small_fleet(NULL, systems, 1);
    monitor = monitor_create(fleet);
    ck_assert_ptr_nonnull(monitor);
    monitor_load_baseline(monitor, SUCTION, start_ms, 200.0, "the installer", false);
    monitor_load_baseline(monitor, POWER, start_ms, 20.0, "the installer", false);
    monitor_load_baseline(monitor, HOLE, start_ms, 8.0, "the installer", false);
    told[0] = '\0';
}

static inline void tear_down(void) {
    monitor_destroy(monitor);
    fleet_destroy(fleet);
}

static inline void on_tell(void *context, struct alarm *alarm, enum alarm_notice notice) {
    size_t used = strlen(told);
    (void)context;
    int64_t at_ms = notice == ALARM_NOTICE_RAISED ? alarm->raised_ms : alarm->returned_ms;
    snprintf(told + used, sizeof told - used, "%s%s%s@%lld", used ? " " : "",
             notice == ALARM_NOTICE_RAISED ? "+" : "-", condition_info(alarm->condition)->name,
             (long long)((at_ms - start_ms) / MINUTE));
}

static inline void advance(int64_t now_ms) {
    monitor_advance(monitor, now_ms);
    monitor_tell(monitor, now_ms, NULL, on_tell);
}

static inline void live(size_t point, double value, int64_t minute) {
    const struct reading reading = {start_ms + minute * MINUTE, value};
    monitor_reading(monitor, point, &reading, reading.time_ms);
    advance(reading.time_ms);
}

static inline void live_for(size_t point, double value, int64_t from_minute, int64_t to_minute) {
    /* One Pa of noise, so that nothing looks stuck. */
    for (int64_t m = from_minute; m < to_minute; m += 10)
        live(point, value + (double)(m / 10 % 3) * 0.01 * value, m);
}

#endif
