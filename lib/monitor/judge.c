#include "monitor/judge.h"

#include "measure/duration.h"
#include "measure/timestamp.h"
#include "monitor/judge_mixup.h"
#include "monitor/rests.h"

#include <math.h>
#include <stdlib.h>

static const double mean_coverage_needed = 0.75; /* below it: too few readings */

/* ---- setpoints ---- */

static double setpoint_si(const struct fleet *fleet, const struct setpoint *setpoint,
                          double baseline, double draft_pa) {
    switch (setpoint->kind) {
    case SETPOINT_OF_BASELINE:
        return setpoint->number * baseline;
    case SETPOINT_OF_ACTION_LEVEL:
        return setpoint->number * fleet->settings->radon_action_level_bq_m3;
    case SETPOINT_OF_DRAFT:
        return isnan(baseline) ? NAN : setpoint->number * draft_pa;
    case SETPOINT_VALUE:
    case SETPOINT_FRACTION:
    case SETPOINT_DURATION:
        return setpoint->number;
    case SETPOINT_NONE:
        break;
    }
    return NAN;
}

/* A value below which a field is always weak, or suction no more than a draft, and yet no hole is
   born weak and no riser lost: under a membrane less than a pascal is usual, and a few pascals of
   suction (common practice, no source). */
static const double floor_most_of_baseline = 0.6;

/* A field gauge's zero is sure to some 0.3 Pa (a quarter of a percent of a range of 125 Pa; common
   practice, no source), and a hole is told weak only when it has surely lost something: guarded
   rejection, JCGM 106:2012, 8.3.3 (from memory). It counts below 0.75 Pa of baseline. */
static const double field_guard_pa = 0.3;

static double guarded(const struct condition_rule *rule, double baseline, double limit) {
    bool of_baseline = rule->setpoint.kind == SETPOINT_OF_BASELINE && !isnan(baseline);
    return rule->condition == CONDITION_FIELD_WEAK && of_baseline
               ? fmin(limit, baseline - field_guard_pa)
               : limit;
}

double judge_setpoint(const struct fleet *fleet, const struct condition_rule *rule, double baseline,
                      double draft_pa) {
    double first = setpoint_si(fleet, &rule->setpoint, baseline, draft_pa);
    double second = setpoint_si(fleet, &rule->second_setpoint, baseline, draft_pa);
    /* "Below the one or below the other" is below the higher; fmax and fmin skip a NaN. */
    if (condition_info(rule->condition)->side == SIDE_BELOW && !isnan(second))
        return guarded(rule, baseline,
                       fmax(first, fmin(second, floor_most_of_baseline * baseline)));
    return fmin(first, second);
}

static double deadband_si(const struct fleet *fleet, const struct condition_rule *rule,
                          double baseline, double setpoint) {
    if (rule->deadband.kind == SETPOINT_NONE)
        return 0.0;
    /* A share of the baseline means a share of the setpoint where there is no baseline. */
    if (rule->deadband.kind == SETPOINT_OF_BASELINE && isnan(baseline))
        return rule->deadband.number * fabs(setpoint);
    return setpoint_si(fleet, &rule->deadband, baseline, NAN);
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

/* The weather of days ago, or of days to come, says nothing. */
static double draft_at(const struct point_state *state, int64_t time_ms) {
    return llabs(time_ms - state->draft_ms) <= DURATION_DAY_MS ? state->draft_pa : NAN;
}

static double setpoint_at(const struct view *view, const struct condition_rule *rule,
                          int64_t time_ms) {
    return judge_setpoint(view->judge->fleet, rule, baseline_at(view->state, time_ms),
                          draft_at(view->state, time_ms));
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
    double setpoint = setpoint_at(view, rule, time_ms);
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

/* What somebody reads twice a year has no mean of a day: the reading is all there is. */
static void judge_mean(const struct view *view, size_t i, const struct reading *reading) {
    double mean = 0.0;
    if (view->judge->fleet->points[view->point].description->by_hand)
        judge_value(view, i, reading->value, reading->time_ms);
    else if (judge_mean_24h(view->state, reading->time_ms, &mean))
        judge_value(view, i, mean, reading->time_ms);
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
    double limit_ms =
        stands ? setpoint_ms : rests_stuck_after_ms(view->state, setpoint_ms, point->every_ms);
    int64_t since_ms = stands ? tracker->began_ms : view->state->unchanged_since_ms;
    bool stuck = (double)(reading->time_ms - since_ms) >= limit_ms &&
                 !may_rest_at(point->quantity, reading->value);
    int64_t at_ms = stuck ? since_ms + (int64_t)limit_ms : reading->time_ms;
    set_standing(view, i, stuck, since_ms, at_ms, reading->value, NAN);
}

/* Air outdoors has some 10 Bq/m3, and houses more (UNSCEAR 2000 Report, annex B, from memory). A
   monitor whose mean of a day lies far below measures no house: it died at zero, or reports in
   pCi/L. It comes back where the mean is beyond doubt. One that seldom counts reads nothing on many
   a day, but in two days it counts once. */
static const double radon_least_bq_m3 = 2.0, radon_deadband_bq_m3 = 3.0;
enum { RADON_LEAST_READINGS = 48 };

static bool is_below_outdoors(const struct view *view, double mean) {
    int64_t every_ms = view->judge->fleet->points[view->point].description->every_ms;
    int64_t two_days = 2 * DURATION_DAY_MS / every_ms;
    int64_t least = two_days < RADON_LEAST_READINGS ? two_days : RADON_LEAST_READINGS;
    return mean < radon_least_bq_m3 && view->state->level_count >= least &&
           view->state->level_count >= JUDGE_MIXUP_READINGS;
}

static void judge_implausible(const struct view *view, size_t i, const struct reading *reading,
                              bool mixed_up) {
    enum quantity quantity = view->judge->fleet->points[view->point].description->quantity;
    double mean;
    if (mixed_up || quantity != QUANTITY_RADON ||
        !judge_mean_24h(view->state, reading->time_ms, &mean))
        step(view, i, mixed_up, !mixed_up, reading->time_ms, reading->value, view->state->level);
    else
        step(view, i, is_below_outdoors(view, mean),
             mean >= radon_least_bq_m3 + radon_deadband_bq_m3, reading->time_ms, mean, NAN);
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
        judge_mean(view, i, reading);
        break;
    case MEASURE_UNCHANGED:
        judge_stuck(view, i, reading);
        break;
    case MEASURE_AGE:
        set_standing(view, i, false, 0, reading->time_ms, NAN, NAN);
        break;
    case MEASURE_EVENT:
        if (rule->condition == CONDITION_SENSOR_IMPLAUSIBLE)
            judge_implausible(view, i, reading, mixed_up);
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
    int64_t span_ms = fleet_covers_ms(view->judge->fleet, view->point);
    if (state->newest_ms != TIMESTAMP_NONE && reading->time_ms - state->newest_ms < span_ms)
        span_ms = reading->time_ms - state->newest_ms;
    struct hour_sink sink = {view->judge, view->point};
    rollup_add(&state->hour, reading, span_ms, hour_closed, &sink);
    state->hour_changed = true;
    if (state->window)
        rollup_window_add(state->window, reading, span_ms);
    rests_learn(state, reading);
    state->unchanged_since_ms = rests_since_ms(
        state, reading, view->judge->fleet->points[view->point].description->every_ms);
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
    bool mixed_up = judge_looks_mixed_up(state, judge->fleet->points[point].description, reading,
                                         baseline_at(state, reading->time_ms));
    take(&view, reading);
    size_t rules = judge->fleet->points[point].rule_count;
    for (size_t i = 0; i < rules; i++)
        judge_rule(&view, i, reading, mixed_up);
}

/* ---- the clock ---- */

/* One odd message is none until another one says the same at the end of the delay; nor is the mean
   of a day in which a sensor that reports once a day was low once. What a person reads counts. */
static bool needs_another(const struct view *view, const struct tracker *tracker,
                          const struct condition_rule *rule) {
    bool by_hand = view->judge->fleet->points[view->point].description->by_hand;
    enum condition_measure measure = condition_info(rule->condition)->measure;
    return tracker->phase == TRACKER_PENDING &&
           (measure == MEASURE_EVENT || (measure == MEASURE_MEAN_24H && !by_hand &&
                                         view->state->newest_ms <= tracker->since_ms));
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
            needs_another(&view, tracker, rule))
            continue;
        int64_t at_ms = time_ms;
        enum tracker_event event =
            tracker_expire(tracker, rule->on_delay_ms, rule->off_delay_ms, time_ms, &at_ms);
        tell(&view, i, event, at_ms, state->newest_value, setpoint_at(&view, rule, at_ms));
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

void judge_due(const struct judge *judge, size_t point, struct point_state *state, int64_t due_ms,
               int64_t now_ms) {
    const struct view view = {judge, point, state};
    size_t i = rule_of(judge, point, CONDITION_READING_DUE);
    bool due = due_ms <= now_ms;
    if (i != FLEET_NONE)
        set_standing(&view, i, due, due_ms, due ? due_ms : now_ms, NAN, NAN);
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
    bool known = state->level_count >= JUDGE_LEVEL_READINGS;
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
