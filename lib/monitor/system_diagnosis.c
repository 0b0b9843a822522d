#include "monitor/system_diagnosis.h"

#include "analysis/statistics.h"
#include "measure/duration.h"
#include "measure/timestamp.h"
#include "monitor/assessment.h"
#include "monitor/fan_fading.h"
#include "monitor/judge.h"
#include "monitor/system_assessment.h"

#include <math.h>
#include <string.h>

static const double fading_days = 3650.0; /* whatever the setting: it is asked for its slope */
enum { ONSET_DAYS = 180, ONSET_HOURS = 72, RADON_DAYS = 30, RADON_LEAST_DAYS = 10 };
static const int64_t longest_ms = 7 * DURATION_DAY_MS;
static const int64_t cold_ms = 3 * DURATION_DAY_MS; /* ice needs some days of frost, or one night */
static const double radon_season = 0.3; /* of a month's mean against another's; no source */
static const double near_share = 0.2;   /* of the change: still at, or already at, a level */

bool system_diagnosis_applies(enum condition condition) {
    return condition_info(condition)->has_cause;
}

struct look {
    const struct monitor *monitor;
    const struct history *history;
    const struct fleet *fleet;
    size_t system;
    int64_t from_ms, now_ms; /* of the values that count */
};

static bool is_silent(const struct look *look, size_t point) {
    const struct point_state *state = monitor_point(look->monitor, point);
    return state->newest_ms == TIMESTAMP_NONE ||
           look->now_ms - state->newest_ms > state->silent_after_ms;
}

/* Median of the hours since the condition began, else the newest reading. */
static double value_now(const struct look *look, size_t point) {
    size_t count = 0;
    if (point == FLEET_NONE || is_silent(look, point))
        return NAN;
    double median = history_median(look->history, point, look->from_ms, look->now_ms, &count);
    return count > 0 ? median : monitor_point(look->monitor, point)->newest_value;
}

static double value_then(const struct look *look, size_t point) {
    const struct point_baseline *baseline =
        point == FLEET_NONE
            ? NULL
            : point_state_baseline(monitor_point(look->monitor, point), look->now_ms);
    return baseline ? baseline->value : NAN;
}

static struct diagnosis_signal signal_of(const struct look *look, size_t point) {
    struct diagnosis_signal signal = {
        .now = value_now(look, point),
        .baseline = value_then(look, point),
        .relative_uncertainty = NAN,
    };
    signal.silent = point != FLEET_NONE && is_silent(look, point) &&
                    monitor_point(look->monitor, point)->newest_ms != TIMESTAMP_NONE;
    return signal;
}

/* Flow, from a velocity pressure where there is no flow sensor. */
static struct diagnosis_signal flow_signal(const struct look *look,
                                           const struct system_points *points) {
    if (points->flow != FLEET_NONE || points->velocity_pressure == FLEET_NONE)
        return signal_of(look, points->flow);
    struct diagnosis_signal pressure = signal_of(look, points->velocity_pressure);
    struct system_state_of_air then = system_assessment_then(look->monitor, points, look->now_ms);
    /* Flow follows the root of the velocity pressure; density hardly moves within a house. */
    double ratio = sqrt(fmax(pressure.now, 0.0) / pressure.baseline);
    return (struct diagnosis_signal){
        .now = isnan(pressure.now) ? NAN : then.flow_m3_s * ratio,
        .baseline = then.flow_m3_s,
        .relative_uncertainty = NAN,
        .silent = pressure.silent,
    };
}

/* ---- how the change came ---- */

/* Span from the last value near `from` to the first one near `to` behind it; NaN: not seen. */
static double onset_span(const double *times, const double *values, size_t n, double from,
                         double to) {
    size_t last_before = n, first_after = n;
    for (size_t i = n; i-- > 0 && last_before == n;) {
        if (fabs(values[i] - from) <= near_share * fabs(to - from))
            last_before = i;
    }
    if (last_before == n)
        return NAN;
    for (size_t i = last_before + 1; i < n && first_after == n; i++) {
        if (fabs(values[i] - to) <= near_share * fabs(to - from))
            first_after = i;
    }
    return first_after == n ? NAN : times[first_after] - times[last_before];
}

static double onset_by_hours(const struct look *look, size_t point, double from, double to) {
    struct average_bucket hours[ONSET_HOURS + 2];
    double times[ONSET_HOURS + 2], values[ONSET_HOURS + 2];
    size_t n = 0;
    int64_t begin_ms = look->from_ms - 2 * DURATION_DAY_MS;
    int64_t end_ms = begin_ms + ONSET_HOURS * DURATION_HOUR_MS;
    if (end_ms > look->now_ms)
        end_ms = look->now_ms;
    size_t count = history_hours(look->history, point, begin_ms, end_ms, hours, ONSET_HOURS + 2);
    for (size_t i = 0; count != HISTORY_FAILED && i < count; i++) {
        times[n] = (double)hours[i].start_ms / DURATION_DAY_MS;
        values[n++] = hours[i].value_ms / (double)hours[i].covered_ms;
    }
    return onset_span(times, values, n, from, to);
}

static double onset_by_days(const struct look *look, size_t point, double from, double to) {
    struct history_day days[ONSET_DAYS];
    double times[ONSET_DAYS + 1], values[ONSET_DAYS + 1];
    const struct time_zone *zone = look->fleet->systems[look->system].zone;
    int64_t today = time_zone_local_day(zone, look->now_ms);
    size_t count = history_days(look->history, point, today - ONSET_DAYS, today, days, ONSET_DAYS);
    size_t n = 0;
    for (size_t i = 0; count != HISTORY_FAILED && i < count; i++) {
        times[n] = (double)days[i].local_day;
        values[n++] = days[i].median;
    }
    times[n] = (double)today;
    values[n++] = to;
    return onset_span(times, values, n, from, to);
}

static double onset_days(const struct look *look, size_t point) {
    double from = value_then(look, point), to = value_now(look, point);
    if (point == FLEET_NONE || isnan(from) || isnan(to) || !(fabs(to - from) > 0.1 * fabs(from)))
        return NAN;
    double span = onset_by_hours(look, point, from, to);
    return isnan(span) ? onset_by_days(look, point, from, to) : span;
}

/* ---- the rest of the input ---- */

static void fill_weather(const struct look *look, const struct system_points *points,
                         struct diagnosis_input *input) {
    input->indoor_celsius = value_now(look, points->indoor);
    if (points->outdoor == FLEET_NONE)
        return;
    input->outdoor_celsius = value_now(look, points->outdoor);
    input->outdoor_baseline_celsius = value_then(look, points->outdoor);
    input->outdoor_lowest_celsius =
        history_lowest(look->history, points->outdoor, look->now_ms - cold_ms, look->now_ms);
}

/* Zones south of the equator, where the cold months are others: enough for a hint on frost. */
static bool is_northern(const char *zone) {
    static const char *const southern[] = {"Australia/",         "Antarctica/",
                                           "America/Argentina/", "America/Santiago",
                                           "America/Montevideo", "America/Asuncion",
                                           "America/Sao_Paulo",  "Africa/Johannesburg",
                                           "Pacific/Auckland",   "UTC"};
    for (size_t i = 0; i < sizeof southern / sizeof southern[0]; i++) {
        if (strncmp(zone, southern[i], strlen(southern[i])) == 0)
            return false;
    }
    return true;
}

static int month_of(const struct look *look) {
    const struct time_zone *zone = look->fleet->systems[look->system].zone;
    int year = 0, month = 0, day = 0;
    timestamp_civil_from_days(time_zone_local_day(zone, look->now_ms), &year, &month, &day);
    return is_northern(time_zone_name(zone)) ? month : 0;
}

static void fill_water(const struct look *look, const struct system_points *points,
                       struct diagnosis_input *input) {
    const struct condition_rule *rule =
        points->water == FLEET_NONE
            ? NULL
            : fleet_point_rule(look->fleet, points->water, CONDITION_WATER_HIGH);
    input->water_level_m = value_now(look, points->water);
    if (rule)
        input->water_limit_m = judge_setpoint(look->fleet, rule, value_then(look, points->water));
}

static void fill_holes(const struct look *look, const struct system_points *points,
                       struct diagnosis_input *input) {
    input->hole_count =
        points->hole_count < DIAGNOSIS_HOLES_MAX ? points->hole_count : DIAGNOSIS_HOLES_MAX;
    for (size_t i = 0; i < input->hole_count; i++)
        input->holes[i] =
            (struct diagnosis_hole){look->fleet->points[points->holes[i]].description->name,
                                    signal_of(look, points->holes[i])};
}

/* Where the record says nothing of radon: the usual of the first month after it, as radon-rising
   compares with. A season may lie in between, so the ratio is unsure. */
static void fill_radon(const struct look *look, size_t point, struct diagnosis_input *input) {
    struct history_day days[RADON_DAYS];
    double means[RADON_DAYS];
    size_t n = 0;
    int64_t from_ms = assessment_commissioned_ms(look->monitor, look->system, look->now_ms);
    input->radon = signal_of(look, point);
    if (point == FLEET_NONE || !isnan(input->radon.baseline) || from_ms == TIMESTAMP_NONE)
        return;
    const struct time_zone *zone = look->fleet->systems[look->system].zone;
    int64_t first = assessment_first_day(zone, from_ms, look->now_ms);
    int64_t today = time_zone_local_day(zone, look->now_ms);
    int64_t end = first + RADON_DAYS < today ? first + RADON_DAYS : today;
    size_t count = history_days(look->history, point, first, end, days, RADON_DAYS);
    for (size_t i = 0; count != HISTORY_FAILED && i < count; i++) {
        if (isfinite(days[i].mean))
            means[n++] = days[i].mean;
    }
    if (n >= RADON_LEAST_DAYS)
        statistics_median_in_place(means, n, &input->radon.baseline);
    input->radon.relative_uncertainty = radon_season;
}

/* What a sensor in another unit reads against what it said before. */
static void take_mixed_up(const struct look *look, size_t point, struct diagnosis_signal *signal,
                          struct diagnosis_input *input) {
    if (point == FLEET_NONE)
        return;
    const struct point_state *state = monitor_point(look->monitor, point);
    if (state->suspect_count < JUDGE_MIXUP_READINGS || is_silent(look, point))
        return;
    *signal = (struct diagnosis_signal){state->newest_value, state->level, NAN, false};
    input->implausible = true;
}

static void fill_implausible(const struct look *look, const struct alarm *alarm,
                             const struct system_points *points, struct diagnosis_input *input) {
    take_mixed_up(look, points->suction, &input->suction, input);
    take_mixed_up(look, points->flow, &input->flow, input);
    take_mixed_up(look, points->power, &input->power, input);
    take_mixed_up(look, points->radon, &input->radon, input);
    /* Readings that match another unit were taken, and counted; what was refused was not. */
    input->refused =
        alarm->condition == CONDITION_SENSOR_IMPLAUSIBLE && !input->implausible &&
        (alarm->point == ALARM_NO_INDEX ||
         monitor_point(look->monitor, alarm->point)->suspect_count < JUDGE_MIXUP_READINGS);
}

static void fill_fading(const struct look *look, const struct alarm *alarm,
                        struct diagnosis_input *input) {
    const struct time_zone *zone = look->fleet->systems[look->system].zone;
    /* The day that decided it counts, also when `now` is the time of its last reading. */
    int64_t at_ms = look->now_ms > alarm->raised_ms ? look->now_ms : alarm->raised_ms;
    struct wear wear;
    if (alarm->condition == CONDITION_FAN_FADING &&
        fan_fading_find(look->monitor, look->history, look->system, look->now_ms - 1,
                        time_zone_local_day(zone, at_ms), fading_days, &wear) == WEAR_FOUND)
        input->speed_per_year = wear.trend.per_year;
}

/* Of several risers, meters or monitors the one that the alarm is about. */
static struct system_points points_about(const struct look *look, const struct alarm *alarm) {
    struct system_points points = system_points_of(look->fleet, look->system);
    if (alarm->point == ALARM_NO_INDEX)
        return points;
    switch (look->fleet->points[alarm->point].description->quantity) {
    case QUANTITY_SUCTION:
        points.suction = alarm->point;
        break;
    case QUANTITY_FAN_POWER:
    case QUANTITY_FAN_CURRENT:
        points.power = alarm->point;
        break;
    case QUANTITY_AIRFLOW:
        points.flow = alarm->point;
        break;
    case QUANTITY_RADON:
        points.radon = alarm->point;
        break;
    default:
        break;
    }
    return points;
}

bool system_diagnosis_make(const struct monitor *monitor, const struct history *history,
                           const struct alarm *alarm, int64_t now_ms, struct diagnosis *diagnosis) {
    if (alarm->system == ALARM_NO_INDEX || !system_diagnosis_applies(alarm->condition))
        return false;
    struct look look = {monitor,       history,         monitor_fleet(monitor),
                        alarm->system, alarm->since_ms, now_ms};
    /* A condition decided once a day began before its first finding. */
    if (condition_info(alarm->condition)->measure == MEASURE_DAILY)
        look.from_ms = now_ms - longest_ms;
    if (now_ms - look.from_ms > longest_ms)
        look.from_ms = now_ms - longest_ms;
    const struct system_points points = points_about(&look, alarm);
    struct fan_curve curve;
    struct diagnosis_input input = diagnosis_input_empty(look.fleet->settings->units);
    input.suction = signal_of(&look, points.suction);
    input.flow = flow_signal(&look, &points);
    input.power = signal_of(&look, points.power);
    fill_radon(&look, points.radon, &input);
    fill_holes(&look, &points, &input);
    input.curve = system_assessment_curve(look.fleet, look.system, &curve) ? &curve : NULL;
    input.loss_after_gauge = look.fleet->systems[look.system].description->loss_after_gauge;
    input.ground_exponent = history->ground_exponent(history->context, look.system, now_ms);
    fill_weather(&look, &points, &input);
    fill_water(&look, &points, &input);
    input.month = month_of(&look);
    input.since_days = (double)(now_ms - alarm->since_ms) / DURATION_DAY_MS;
    input.change_span_days =
        onset_days(&look, alarm->point != ALARM_NO_INDEX ? alarm->point : points.suction);
    input.alarm_stands = alarm_stands(alarm);
    fill_implausible(&look, alarm, &points, &input);
    fill_fading(&look, alarm, &input);
    diagnosis_make(&input, diagnosis);
    return true;
}
