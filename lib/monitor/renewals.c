#include "monitor/renewals.h"

#include "measure/timestamp.h"
#include "settings/change_words.h"

/* The first instant known of a system, and the newest at which the house became another one. */
struct house_dates {
    int64_t first_ms, newest_ms;
};

static void take_date(struct house_dates *dates, int64_t from_ms, bool another) {
    if (dates->first_ms == TIMESTAMP_NONE || from_ms < dates->first_ms)
        dates->first_ms = from_ms;
    if (another && (dates->newest_ms == TIMESTAMP_NONE || from_ms > dates->newest_ms))
        dates->newest_ms = from_ms;
}

static struct house_dates dates_of(const struct monitor *monitor, size_t system, unsigned changes,
                                   int64_t time_ms) {
    const struct fleet *fleet = monitor_fleet(monitor);
    const struct renewal_list *renewals = monitor_renewals(monitor, system);
    struct house_dates dates = {TIMESTAMP_NONE, TIMESTAMP_NONE};
    for (size_t i = 0; i < renewals->count && renewals->items[i].from_ms <= time_ms; i++)
        take_date(&dates, renewals->items[i].from_ms, renewals->items[i].changed & changes);
    for (size_t p = 0; p < fleet->systems[system].point_count; p++) {
        size_t point = fleet->systems[system].first_point + p;
        const struct point_state *state = monitor_point(monitor, point);
        bool riser = fleet->points[point].description->quantity == QUANTITY_SUCTION;
        for (size_t b = 0; b < state->baseline_count; b++) {
            int64_t from_ms = state->baselines[b].from_ms;
            if (from_ms <= time_ms)
                take_date(&dates, from_ms,
                          riser && renewal_list_changed(renewals, from_ms) == CHANGE_UNSAID);
        }
    }
    return dates;
}

static int64_t since(const struct house_dates *dates) {
    return dates->newest_ms != TIMESTAMP_NONE ? dates->newest_ms : dates->first_ms;
}

int64_t renewals_house_ms(const struct monitor *monitor, size_t system, int64_t time_ms) {
    const struct house_dates dates = dates_of(monitor, system, CHANGE_REPAIR, time_ms);
    return since(&dates);
}

int64_t renewals_radon_ms(const struct monitor *monitor, size_t system, int64_t time_ms) {
    const struct house_dates dates =
        dates_of(monitor, system, CHANGE_REPAIR | CHANGE_MONITOR, time_ms);
    return since(&dates);
}

int64_t renewals_repair_ms(const struct monitor *monitor, size_t system, int64_t time_ms) {
    const struct house_dates dates = dates_of(monitor, system, CHANGE_REPAIR, time_ms);
    return dates.newest_ms != dates.first_ms ? dates.newest_ms : TIMESTAMP_NONE;
}

static bool moves(enum quantity quantity, unsigned changed) {
    unsigned instrument = quantity == QUANTITY_RADON ? CHANGE_MONITOR : CHANGE_GAUGE;
    return changed == CHANGE_UNSAID || (changed & (CHANGE_REPAIR | instrument));
}

int64_t renewals_series_ms(const struct monitor *monitor, size_t point, int64_t time_ms) {
    const struct fleet_point *owner = &monitor_fleet(monitor)->points[point];
    const struct renewal_list *renewals = monitor_renewals(monitor, owner->system);
    const struct point_state *state = monitor_point(monitor, point);
    int64_t begun_ms = TIMESTAMP_NONE;
    for (size_t b = 0; b < state->baseline_count && state->baselines[b].from_ms <= time_ms; b++) {
        int64_t from_ms = state->baselines[b].from_ms;
        if (b == 0 || moves(owner->description->quantity, renewal_list_changed(renewals, from_ms)))
            begun_ms = from_ms;
    }
    for (size_t i = 0; i < renewals->count && renewals->items[i].from_ms <= time_ms; i++) {
        if ((renewals->items[i].changed & CHANGE_REPAIR) && begun_ms < renewals->items[i].from_ms &&
            begun_ms != TIMESTAMP_NONE)
            begun_ms = renewals->items[i].from_ms;
    }
    return begun_ms;
}
