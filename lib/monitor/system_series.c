#include "monitor/system_series.h"
#include "monitor/renewals.h"

#include "measure/timestamp.h"

#include <math.h>
#include <stdlib.h>

static const double running_share = 0.10; /* of the baseline of suction: below it the fan is off */
static const double curve_density = 1.2;

enum series_column {
    COLUMN_SUCTION,
    COLUMN_FLOW,
    COLUMN_VELOCITY_PRESSURE,
    COLUMN_INDOOR,
    COLUMN_BAROMETER,
    COLUMN_HOLE,
    COLUMN_COUNT
};

/* Daily values of the points side by side. */
struct day_table {
    struct history_day *days[COLUMN_COUNT];
    size_t counts[COLUMN_COUNT], at[COLUMN_COUNT];
};

static const struct point_baseline *baseline_of(const struct system_series_source *source,
                                                size_t point, int64_t known_ms) {
    return point == FLEET_NONE
               ? NULL
               : point_state_baseline(monitor_point(source->monitor, point), known_ms);
}

/* The points that this kind of series needs and that commissioning knew; FLEET_NONE: not used. */
static void choose_points(const struct system_series_source *source, enum system_series_kind kind,
                          int64_t known_ms, size_t chosen[COLUMN_COUNT]) {
    const struct system_points *points = source->points;
    bool air = kind != SYSTEM_SERIES_COUPLING;
    chosen[COLUMN_SUCTION] = points->suction;
    chosen[COLUMN_FLOW] = air ? points->flow : FLEET_NONE;
    chosen[COLUMN_VELOCITY_PRESSURE] = air ? points->velocity_pressure : FLEET_NONE;
    chosen[COLUMN_INDOOR] = air ? points->indoor : FLEET_NONE;
    chosen[COLUMN_BAROMETER] = air ? points->barometer : FLEET_NONE;
    chosen[COLUMN_HOLE] = air ? FLEET_NONE : source->hole;
    for (size_t i = 0; i < COLUMN_COUNT; i++) {
        if (!baseline_of(source, chosen[i], known_ms))
            chosen[i] = FLEET_NONE;
    }
    if (chosen[COLUMN_FLOW] != FLEET_NONE)
        chosen[COLUMN_VELOCITY_PRESSURE] = FLEET_NONE;
}

static bool are_enough(const size_t chosen[COLUMN_COUNT]) {
    return chosen[COLUMN_SUCTION] != FLEET_NONE &&
           (chosen[COLUMN_FLOW] != FLEET_NONE || chosen[COLUMN_VELOCITY_PRESSURE] != FLEET_NONE ||
            chosen[COLUMN_HOLE] != FLEET_NONE);
}

/* Since all of them are one series, so that no day is held against another installation. */
static int64_t first_day(const struct system_series_source *source,
                         const size_t chosen[COLUMN_COUNT], int64_t known_ms) {
    const struct time_zone *zone =
        monitor_fleet(source->monitor)->systems[source->points->system].zone;
    int64_t from_ms = TIMESTAMP_NONE;
    for (size_t i = 0; i < COLUMN_COUNT; i++) {
        int64_t begun_ms = chosen[i] == FLEET_NONE
                               ? TIMESTAMP_NONE
                               : renewals_series_ms(source->monitor, chosen[i], known_ms);
        if (begun_ms != TIMESTAMP_NONE && (from_ms == TIMESTAMP_NONE || begun_ms > from_ms))
            from_ms = begun_ms;
    }
    return assessment_first_day(zone, from_ms, known_ms);
}

static bool read_table(const struct system_series_source *source, const size_t chosen[COLUMN_COUNT],
                       int64_t from_day, int64_t to_day, struct day_table *table) {
    for (size_t i = 0; i < COLUMN_COUNT; i++) {
        if (chosen[i] != FLEET_NONE &&
            !history_all_days(source->history, chosen[i], from_day, to_day, &table->days[i],
                              &table->counts[i]))
            return false;
    }
    return true;
}

static double median_on(struct day_table *table, enum series_column column, int64_t local_day) {
    size_t *at = &table->at[column];
    while (*at < table->counts[column] && table->days[column][*at].local_day < local_day)
        (*at)++;
    return *at < table->counts[column] && table->days[column][*at].local_day == local_day
               ? table->days[column][*at].median
               : NAN;
}

/* ---- one day ---- */

struct speed_law {
    bool has_curve;
    struct fan_curve curve;
    double speed_then, loss_after_gauge;
    struct fan_state then;
};

static struct fan_state state_of(const struct system_state_of_air *air) {
    return (struct fan_state){air->suction_pa, air->flow_m3_s, NAN,
                              air->density_kg_m3 / curve_density};
}

static struct speed_law speed_law_of(const struct system_series_source *source, int64_t known_ms) {
    const struct fleet *fleet = monitor_fleet(source->monitor);
    struct speed_law law = {.then = state_of(source->then)};
    bool is_told = system_assessment_curve(source->monitor, source->points, known_ms, &law.curve);
    law.loss_after_gauge =
        fan_loss_after_gauge(system_points_branch(fleet, source->points)->loss_after_gauge,
                             is_told ? &law.curve : NULL, &law.then);
    law.has_curve =
        is_told &&
        fan_speed(&law.curve, &law.then, law.loss_after_gauge, &law.speed_then) == FAN_OK &&
        law.speed_then > 0.0;
    return law;
}

static double speed_ratio(const struct speed_law *law, const struct system_state_of_air *air) {
    struct fan_state now = state_of(air);
    double speed = NAN;
    if (law->has_curve)
        return fan_speed(&law->curve, &now, law->loss_after_gauge, &speed) == FAN_OK
                   ? speed / law->speed_then
                   : NAN;
    return fan_ratio_at_most(&now, &law->then, law->loss_after_gauge, &speed) == FAN_OK ? speed
                                                                                        : NAN;
}

static double resistance_ratio(const struct system_series_source *source, double exponent,
                               const struct system_state_of_air *air) {
    const struct ground_state now = {air->suction_pa, air->flow_m3_s};
    const struct ground_state then = {source->then->suction_pa, source->then->flow_m3_s};
    const struct ground_uncertainty uncertainty = ground_uncertainty_default();
    struct ground_ratio result;
    return ground_resistance_ratio(&now, &then, exponent, &uncertainty, &result) == GROUND_OK
               ? result.ratio
               : NAN;
}

static double coupling_ratio(const struct system_series_source *source, double field_then_pa,
                             double field_pa, double suction_pa) {
    const struct ground_uncertainty uncertainty = ground_uncertainty_default();
    struct ground_ratio result;
    return ground_coupling_ratio(field_pa, suction_pa, field_then_pa, source->then->suction_pa,
                                 &uncertainty, &result) == GROUND_OK
               ? result.ratio
               : NAN;
}

/* ---- all days ---- */

struct day_law {
    const struct system_series_source *source;
    enum system_series_kind kind;
    struct speed_law speed;
    double exponent, field_then_pa;
};

static struct day_law day_law_of(const struct system_series_source *source,
                                 enum system_series_kind kind, int64_t known_ms) {
    struct day_law law = {.source = source, .kind = kind, .exponent = NAN, .field_then_pa = NAN};
    const struct point_baseline *field =
        kind == SYSTEM_SERIES_COUPLING ? baseline_of(source, source->hole, known_ms) : NULL;
    if (kind == SYSTEM_SERIES_SPEED)
        law.speed = speed_law_of(source, known_ms);
    else if (kind == SYSTEM_SERIES_RESISTANCE)
        law.exponent = source->history->ground_exponent(source->history->context,
                                                        source->points->system, known_ms);
    else if (field)
        law.field_then_pa = field->value;
    return law;
}

static double value_on(const struct day_law *law, struct day_table *table, int64_t local_day) {
    const struct system_series_source *source = law->source;
    const struct system_measured measured = {
        .suction_pa = median_on(table, COLUMN_SUCTION, local_day),
        .flow_m3_s = median_on(table, COLUMN_FLOW, local_day),
        .velocity_pressure_pa = median_on(table, COLUMN_VELOCITY_PRESSURE, local_day),
        .power_w = NAN,
        .indoor_celsius = median_on(table, COLUMN_INDOOR, local_day),
        .barometer_pa = median_on(table, COLUMN_BAROMETER, local_day),
    };
    if (!(measured.suction_pa > running_share * source->then->suction_pa))
        return NAN;
    const struct system_state_of_air air =
        system_assessment_air(monitor_fleet(source->monitor), source->points, &measured);
    switch (law->kind) {
    case SYSTEM_SERIES_SPEED:
        return speed_ratio(&law->speed, &air);
    case SYSTEM_SERIES_RESISTANCE:
        return resistance_ratio(source, law->exponent, &air);
    case SYSTEM_SERIES_COUPLING:
        return coupling_ratio(source, law->field_then_pa, median_on(table, COLUMN_HOLE, local_day),
                              air.suction_pa);
    }
    return NAN;
}

/* The days of suction are kept, with the value in the place of the median. */
static size_t fill(const struct day_law *law, struct day_table *table) {
    struct history_day *days = table->days[COLUMN_SUCTION];
    size_t count = table->counts[COLUMN_SUCTION], kept = 0;
    for (size_t i = 0; i < count; i++) {
        struct history_day day = days[i];
        double value = value_on(law, table, day.local_day);
        if (!isfinite(value))
            continue;
        day.median = value;
        days[kept++] = day; /* behind the cursor of its column */
    }
    return kept;
}

bool system_series_read(const struct system_series_source *source, enum system_series_kind kind,
                        int64_t known_ms, int64_t to_day, struct assessment_series *series) {
    struct day_table table = {{NULL}, {0}, {0}};
    size_t chosen[COLUMN_COUNT];
    *series = (struct assessment_series){{0}, NULL};
    if (kind == SYSTEM_SERIES_SPEED &&
        system_assessment_no_speed(source->monitor, source->points, known_ms))
        return true;
    choose_points(source, kind, known_ms, chosen);
    if (!are_enough(chosen))
        return true;
    bool good = read_table(source, chosen, first_day(source, chosen, known_ms), to_day, &table);
    if (good) {
        const struct day_law law = day_law_of(source, kind, known_ms);
        size_t count = fill(&law, &table);
        good = assessment_series_of_days(source->monitor, source->history, source->points->system,
                                         table.days[COLUMN_SUCTION], count, series);
    }
    for (size_t i = 0; i < COLUMN_COUNT; i++)
        free(table.days[i]);
    return good;
}
