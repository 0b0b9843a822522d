#include "monitor/judge.h"

#include "measure/timestamp.h"
#include "monitor/rests.h"

#include <math.h>
#include <string.h>

static const double mixup_tolerance = 0.05, mixup_tolerance_most = 0.30; /* of the expected value */
static const double level_departure = 0.5;                               /* of the level */
static const double level_departure_celsius = 8.0;
static const double level_fall_most = 0.8;       /* a mean that slid further would pass a factor */
static const double mean_coverage_needed = 0.75; /* below it: too few readings */
enum { MIXUP_LEVEL_READINGS = 12, LEVEL_MEMORY = 100 };

/* ---- setpoints ---- */

static double setpoint_si(const struct fleet *fleet, const struct setpoint *setpoint,
                          double baseline) {
    switch (setpoint->kind) {
    case SETPOINT_OF_BASELINE:
        return setpoint->number * baseline;
    case SETPOINT_OF_ACTION_LEVEL:
        return setpoint->number * fleet->settings->radon_action_level_bq_m3;
    case SETPOINT_VALUE:
    case SETPOINT_FRACTION:
    case SETPOINT_DURATION:
        return setpoint->number;
    case SETPOINT_NONE:
        break;
    }
    return NAN;
}

/* A value below which a field is always weak, and yet no hole is born weak: under a membrane less
   than a pascal is usual (common practice, no source). */
static const double floor_most_of_baseline = 0.6;

double judge_setpoint(const struct fleet *fleet, const struct condition_rule *rule,
                      double baseline) {
    double first = setpoint_si(fleet, &rule->setpoint, baseline);
    double second = setpoint_si(fleet, &rule->second_setpoint, baseline);
    /* "Below the one or below the other" is below the higher; fmax and fmin skip a NaN. */
    if (condition_info(rule->condition)->side == SIDE_BELOW && !isnan(second))
        return fmax(first, fmin(second, floor_most_of_baseline * baseline));
    return fmin(first, second);
}

static double deadband_si(const struct fleet *fleet, const struct condition_rule *rule,
                          double baseline, double setpoint) {
    if (rule->deadband.kind == SETPOINT_NONE)
        return 0.0;
    /* A share of the baseline means a share of the setpoint where there is no baseline. */
    if (rule->deadband.kind == SETPOINT_OF_BASELINE && isnan(baseline))
        return rule->deadband.number * fabs(setpoint);
    return setpoint_si(fleet, &rule->deadband, baseline);
}

/* ---- telling ---- */

struct view {
    const struct judge *judge;
    size_t point;
    struct point_state *state;
};

static const struct condition_rule *rule_at(const struct view *view, size_t i) {
    return &view->judge->fleet->points[view->point].rules[i];
}

static double baseline_at(const struct point_state *state, int64_t time_ms) {
    const struct point_baseline *baseline = point_state_baseline(state, time_ms);
    return baseline ? baseline->value : NAN;
}

static void tell(const struct view *view, size_t i, enum tracker_event event, int64_t at_ms,
                 double value, double setpoint) {
    if (event == TRACKER_NOTHING)
        return;
    const struct judge_finding finding = {
        .rule_index = i,
        .rule = rule_at(view, i),
        .event = event,
        .since_ms = view->state->trackers[i].began_ms,
        .at_ms = at_ms,
        .value = value,
        .setpoint = setpoint,
        .baseline = baseline_at(view->state, at_ms),
    };
    view->judge->emit(view->judge->context, view->point, &finding);
}

static void moved(const struct view *view, size_t i, const struct tracker *before) {
    const struct tracker *after = &view->state->trackers[i];
    if (view->judge->moved &&
        (before->phase != after->phase || before->since_ms != after->since_ms))
        view->judge->moved(view->judge->context, view->point, i);
}

static void step(const struct view *view, size_t i, bool beyond, bool cleared, int64_t time_ms,
                 double value, double setpoint) {
    struct tracker *tracker = &view->state->trackers[i], before = *tracker;
    const struct condition_rule *rule = rule_at(view, i);
    int64_t at_ms = time_ms;
    if (tracker->phase == TRACKER_REST && !beyond)
        return;
    enum tracker_event event = tracker_step(tracker, rule->on_delay_ms, rule->off_delay_ms, beyond,
                                            cleared, time_ms, &at_ms);
    tell(view, i, event, at_ms, value, setpoint);
    moved(view, i, &before);
}

/* Raise or return at a given instant without delays, for conditions that carry their own time. */
static void set_standing(const struct view *view, size_t i, bool stands, int64_t since_ms,
                         int64_t at_ms, double value, double setpoint) {
    struct tracker *tracker = &view->state->trackers[i], before = *tracker;
    if (stands == (tracker->phase == TRACKER_STANDING))
        return;
    if (stands)
        *tracker = (struct tracker){since_ms, since_ms, TRACKER_STANDING};
    else
        tracker->phase = TRACKER_REST;
    tell(view, i, stands ? TRACKER_RAISE : TRACKER_RETURN, at_ms, value, setpoint);
    moved(view, i, &before);
}

/* ---- one rule, one value ---- */

static void judge_value(const struct view *view, size_t i, double value, int64_t time_ms) {
    const struct condition_rule *rule = rule_at(view, i);
    double baseline = baseline_at(view->state, time_ms);
    double setpoint = judge_setpoint(view->judge->fleet, rule, baseline);
    if (isnan(setpoint))
        return; /* no baseline, no limit: nothing to judge by */
    double deadband = deadband_si(view->judge->fleet, rule, baseline, setpoint);
    bool below = condition_info(rule->condition)->side == SIDE_BELOW;
    bool beyond = below ? value < setpoint : value > setpoint;
    bool cleared = below ? value >= setpoint + deadband : value <= setpoint - deadband;
    step(view, i, beyond, cleared, time_ms, value, setpoint);
}

bool judge_mean_24h(const struct point_state *state, int64_t time_ms, double *mean) {
    double coverage = 0.0;
    return state->window && rollup_window_mean(state->window, time_ms, mean, &coverage) &&
           coverage >= mean_coverage_needed;
}

static void judge_mean(const struct view *view, size_t i, int64_t time_ms) {
    double mean = 0.0;
    if (judge_mean_24h(view->state, time_ms, &mean))
        judge_value(view, i, mean, time_ms);
}

/* A fan that stands still reads an honest zero for days; a radon monitor never does. */
static bool may_rest_at(enum quantity quantity, double value) {
    return quantity != QUANTITY_RADON && fabs(value) < quantity_info(quantity)->noise_floor;
}

/* What stands is judged by the rest that raised it and by the plain setpoint: after a start less
   may be known of the rest and of the rests before it. */
static void judge_stuck(const struct view *view, size_t i, const struct reading *reading) {
    const struct point_description *point = view->judge->fleet->points[view->point].description;
    const struct tracker *tracker = &view->state->trackers[i];
    double setpoint_ms = rule_at(view, i)->setpoint.number;
    bool moved = view->state->unchanged_since_ms == reading->time_ms;
    bool stands = tracker->phase == TRACKER_STANDING && !moved;
    double limit_ms = stands ? setpoint_ms : rests_stuck_after_ms(view->state, setpoint_ms);
    int64_t since_ms = stands ? tracker->began_ms : view->state->unchanged_since_ms;
    bool stuck = (double)(reading->time_ms - since_ms) >= limit_ms &&
                 !may_rest_at(point->quantity, reading->value);
    int64_t at_ms = stuck ? since_ms + (int64_t)limit_ms : reading->time_ms;
    set_standing(view, i, stuck, since_ms, at_ms, reading->value, NAN);
}

/* ---- unit mix-ups ---- */

static const struct {
    enum dimension dimension;
    double factor; /* value seen / true value */
    const char *sends;
} mixups[] = {
    {DIMENSION_PRESSURE, 0.01, "hPa"},     {DIMENSION_PRESSURE, 100.0, "Pa"},
    {DIMENSION_PRESSURE, 0.001, "kPa"},    {DIMENSION_PRESSURE, 1000.0, "Pa"},
    {DIMENSION_PRESSURE, 249.08891, "Pa"}, {DIMENSION_PRESSURE, 1 / 249.08891, "inH2O"},
    {DIMENSION_PRESSURE, 9.80665, "Pa"},   {DIMENSION_PRESSURE, 1 / 9.80665, "mmH2O"},
    {DIMENSION_RADON, 37.0, "Bq/m3"},      {DIMENSION_RADON, 1 / 37.0, "pCi/L"},
    {DIMENSION_FLOW, 2118.880003, "cfm"},  {DIMENSION_FLOW, 1 / 2118.880003, "m3/s"},
    {DIMENSION_FLOW, 1000.0, "L/s"},       {DIMENSION_FLOW, 0.001, "m3/s"},
    {DIMENSION_POWER, 1000.0, "mW"},       {DIMENSION_POWER, 0.001, "kW"},
    {DIMENSION_CURRENT, 1000.0, "mA"},     {DIMENSION_CURRENT, 0.001, "A"},
};

static const char *temperature_mixup(double level, double value) {
    const double tolerance = 1.5, distance = 8.0;
    if (fabs(value - level) < distance)
        return NULL;
    if (fabs(value - (1.8 * level + 32.0)) < tolerance)
        return "degF";
    return fabs(value - (level - 32.0) / 1.8) < tolerance ? "degC" : NULL;
}

static const char *mixup_within(enum dimension dimension, double level, double value,
                                double tolerance) {
    if (dimension == DIMENSION_TEMPERATURE)
        return temperature_mixup(level, value);
    for (size_t i = 0; i < sizeof mixups / sizeof mixups[0]; i++) {
        double expected = level * mixups[i].factor;
        if (mixups[i].dimension == dimension && fabs(value - expected) < tolerance * fabs(expected))
            return mixups[i].sends;
    }
    return NULL;
}

/* How far from `level` the number sent would be if it were in `unit`: 0 for just that, 1 for a
   factor of two. */
static double distance_in(const struct unit *unit, const struct unit *expected, double level,
                          double value) {
    double meant = unit_to_si(unit, unit_from_si(expected, value));
    if (unit->dimension == DIMENSION_TEMPERATURE)
        return fabs(meant - level) / 8.0; /* 3 K within the tolerance below */
    return meant / level > 0.0 ? fabs(log(meant / level)) / log(2.0) : INFINITY;
}

const char *judge_suspected_unit(const struct unit *expected, double level, double value) {
    static const char *const units[] = {"Pa",    "hPa", "kPa",  "inH2O", "mmH2O", "Bq/m3",
                                        "pCi/L", "cfm", "m3/h", "L/s",   "m3/s",  "W",
                                        "mW",    "kW",  "A",    "mA",    "degC",  "degF"};
    const char *nearest = NULL;
    double least = log(1.0 + mixup_tolerance_most) / log(2.0);
    for (size_t i = 0; i < sizeof units / sizeof units[0]; i++) {
        const struct unit *unit = unit_find(units[i], strlen(units[i]));
        if (!unit || unit->dimension != expected->dimension ||
            (unit->scale == expected->scale && unit->offset == expected->offset))
            continue;
        double distance = distance_in(unit, expected, level, value);
        if (distance < least) {
            least = distance;
            nearest = units[i];
        }
    }
    return nearest;
}

/* A radon monitor's readings scatter far more than a gauge's, and so they do in another unit. The
   field of a test hole wanders with wind and by real faults: a wide tolerance would fit those. */
static double tolerance_of(const struct point_state *state, enum quantity quantity) {
    if (quantity == QUANTITY_FIELD)
        return mixup_tolerance;
    double own = 3.0 * state->level_noise / fabs(state->level);
    return fmin(fmax(own, mixup_tolerance), mixup_tolerance_most);
}

/* The level follows slow change. After a step it begins anew: on its way from the old one to the
   new one a mean would pass every factor of the table. */
static void learn_level(struct point_state *state, enum dimension dimension, double value) {
    double departure = fabs(value - state->level), scatter = 6.0 * state->level_noise;
    if (fabs(value) < fabs(state->level))
        scatter = fmin(scatter, level_fall_most * fabs(state->level));
    double most = fmax(level_departure * fabs(state->level), scatter);
    if (dimension == DIMENSION_TEMPERATURE)
        most = fmax(most, level_departure_celsius);
    if (state->level_count == 0 || departure > most) {
        if (state->level_count >= MIXUP_LEVEL_READINGS)
            state->former_level = state->level;
        state->level = value;
        state->level_noise = 0.0;
        state->level_count = 1;
        return;
    }
    if (state->level_count < LEVEL_MEMORY)
        state->level_count++;
    state->level += (value - state->level) / state->level_count;
    state->level_noise += (departure - state->level_noise) / state->level_count;
}

/* A fan that runs again after it stood still jumps too, but to where it was, or to where it was
   commissioned; so does a test hole after a storm. */
static bool is_back(const struct point_state *state, double value, double baseline) {
    double former = state->former_level;
    if (former != 0.0 && fabs(value - former) <= level_departure * fabs(former))
        return true;
    return fabs(value - baseline) <= level_departure * fabs(baseline); /* false with NaN */
}

static bool looks_mixed_up(const struct view *view, double value, double baseline) {
    struct point_state *state = view->state;
    const struct point_description *point = view->judge->fleet->points[view->point].description;
    enum dimension dimension = point->binding.unit->dimension;
    double floor = quantity_info(point->quantity)->noise_floor;
    bool known = state->level_count >= MIXUP_LEVEL_READINGS && fabs(state->level) > 20.0 * floor;
    if (known && !is_back(state, value, baseline) &&
        mixup_within(dimension, state->level, value, tolerance_of(state, point->quantity))) {
        if (state->suspect_count < JUDGE_MIXUP_READINGS)
            state->suspect_count++;
        return state->suspect_count >= JUDGE_MIXUP_READINGS;
    }
    state->suspect_count = 0;
    learn_level(state, dimension, value);
    return false;
}

/* ---- one reading ---- */

static void judge_rule(const struct view *view, size_t i, const struct reading *reading,
                       bool mixed_up) {
    const struct condition_rule *rule = rule_at(view, i);
    if (!rule->enabled)
        return;
    switch (condition_info(rule->condition)->measure) {
    case MEASURE_VALUE:
        judge_value(view, i, reading->value, reading->time_ms);
        break;
    case MEASURE_MEAN_24H:
        judge_mean(view, i, reading->time_ms);
        break;
    case MEASURE_UNCHANGED:
        judge_stuck(view, i, reading);
        break;
    case MEASURE_AGE:
        set_standing(view, i, false, 0, reading->time_ms, NAN, NAN);
        break;
    case MEASURE_EVENT:
        if (rule->condition == CONDITION_SENSOR_IMPLAUSIBLE)
            step(view, i, mixed_up, !mixed_up, reading->time_ms, reading->value,
                 view->state->level);
        else
            step(view, i, false, true, reading->time_ms, NAN, NAN);
        break;
    case MEASURE_DAILY:
    case MEASURE_DATE:
        break;
    }
}

struct hour_sink {
    const struct judge *judge;
    size_t point;
};

static void hour_closed(void *context, const struct rollup_hour *hour) {
    const struct hour_sink *sink = context;
    sink->judge->hour(sink->judge->context, sink->point, hour);
}

static void take(const struct view *view, const struct reading *reading) {
    struct point_state *state = view->state;
    int64_t every_ms = view->judge->fleet->points[view->point].description->every_ms;
    int64_t span_ms = every_ms;
    if (state->newest_ms != TIMESTAMP_NONE && reading->time_ms - state->newest_ms < every_ms)
        span_ms = reading->time_ms - state->newest_ms;
    struct hour_sink sink = {view->judge, view->point};
    rollup_add(&state->hour, reading, span_ms, hour_closed, &sink);
    state->hour_changed = true;
    if (state->window)
        rollup_window_add(state->window, reading, span_ms);
    rests_learn(state, reading);
    state->unchanged_since_ms = rests_since_ms(state, reading);
    state->newest_ms = reading->time_ms;
    state->newest_value = reading->value;
}

void judge_reading(const struct judge *judge, size_t point, struct point_state *state,
                   const struct reading *reading) {
    const struct view view = {judge, point, state};
    judge_expire(judge, point, state, reading->time_ms);
    if (state->newest_ms != TIMESTAMP_NONE &&
        reading->time_ms - state->newest_ms > state->sensor_silent_after_ms)
        judge_silent(judge, point, state);
    bool mixed_up = looks_mixed_up(&view, reading->value, baseline_at(state, reading->time_ms));
    take(&view, reading);
    size_t rules = judge->fleet->points[point].rule_count;
    for (size_t i = 0; i < rules; i++)
        judge_rule(&view, i, reading, mixed_up);
}

/* ---- the clock ---- */

/* One odd message is none until another one says the same at the end of the delay. */
static bool needs_an_event(const struct tracker *tracker, const struct condition_rule *rule) {
    return tracker->phase == TRACKER_PENDING &&
           condition_info(rule->condition)->measure == MEASURE_EVENT;
}

void judge_expire(const struct judge *judge, size_t point, struct point_state *state,
                  int64_t time_ms) {
    const struct view view = {judge, point, state};
    size_t rules = judge->fleet->points[point].rule_count;
    for (size_t i = 0; i < rules; i++) {
        struct tracker *tracker = &state->trackers[i], before = *tracker;
        if (tracker->phase != TRACKER_PENDING && tracker->phase != TRACKER_CLEARING)
            continue;
        const struct condition_rule *rule = rule_at(&view, i);
        int64_t deadline_ms = tracker_deadline_ms(tracker, rule->on_delay_ms, rule->off_delay_ms);
        if (deadline_ms > time_ms || state->newest_ms == TIMESTAMP_NONE ||
            deadline_ms - state->newest_ms > state->silent_after_ms ||
            needs_an_event(tracker, rule))
            continue;
        int64_t at_ms = time_ms;
        enum tracker_event event =
            tracker_expire(tracker, rule->on_delay_ms, rule->off_delay_ms, time_ms, &at_ms);
        tell(&view, i, event, at_ms, state->newest_value,
             judge_setpoint(judge->fleet, rule, baseline_at(state, at_ms)));
        moved(&view, i, &before);
    }
}

int64_t judge_deadline_ms(const struct judge *judge, size_t point,
                          const struct point_state *state) {
    const struct fleet_point *owner = &judge->fleet->points[point];
    int64_t earliest_ms = INT64_MAX;
    for (size_t i = 0; i < owner->rule_count; i++) {
        const struct condition_rule *rule = &owner->rules[i];
        int64_t deadline_ms =
            tracker_deadline_ms(&state->trackers[i], rule->on_delay_ms, rule->off_delay_ms);
        if (deadline_ms < earliest_ms)
            earliest_ms = deadline_ms;
    }
    return earliest_ms;
}

static size_t rule_of(const struct judge *judge, size_t point, enum condition condition) {
    const struct fleet_point *owner = &judge->fleet->points[point];
    for (size_t i = 0; i < owner->rule_count; i++) {
        if (owner->rules[i].condition == condition && owner->rules[i].enabled)
            return i;
    }
    return FLEET_NONE;
}

void judge_silent(const struct judge *judge, size_t point, struct point_state *state) {
    const struct view view = {judge, point, state};
    size_t i = rule_of(judge, point, CONDITION_SENSOR_SILENT);
    if (i == FLEET_NONE || state->newest_ms == TIMESTAMP_NONE)
        return;
    set_standing(&view, i, true, state->newest_ms, state->newest_ms + state->sensor_silent_after_ms,
                 state->newest_value, NAN);
}

void judge_event(const struct judge *judge, size_t point, struct point_state *state,
                 enum condition condition, bool holds, int64_t time_ms) {
    const struct view view = {judge, point, state};
    size_t i = rule_of(judge, point, condition);
    if (i != FLEET_NONE)
        step(&view, i, holds, !holds, time_ms, NAN, NAN);
}

void judge_impossible(const struct judge *judge, size_t point, struct point_state *state,
                      double value, int64_t time_ms) {
    const struct view view = {judge, point, state};
    const struct unit *declared = judge->fleet->points[point].description->binding.unit;
    bool known = state->level_count >= MIXUP_LEVEL_READINGS;
    double level = known ? state->level : baseline_at(state, time_ms);
    bool unit = isfinite(level) && isfinite(value) && judge_suspected_unit(declared, level, value);
    size_t i = rule_of(judge, point, CONDITION_SENSOR_IMPLAUSIBLE);
    if (i != FLEET_NONE)
        step(&view, i, true, false, time_ms, unit ? value : NAN, unit ? level : NAN);
}

void judge_daily(const struct judge *judge, size_t point, struct point_state *state,
                 enum condition condition, bool holds, bool cleared, double value, double setpoint,
                 int64_t time_ms) {
    const struct view view = {judge, point, state};
    size_t i = rule_of(judge, point, condition);
    if (i != FLEET_NONE)
        step(&view, i, holds, cleared, time_ms, value, setpoint);
}
