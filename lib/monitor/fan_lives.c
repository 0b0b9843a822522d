#include "monitor/fan_lives.h"

#include "measure/array.h"
#include "measure/time_zone.h"
#include "measure/timestamp.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double year_ms = 365.2425 * 86400000.0;

/* ---- one branch ---- */

static bool differ(const char *one, const char *other) {
    return one && other && strcmp(one, other) != 0;
}

/* A record may only name again what stands there. */
static bool is_another(const struct fitted_fan *now, const struct fitted_fan *before) {
    if (now->installed_day != TIMESTAMP_NONE && before->installed_day != TIMESTAMP_NONE)
        return now->installed_day != before->installed_day;
    return differ(now->model, before->model) || differ(now->serial, before->serial);
}

static void learn(struct fitted_fan *fan, const struct fitted_fan *more) {
    if (more->model)
        fan->model = more->model;
    if (more->serial)
        fan->serial = more->serial;
    if (more->installed_day != TIMESTAMP_NONE)
        fan->installed_day = more->installed_day;
    if (more->warranty_until_day != TIMESTAMP_NONE)
        fan->warranty_until_day = more->warranty_until_day;
}

/* From when on it is there; of the system file's only its own date tells. */
static int64_t start_of(const struct fitted_fan *fan, const struct time_zone *zone) {
    return fan->installed_day == TIMESTAMP_NONE ? fan->since_ms
                                                : time_zone_day_start_ms(zone, fan->installed_day);
}

static double years_between(int64_t from_ms, int64_t to_ms) {
    return fmax(0.0, (double)(to_ms - from_ms) / year_ms);
}

struct branch_lives {
    const struct monitor *monitor;
    size_t system, branch;
    int64_t now_ms, watched_ms; /* watched_ms: since when; TIMESTAMP_NONE: it never was */
    struct fan_lives *lives;
};

/* `next`: what came in its place, NULL: it runs on. */
static bool add(const struct branch_lives *of, const struct fitted_fan *fan,
                const struct fitted_fan *next) {
    const struct time_zone *zone = monitor_fleet(of->monitor)->systems[of->system].zone;
    struct fan_life *grown = array_room(of->lives->lives, of->lives->count, sizeof *grown);
    if (!grown)
        return false;
    of->lives->lives = grown;
    struct fan_life *life = &grown[of->lives->count++];
    *life = (struct fan_life){
        .system = of->system,
        .branch = of->branch,
        .model = fan->model,
        .serial = fan->serial,
        .installed_ms = start_of(fan, zone),
        .ended_ms = next ? start_of(next, zone) : TIMESTAMP_NONE,
        .warranty_until_day = fan->warranty_until_day,
        .failed = next && (!next->why || strcmp(next->why, "other") != 0),
        .unsaid = next && !next->why,
        .entry_years = NAN,
        .years = NAN,
    };
    if (life->installed_ms == TIMESTAMP_NONE || life->installed_ms > of->now_ms)
        return true;
    life->years = years_between(life->installed_ms, next ? life->ended_ms : of->now_ms);
    int64_t seen_ms = of->watched_ms == TIMESTAMP_NONE ? of->now_ms : of->watched_ms;
    life->entry_years = fmin(years_between(life->installed_ms, seen_ms), life->years);
    return true;
}

static bool read_branch(const struct branch_lives *of) {
    const struct fan_description *file =
        &monitor_fleet(of->monitor)->systems[of->system].description->branches[of->branch].fan;
    const struct fitted_fans *fans = monitor_fans(of->monitor, of->system, of->branch);
    struct fitted_fan fan = {.since_ms = TIMESTAMP_NONE, /* its texts are borrowed */
                             .model = file->model,
                             .serial = file->serial,
                             .installed_day = file->installed_day,
                             .warranty_until_day = TIMESTAMP_NONE};
    bool any = file->model || file->serial || file->installed_day != TIMESTAMP_NONE;
    for (size_t i = 0; i < fans->count; i++) {
        const struct fitted_fan *next = &fans->fans[i];
        if (any && !is_another(next, &fan)) {
            learn(&fan, next);
            continue;
        }
        if (any && !add(of, &fan, next))
            return false;
        fan = *next;
        any = true;
    }
    return !any || add(of, &fan, NULL);
}

/* ---- the fleet ---- */

static int by_model(const void *left, const void *right) {
    const struct fan_life *a = left, *b = right;
    if (!a->model || !b->model)
        return (int)!a->model - (int)!b->model;
    return strcmp(a->model, b->model);
}

bool fan_lives_read(const struct monitor *monitor, int64_t now_ms, struct fan_lives *lives) {
    const struct fleet *fleet = monitor_fleet(monitor);
    *lives = (struct fan_lives){0};
    for (size_t s = 0; s < fleet->system_count; s++) {
        for (size_t b = 0; b < fleet->systems[s].description->branch_count; b++) {
            const struct branch_lives of = {
                monitor, s, b, now_ms, monitor_dates(monitor, s)->commissioned_ms, lives};
            if (!read_branch(&of))
                return false;
        }
    }
    if (lives->count > 1)
        qsort(lives->lives, lives->count, sizeof *lives->lives, by_model);
    return true;
}

void fan_lives_clear(struct fan_lives *lives) {
    free(lives->lives);
    *lives = (struct fan_lives){0};
}

size_t fan_lives_known(const struct fan_life *lives, size_t count, struct survival_life *known) {
    size_t found = 0;
    for (size_t i = 0; i < count; i++) {
        if (isfinite(lives[i].years))
            known[found++] =
                (struct survival_life){lives[i].entry_years, lives[i].years, lives[i].failed};
    }
    return found;
}

bool fan_lives_ailing(struct monitor *monitor, const struct fan_life *life,
                      enum condition *condition) {
    static const enum condition worst_first[] = {CONDITION_FAN_STOPPED, CONDITION_FAN_WEAK,
                                                 CONDITION_FAN_FADING, CONDITION_POWER_HIGH};
    const struct fleet *fleet = monitor_fleet(monitor);
    for (size_t i = 0; i < sizeof worst_first / sizeof worst_first[0]; i++) {
        const struct alarm *alarm = alarm_book_of_system(monitor_alarms(monitor), life->system);
        for (; alarm; alarm = alarm->next_of_system) {
            size_t branch = fleet_branch_at(fleet, life->system, alarm->point, alarm->condition);
            if (alarm->condition == worst_first[i] && alarm_stands(alarm) &&
                (branch == BRANCH_NONE || branch == life->branch)) {
                *condition = alarm->condition;
                return true;
            }
        }
    }
    return false;
}
