#include "monitor/system_diagnosis.h"
#include "monitor/renewals.h"

#include "analysis/statistics.h"
#include "measure/duration.h"
#include "measure/timestamp.h"
#include "monitor/assessment.h"
#include "monitor/fan_fading.h"
#include "monitor/judge.h"
#include "monitor/judge_mixup.h"
#include "monitor/onset.h"
#include "monitor/riser_draft.h"
#include "monitor/system_assessment.h"

#include <math.h>
#include <string.h>

static const double fading_days = 3650.0; /* whatever the setting: it is asked for its slope */
enum { RADON_DAYS = 30, RADON_LEAST_DAYS = 10, YEAR_DAYS = 365 };
static const int64_t longest_ms = 7 * DURATION_DAY_MS;
static const int64_t cold_ms = 3 * DURATION_DAY_MS; /* ice needs some days of frost, or one night */
static const double radon_season = 0.3; /* of a month's mean against another's; no source */

bool system_diagnosis_applies(enum condition condition) {
    return condition_info(condition)->has_cause;
}

struct look {
    const struct monitor *monitor;
    const struct history *history;
    const struct fleet *fleet;
    size_t system;
    int64_t from_ms, now_ms; /* of the values that count */
    struct onset onset;      /* of the change that is asked about */
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

/* A sensor that has not reported since the change says what was before it: a fan that stands, and
   a gauge that is read once an hour still shows all of its suction. */
static bool has_seen_the_change(const struct look *look, size_t point) {
    const int64_t one_batch_ms = 2 * DURATION_MINUTE_MS; /* in which a gateway sends its points */
    return point != FLEET_NONE &&
           monitor_point(look->monitor, point)->newest_ms >= look->from_ms - one_batch_ms;
}

static struct diagnosis_signal signal_of(const struct look *look, size_t point) {
    struct diagnosis_signal signal = {
        .now = has_seen_the_change(look, point) ? value_now(look, point) : NAN,
        .baseline = value_then(look, point),
        .relative_uncertainty = NAN,
    };
    if (point == FLEET_NONE)
        return signal;
    struct onset_level level = onset_level_before(look->history, point, &look->onset);
    signal.before = level.value;
    signal.scatter = level.scatter;
    signal.unit = look->fleet->points[point].description->binding.unit;
    signal.silent =
        is_silent(look, point) && monitor_point(look->monitor, point)->newest_ms != TIMESTAMP_NONE;
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
    double per_root = then.flow_m3_s / sqrt(pressure.baseline);
    double before = per_root * sqrt(pressure.before);
    return (struct diagnosis_signal){
        .now = isnan(pressure.now) ? NAN : per_root * sqrt(fmax(pressure.now, 0.0)),
        .baseline = then.flow_m3_s,
        .relative_uncertainty = NAN,
        .silent = pressure.silent,
        .before = before,
        .scatter = 0.5 * before * pressure.scatter / pressure.before,
        .unit = pressure.unit,
    };
}

/* ---- how the change came ---- */

static bool is_of_air(enum quantity quantity) {
    return quantity == QUANTITY_SUCTION || quantity == QUANTITY_FIELD ||
           quantity == QUANTITY_AIRFLOW || quantity == QUANTITY_VELOCITY_PRESSURE ||
           quantity == QUANTITY_FAN_POWER || quantity == QUANTITY_FAN_CURRENT;
}

/* The point that the alarm is about, else what has moved most of what shows the air. */
static size_t moved_point(const struct look *look, const struct alarm *alarm,
                          const struct system_points *points) {
    const size_t air[] = {points->suction, points->flow, points->velocity_pressure, points->power};
    size_t moved = points->suction;
    double most = 0.0;
    if (alarm->point != ALARM_NO_INDEX &&
        is_of_air(look->fleet->points[alarm->point].description->quantity))
        return alarm->point;
    for (size_t i = 0; i < sizeof air / sizeof air[0]; i++) {
        double change = fabs(value_now(look, air[i]) / value_then(look, air[i]) - 1.0);
        if (change > most) { /* false with NaN */
            most = change;
            moved = air[i];
        }
    }
    return moved;
}

/* False without a record: nothing says when the first days were. */
static bool ask_onset(const struct look *look, const struct alarm *alarm,
                      const struct system_points *points, struct onset_question *question) {
    size_t point = moved_point(look, alarm, points);
    const struct point_baseline *baseline =
        point == FLEET_NONE
            ? NULL
            : point_state_baseline(monitor_point(look->monitor, point), look->now_ms);
    if (!baseline)
        return false;
    *question = (struct onset_question){
        .history = look->history,
        .zone = look->fleet->systems[look->system].zone,
        .point = point,
        .baseline_ms = renewals_series_ms(look->monitor, point, look->now_ms),
        .baseline = baseline->value,
        .value = value_now(look, point),
        .since_ms = look->from_ms,
        .now_ms = look->now_ms,
    };
    return true;
}

static struct onset onset_of_air(const struct look *look, const struct alarm *alarm,
                                 const struct system_points *points, int64_t commissioned_ms) {
    struct onset_question question;
    if (ask_onset(look, alarm, points, &question))
        return onset_find(&question);
    return onset_unknown(look->fleet->systems[look->system].zone, commissioned_ms);
}

static bool is_about_radon(const struct look *look, const struct alarm *alarm) {
    return alarm->point != ALARM_NO_INDEX &&
           look->fleet->points[alarm->point].description->quantity == QUANTITY_RADON;
}

static struct onset onset_of(const struct look *look, const struct alarm *alarm,
                             const struct system_points *points) {
    int64_t commissioned_ms = renewals_house_ms(look->monitor, look->system, look->now_ms);
    if (commissioned_ms == TIMESTAMP_NONE)
        return (struct onset){.span_days = NAN};
    struct onset air = onset_of_air(look, alarm, points, commissioned_ms);
    if (!is_about_radon(look, alarm))
        return air;
    const struct onset_question rise = {
        .history = look->history,
        .zone = look->fleet->systems[look->system].zone,
        .point = alarm->point,
        .baseline_ms = renewals_radon_ms(look->monitor, look->system, look->now_ms),
        .baseline = value_then(look, alarm->point),
        .value = value_now(look, alarm->point),
        .now_ms = look->now_ms,
    };
    return rise.baseline_ms == TIMESTAMP_NONE ? air : onset_before_rise(&rise, &air);
}

static int month_last_year(const struct look *look, const struct alarm *alarm,
                           const struct system_points *points) {
    struct onset_question question;
    if (!ask_onset(look, alarm, points, &question))
        return 0;
    double before = onset_level_before(look->history, question.point, &look->onset).value;
    return onset_month_last_year(&question, isnan(before) ? question.baseline : before);
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

/* What the riser would do without its fan, and what its end does in frost. */
static void fill_riser(const struct look *look, const struct system_points *points,
                       struct diagnosis_input *input) {
    const struct branch_description *branch = system_points_branch(look->fleet, points);
    input->riser.holds_suction = branch->fan.control == FAN_CONTROL_CONSTANT_PRESSURE;
    input->riser.loss_after_gauge = branch->loss_after_gauge;
    input->riser.pipe_inside_diameter_m = branch->pipe_inside_diameter_m;
    if (look->fleet->systems[look->system].description->branch_count > 1)
        input->riser.branch = branch->id;
    const struct riser_weather weather = {input->indoor_celsius, input->outdoor_celsius,
                                          value_now(look, points->barometer)};
    input->humidity_percent = value_now(look, points->humidity);
    input->roof_discharge = branch->discharge == DISCHARGE_ROOF;
    input->stack_height_m = look->fleet->systems[look->system].description->stack_height_m;
    input->air_pressure_pa = isnan(weather.barometer_pa)
                                 ? fleet_air_pressure_pa(look->fleet, look->system)
                                 : weather.barometer_pa;
    input->draft_pa = riser_draft_pa(look->fleet, look->system, points->branch, &weather);
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
    if (points->water == FLEET_NONE)
        return;
    const struct condition_rule *rule =
        fleet_point_rule(look->fleet, points->water, CONDITION_WATER_HIGH);
    input->water_level_m = value_now(look, points->water);
    input->water_rise_m =
        input->water_level_m - onset_level_before(look->history, points->water, &look->onset).value;
    if (rule)
        input->water_limit_m =
            judge_setpoint(look->fleet, rule, value_then(look, points->water), NAN);
}

/* What a sensor in another unit reads against what it said before. */
static void take_mixed_up(const struct look *look, size_t point, struct diagnosis_signal *signal,
                          struct diagnosis_input *input) {
    if (point == FLEET_NONE)
        return;
    const struct point_state *state = monitor_point(look->monitor, point);
    if (state->suspect_count < JUDGE_MIXUP_READINGS || is_silent(look, point))
        return;
    *signal = (struct diagnosis_signal){.now = state->newest_value,
                                        .baseline = signal->baseline,
                                        .relative_uncertainty = NAN,
                                        .before = state->level,
                                        .scatter = state->level_noise,
                                        .unit = signal->unit};
    input->asked.implausible = true;
}

/* A field that turns for hours of the day looks whole in its median: where a fifth of the hours are
   at or below nothing, their lowest fifth is what counts. */
static double hole_now(const struct look *look, size_t point, double median) {
    struct average_bucket hours[7 * 24 + 2];
    double values[7 * 24 + 2];
    size_t n = 0, turned = 0;
    size_t count = history_hours(look->history, point, look->from_ms, look->now_ms, hours,
                                 sizeof hours / sizeof hours[0]);
    for (size_t i = 0; count != HISTORY_FAILED && i < count; i++) {
        values[n] = hours[i].value_ms / (double)hours[i].covered_ms;
        turned += values[n++] <= 0.0 ? 1 : 0;
    }
    if (isnan(median) || n < 10 || 5 * turned < n)
        return median;
    return fmin(median, statistics_select(values, n, n / 10));
}

static void fill_holes(const struct look *look, const struct system_points *points,
                       struct diagnosis_input *input) {
    size_t branch_count = look->fleet->systems[look->system].description->branch_count;
    for (size_t i = 0; i < points->hole_count && input->hole_count < DIAGNOSIS_HOLES_MAX; i++) {
        size_t point = points->holes[i];
        const struct point_description *hole = look->fleet->points[point].description;
        struct diagnosis_hole *to = &input->holes[input->hole_count];
        if (hole->branch != points->branch && hole->branch != BRANCH_NONE)
            continue;
        *to = (struct diagnosis_hole){hole->name, signal_of(look, point),
                                      hole->branch == BRANCH_NONE && branch_count > 1};
        to->field.now = hole_now(look, point, to->field.now);
        take_mixed_up(look, point, &to->field, input);
        input->hole_count++;
    }
}

/* Where the record says nothing of radon: the usual of the first month after it, as radon-rising
   compares with. A season may lie in between, so the ratio is unsure. */
static void fill_radon(const struct look *look, size_t point, struct diagnosis_input *input) {
    struct history_day days[RADON_DAYS];
    double means[RADON_DAYS];
    size_t n = 0;
    int64_t from_ms = renewals_radon_ms(look->monitor, look->system, look->now_ms);
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

static void fill_implausible(const struct look *look, const struct alarm *alarm,
                             const struct system_points *points, struct diagnosis_input *input) {
    take_mixed_up(look, points->suction, &input->suction, input);
    take_mixed_up(look, points->flow, &input->flow, input);
    take_mixed_up(look, points->power, &input->power, input);
    take_mixed_up(look, points->radon, &input->radon, input);
    if (alarm->condition != CONDITION_SENSOR_IMPLAUSIBLE || input->asked.implausible)
        return;
    /* Readings that match another unit were taken, and counted; what was refused was not. */
    input->asked.other_unit =
        alarm->point != ALARM_NO_INDEX &&
        monitor_point(look->monitor, alarm->point)->suspect_count >= JUDGE_MIXUP_READINGS;
    input->asked.refused = !input->asked.other_unit;
    if (alarm->point != ALARM_NO_INDEX)
        input->asked.alone = look->fleet->points[alarm->point].description->quantity;
}

static void fill_fading(const struct look *look, const struct alarm *alarm,
                        const struct system_points *points, struct diagnosis_input *input) {
    const struct time_zone *zone = look->fleet->systems[look->system].zone;
    /* The day that decided it counts, also when `now` is the time of its last reading. */
    int64_t at_ms = look->now_ms > alarm->raised_ms ? look->now_ms : alarm->raised_ms;
    struct wear wear;
    if (alarm->condition == CONDITION_FAN_FADING &&
        fan_fading_find(look->monitor, look->history, points, look->now_ms - 1,
                        time_zone_local_day(zone, at_ms), fading_days, &wear) == WEAR_FOUND)
        input->speed_per_year = wear.trend.per_year;
}

/* How far a value is from its baseline, up or down; 0: not known. */
static double distance_of(const struct look *look, size_t point) {
    double share = value_now(look, point) / value_then(look, point);
    return isnan(share) ? 0.0 : fabs(log(fmax(share, 0.001)));
}

/* What is wrong with the whole house may come from any of its risers: the one that has changed
   most. */
static size_t branch_about(const struct look *look, const struct alarm *alarm) {
    size_t branch = fleet_branch_at(look->fleet, look->system, alarm->point, alarm->condition);
    double most = -1.0;
    if (branch != BRANCH_NONE)
        return branch;
    for (size_t b = 0; b < look->fleet->systems[look->system].description->branch_count; b++) {
        const struct system_points points = system_points_of(look->fleet, look->system, b);
        double distance = fmax(distance_of(look, points.suction), distance_of(look, points.power));
        if (distance > most) {
            most = distance;
            branch = b;
        }
    }
    return branch;
}

/* Of several risers, meters or monitors the one that the alarm is about. */
static struct system_points points_about(const struct look *look, const struct alarm *alarm) {
    struct system_points points =
        system_points_of(look->fleet, look->system, branch_about(look, alarm));
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

/* ---- the houses around ---- */

/* Over the last year at most, since the values of commissioning. */
static void tell_neighbours(const struct look *look, const struct alarm *alarm,
                            const struct system_points *points, struct diagnosis *diagnosis) {
    const struct neighbours *neighbours = monitor_neighbours(look->monitor);
    size_t point = alarm->point != ALARM_NO_INDEX ? alarm->point : points->suction;
    if (point == FLEET_NONE || alarm->condition == CONDITION_SENSOR_IMPLAUSIBLE)
        return;
    const struct time_zone *zone = look->fleet->systems[look->system].zone;
    const struct point_baseline *baseline =
        point_state_baseline(monitor_point(look->monitor, point), look->now_ms);
    int64_t today = time_zone_local_day(zone, look->now_ms), from_day = today - YEAR_DAYS;
    if (baseline && time_zone_local_day(zone, baseline->from_ms) > from_day)
        from_day = time_zone_local_day(zone, baseline->from_ms);
    struct neighbours_comparison found;
    if (!neighbours_compare(neighbours, look->history, point, from_day, today,
                            value_now(look, point), &found))
        return;
    struct diagnosis_neighbours told = {
        .quantity = look->fleet->points[point].description->quantity,
        .houses = found.houses,
        .days = found.days,
        .own = found.own,
        .theirs = found.theirs,
        .uncertainty = found.uncertainty,
    };
    (void)neighbours_systems(neighbours, look->system, &told.region);
    diagnosis_tell_neighbours(diagnosis, &told);
}

static void fill_alarm(const struct look *look, const struct alarm *alarm,
                       const struct system_points *points, struct diagnosis_input *input) {
    input->month = month_of(look);
    input->since_days = (double)(look->now_ms - alarm->since_ms) / DURATION_DAY_MS;
    input->change_span_days = look->onset.span_days;
    input->last_year_month = month_last_year(look, alarm, points);
    input->asked.alarm_stands = alarm_stands(alarm);
    input->asked.about_speed = alarm->condition == CONDITION_FAN_WEAK;
    input->asked.about_radon = is_about_radon(look, alarm);
}

bool system_diagnosis_make(const struct monitor *monitor, const struct history *history,
                           const struct alarm *alarm, int64_t now_ms, struct diagnosis *diagnosis) {
    if (alarm->system == ALARM_NO_INDEX || !system_diagnosis_applies(alarm->condition))
        return false;
    struct look look = {.monitor = monitor,
                        .history = history,
                        .fleet = monitor_fleet(monitor),
                        .system = alarm->system,
                        .from_ms = alarm->since_ms,
                        .now_ms = now_ms};
    /* A condition decided once a day began before its first finding. */
    if (condition_info(alarm->condition)->measure == MEASURE_DAILY ||
        now_ms - look.from_ms > longest_ms)
        look.from_ms = now_ms - longest_ms;
    const struct system_points points = points_about(&look, alarm);
    look.onset = onset_of(&look, alarm, &points);
    struct fan_curve curve;
    struct diagnosis_input input = diagnosis_input_empty();
    input.suction = signal_of(&look, points.suction);
    input.flow = flow_signal(&look, &points);
    input.power = signal_of(&look, points.power);
    fill_radon(&look, points.radon, &input);
    fill_holes(&look, &points, &input);
    fill_weather(&look, &points, &input);
    fill_riser(&look, &points, &input);
    /* of a fan that holds its suction nobody knows at which speed it was commissioned */
    if (!input.riser.holds_suction && system_assessment_curve(monitor, &points, now_ms, &curve))
        input.riser.curve = &curve;
    input.ground_exponent = history->ground_exponent(history->context, look.system, now_ms);
    fill_water(&look, &points, &input);
    fill_alarm(&look, alarm, &points, &input);
    fill_implausible(&look, alarm, &points, &input);
    fill_fading(&look, alarm, &points, &input);
    diagnosis_make(&input, diagnosis);
    tell_neighbours(&look, alarm, &points, diagnosis);
    return true;
}
