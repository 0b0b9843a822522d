#include "monitor/year_assessment.h"
#include "monitor/renewals.h"

#include "measure/timestamp.h"
#include "monitor/assessment.h"

#include <math.h>
#include <stdlib.h>

enum { YEAR_DAYS = 365 };

const char *year_basis_text(enum year_basis basis) {
    static const char *const texts[] = {
        [YEAR_BASIS_READINGS] = "all readings of the last 365 d",
        [YEAR_BASIS_COMMISSIONING] = "since the commissioning",
        [YEAR_BASIS_REPAIR] = "since the repair",
        [YEAR_BASIS_WHOLE_YEAR] = "the last 365 d",
    };
    return texts[basis];
}

const char *year_assessment_caution(const struct year_assessment *result) {
    static const double least_bq_m3 = 5.0;
    return result->known && result->year.mean < least_bq_m3
               ? "for weeks below the air outdoors (about 10 Bq/m3): suspect the monitor, and "
                 "compare "
                 "it with a second one"
               : NULL;
}

/* The first local day that counts, and why that one. */
static int64_t first_day(const struct monitor *monitor, size_t system, int64_t to_day,
                         struct year_assessment *result) {
    const struct time_zone *zone = monitor_fleet(monitor)->systems[system].zone;
    int64_t year_ago = to_day - YEAR_DAYS, end_ms = time_zone_day_start_ms(zone, to_day) - 1;
    int64_t house_ms = renewals_house_ms(monitor, system, end_ms);
    int64_t house_day = assessment_first_day(zone, house_ms, end_ms);
    int64_t day = house_day > year_ago ? house_day : year_ago;
    result->since_ms = time_zone_day_start_ms(zone, day);
    if (house_ms == TIMESTAMP_NONE)
        result->basis = YEAR_BASIS_READINGS;
    else if (house_day <= year_ago)
        result->basis = YEAR_BASIS_WHOLE_YEAR;
    else
        result->basis = renewals_repair_ms(monitor, system, end_ms) != TIMESTAMP_NONE
                            ? YEAR_BASIS_REPAIR
                            : YEAR_BASIS_COMMISSIONING;
    return day;
}

static size_t well_covered(const struct history_day *days, size_t count,
                           struct year_mean_day *kept) {
    size_t n = 0;
    for (size_t i = 0; i < count; i++) {
        double length_ms = (double)(days[i].end_ms - days[i].start_ms);
        if (isfinite(days[i].mean) &&
            (double)days[i].covered_ms >= AVERAGE_LEAST_COVERAGE * length_ms)
            kept[n++] = (struct year_mean_day){days[i].local_day, days[i].mean};
    }
    return n;
}

bool year_assessment_make(const struct monitor *monitor, const struct history *history,
                          size_t point, int64_t to_day, struct year_assessment *result) {
    const struct fleet *fleet = monitor_fleet(monitor);
    const struct fleet_point *owner = &fleet->points[point];
    const struct year_mean_settings settings = {
        .relative = owner->description->calibration_relative,
        .absolute = quantity_info(owner->description->quantity)->zero_uncertainty,
        .level = fleet->settings->radon_action_level_bq_m3,
    };
    struct history_day days[YEAR_DAYS];
    struct year_mean_day kept[YEAR_DAYS];
    *result = (struct year_assessment){.since_ms = TIMESTAMP_NONE};
    int64_t from_day = first_day(monitor, owner->system, to_day, result);
    size_t count = history_days(history, point, from_day, to_day, days, YEAR_DAYS);
    if (count == HISTORY_FAILED)
        return false;
    enum year_mean_status status =
        year_mean_assess(kept, well_covered(days, count, kept), &settings, &result->year);
    result->known = status == YEAR_MEAN_OK;
    result->why = result->known ? NULL : year_mean_why(status);
    return status != YEAR_MEAN_NO_MEMORY;
}
