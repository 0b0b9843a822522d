/*
 * What is known of a point and of a system at an instant, against sums done here reading by
 * reading, and against the fan and ground laws turned around.
 */
#include "judged_house.h"
#include "monitor/assessment.h"
#include "monitor/system_assessment.h"
#include "monitor/system_diagnosis.h"

static const int64_t first_day = 20363; /* 2025-10-02; 2 November 2025 has 25 hours */

static const char house_text[] =
    "id: house\ntime_zone: America/Denver\npipe: {inside_diameter: 3.068 in}\n"
    "points:\n"
    "  - {id: suction, quantity: suction, unit: Pa, every: 1 h}\n"
    "  - {id: velocity, quantity: velocity-pressure, unit: Pa, every: 1 h}\n"
    "  - {id: radon, quantity: radon, unit: Bq/m3, every: 1 h}\n"
    "  - {id: hole, quantity: field, unit: Pa, every: 1 h}\n";
enum { SUCTION, VELOCITY, RADON, HOLE };

struct course {
    double suction, velocity, radon, hole; /* at commissioning */
    double suction_per_day;                /* share of the start */
    double step_day, step_factor;          /* of suction, hole and velocity pressure */
    struct test_random random;
    double noise;
};

static double value_at(void *context, size_t point, double day) {
    struct course *course = context;
    double noise = 1.0 + course->noise * test_random_normal(&course->random);
    double step = day >= course->step_day ? course->step_factor : 1.0;
    switch (point) {
    case SUCTION:
        return course->suction * (1.0 + course->suction_per_day * day) * step * noise;
    case VELOCITY:
        return course->velocity * step * noise;
    case RADON:
        return course->radon + 20.0 * sin(day) + 5.0 * noise;
    default:
        return course->hole * step * noise;
    }
}

static struct course usual_course(void) {
    return (struct course){300.0, 20.0, 90.0, 6.0, 0.0, 1e9, 1.0, {5}, 0.005};
}

static void open_house(struct judged_house *house, const struct course *course) {
    judged_house_open(house, house_text, first_day);
    const double base[] = {course->suction, course->velocity, NAN, course->hole};
    for (size_t point = 0; point < 4; point++) {
        if (!isnan(base[point]))
            ck_assert(monitor_load_baseline(house->monitor, point, house->start_ms, base[point],
                                            "the installer", false));
    }
}

static void assess(const struct judged_house *house, int64_t now_ms,
                   struct system_assessment *assessment) {
    const struct system_points points = system_points_of(monitor_fleet(house->monitor), 0, 0);
    system_assessment_make(house->monitor, &house->history, &points, now_ms, assessment);
}

/* Mean of hourly readings over [from, to] by the definition: each stands for the hour before it. */
static double direct_mean(struct course course, const struct judged_house *house, int64_t from_ms,
                          int64_t to_ms) {
    double sum = 0.0, covered = 0.0;
    for (int64_t hour = 0; house->start_ms + hour * DURATION_HOUR_MS <= to_ms; hour++) {
        double values[4];
        for (size_t point = 0; point < 4; point++)
            values[point] = value_at(&course, point, (double)hour / 24.0);
        int64_t end_ms = house->start_ms + hour * DURATION_HOUR_MS;
        int64_t begin_ms = end_ms - DURATION_HOUR_MS;
        double span = (double)(end_ms - (begin_ms > from_ms ? begin_ms : from_ms));
        if (span > 0.0) {
            sum += values[RADON] * span;
            covered += span;
        }
    }
    return sum / covered;
}

START_TEST(averages_are_those_of_the_readings) {
    struct judged_house house;
    struct course course = usual_course(), fresh = usual_course();
    struct assessment assessment;
    open_house(&house, &course);
    judged_house_live(&house, 38.54, value_at, &course); /* across the day of 25 hours */
    int64_t now_ms = monitor_point(house.monitor, RADON)->newest_ms;
    ck_assert(assessment_make(house.monitor, &house.history, RADON, now_ms, &assessment));
    for (size_t w = 0; w < 3; w++) {
        const struct assessment_average *found = &assessment.averages[w];
        ck_assert(found->has_mean);
        ck_assert_double_eq_tol(found->average.mean,
                                direct_mean(fresh, &house, found->from_ms, now_ms), 1e-6);
        ck_assert_double_eq_tol(found->average.coverage, 1.0, 1e-9);
        ck_assert(found->judges_action);
    }
    ck_assert(!assessment.averages[0].average.has_uncertainty); /* one day has no spread */
    ck_assert(assessment.averages[2].average.has_uncertainty);
    /* The window since commissioning is that of all readings. */
    const struct assessment_average *since = &assessment.averages[5];
    ck_assert_str_eq(since->window, "since commissioning");
    ck_assert_int_eq(since->from_ms, house.start_ms);
    ck_assert_double_eq_tol(since->average.mean, direct_mean(fresh, &house, house.start_ms, now_ms),
                            1e-6);
    /* 91 days are not covered yet. */
    ck_assert(assessment.averages[3].has_mean);
    ck_assert_ptr_nonnull(assessment.averages[3].why);
    ck_assert_double_lt(assessment.averages[3].average.coverage, 0.75);
    judged_house_close(&house);
}
END_TEST

START_TEST(a_trend_names_limit_and_date) {
    struct judged_house house;
    struct course course = usual_course();
    struct assessment assessment;
    course.suction_per_day = -0.002; /* 70 % after 150 days */
    open_house(&house, &course);
    judged_house_live(&house, 29.0, value_at, &course);
    int64_t now_ms = house.start_ms + 29 * DURATION_DAY_MS;
    ck_assert(assessment_make(house.monitor, &house.history, SUCTION, now_ms, &assessment));
    ck_assert(!assessment.trend.known);
    ck_assert_str_eq(assessment.trend.why, trend_why(TREND_TOO_SHORT));
    judged_house_live(&house, 100.0, value_at, &course);
    now_ms = house.start_ms + 100 * DURATION_DAY_MS;
    ck_assert(assessment_make(house.monitor, &house.history, SUCTION, now_ms, &assessment));
    ck_assert(assessment.trend.known && assessment.trend_recent.known);
    ck_assert_double_eq_tol(assessment.trend.trend.per_year, -0.6 * 365.2425, 4.0);
    ck_assert_double_eq_tol(assessment.trend.crossing.limit, 210.0, 1e-9);
    double day = (double)(assessment.trend.date_ms - house.start_ms) / DURATION_DAY_MS;
    ck_assert_msg(fabs(day - 150.0) < 4.0, "crosses on day %.1f", day);
    ck_assert_int_lt(assessment.trend.earliest_ms, assessment.trend.date_ms);
    ck_assert_int_gt(assessment.trend.latest_ms, assessment.trend.date_ms);
    /* The radon monitor has no low limit. */
    ck_assert(assessment_make(house.monitor, &house.history, RADON, now_ms, &assessment));
    ck_assert(!assessment.trend.has_limit);
    judged_house_close(&house);
}
END_TEST

/* 10 % in 100 days: a season of 10 % can do that, up to 0.2 sin(pi 100 / 365) or 15 %. */
START_TEST(a_trend_that_a_season_can_make_is_not_told) {
    struct judged_house house;
    struct course course = usual_course();
    struct assessment assessment;
    course.suction_per_day = -0.001;
    open_house(&house, &course);
    judged_house_live(&house, 100.0, value_at, &course);
    int64_t now_ms = house.start_ms + 100 * DURATION_DAY_MS;
    ck_assert(assessment_make(house.monitor, &house.history, SUCTION, now_ms, &assessment));
    ck_assert(!assessment.trend.known && !assessment.trend_recent.known);
    ck_assert_ptr_nonnull(strstr(assessment.trend.why, "season"));
    judged_house_live(&house, 370.0, value_at, &course);
    now_ms = house.start_ms + 370 * DURATION_DAY_MS;
    ck_assert(assessment_make(house.monitor, &house.history, SUCTION, now_ms, &assessment));
    ck_assert(assessment.trend.known);
    ck_assert_double_eq_tol(assessment.trend.trend.per_year, -0.3 * 365.2425, 2.0);
    judged_house_close(&house);
}
END_TEST

START_TEST(a_step_is_dated) {
    struct judged_house house;
    struct course course = usual_course();
    struct assessment assessment;
    course.step_day = 60.0;
    course.step_factor = 0.8;
    open_house(&house, &course);
    judged_house_live(&house, 50.0, value_at, &course);
    int64_t now_ms = house.start_ms + 50 * DURATION_DAY_MS;
    ck_assert(assessment_make(house.monitor, &house.history, SUCTION, now_ms, &assessment));
    ck_assert_int_eq(assessment.changed_ms, TIMESTAMP_NONE);
    judged_house_live(&house, 100.0, value_at, &course);
    now_ms = house.start_ms + 100 * DURATION_DAY_MS;
    ck_assert(assessment_make(house.monitor, &house.history, SUCTION, now_ms, &assessment));
    double day = (double)(assessment.changed_ms - house.start_ms) / DURATION_DAY_MS;
    ck_assert_msg(fabs(day - 60.0) < 1.5, "stepped on day %.1f", day);
    ck_assert_double_eq_tol(assessment.level_before, 300.0, 2.0);
    ck_assert_double_eq_tol(assessment.level_after, 240.0, 2.0);
    judged_house_close(&house);
}
END_TEST

START_TEST(flow_from_velocity_pressure_tells_fan_and_ground) {
    struct judged_house house;
    struct course course = usual_course();
    struct system_assessment assessment;
    course.step_day = 20.0;
    course.step_factor = 0.64; /* suction and velocity pressure as speed 0.8 squared, n = 2 */
    open_house(&house, &course);
    history_memory_set_exponent(house.memory, 0, house.start_ms, 2.0);
    judged_house_live(&house, 40.0, value_at, &course);
    assess(&house, house.start_ms + 40 * DURATION_DAY_MS, &assessment);
    ck_assert(assessment.fan.known);
    ck_assert_int_eq(assessment.fan.speed.method, FAN_METHOD_BOUNDS);
    ck_assert_double_eq_tol(assessment.fan.speed.ratio, 0.8, 0.005);
    ck_assert(assessment.ground.known && assessment.ground.exponent_known);
    ck_assert_double_eq_tol(assessment.ground.resistance.ratio, 1.0, 0.01);
    ck_assert_uint_eq(assessment.hole_count, 1);
    ck_assert(assessment.holes[0].known);
    ck_assert_double_eq_tol(assessment.holes[0].coupling.ratio, 1.0, 0.01);
    judged_house_close(&house);
}
END_TEST

START_TEST(sensors_that_disagree_with_the_record_are_less_sure) {
    struct system_assessment near, far;
    double width[2];
    for (int i = 0; i < 2; i++) {
        struct judged_house house;
        struct course course = usual_course();
        open_house(&house, &course);
        if (i == 1) /* the installer's own gauge read 8 % less than the one that stays */
            course.suction *= 1.08;
        judged_house_live(&house, 20.0, value_at, &course);
        assess(&house, house.start_ms + 20 * DURATION_DAY_MS, i ? &far : &near);
        const struct fan_speed_ratio *speed = &(i ? &far : &near)->fan.speed;
        width[i] = speed->upper - speed->lower;
        judged_house_close(&house);
    }
    ck_assert(near.fan.known && far.fan.known);
    ck_assert_msg(width[1] > 1.5 * width[0], "%.3f and %.3f", width[0], width[1]);
}
END_TEST

/* The installer's gauge read 5 % less than the one that stays: the same air, so the ratio is 1, and
   as sure as with one instrument. */
START_TEST(the_error_of_the_installers_instrument_drops_out) {
    double width[2];
    for (int i = 0; i < 2; i++) {
        struct judged_house house;
        struct course course = usual_course();
        struct system_assessment assessment;
        open_house(&house, &course);
        if (i == 1)
            course.suction *= 1.05;
        course.step_day = 20.0;
        course.step_factor = 0.81;
        history_memory_set_exponent(house.memory, 0, house.start_ms, 2.0);
        judged_house_live(&house, 40.0, value_at, &course);
        assess(&house, house.start_ms + 40 * DURATION_DAY_MS, &assessment);
        ck_assert(assessment.fan.known && assessment.ground.known);
        ck_assert_double_eq_tol(assessment.fan.speed.ratio, 0.9, 0.005);
        ck_assert_double_eq_tol(assessment.ground.resistance.ratio, 1.0, 0.01);
        width[i] = assessment.fan.speed.upper - assessment.fan.speed.lower;
        judged_house_close(&house);
    }
    ck_assert_double_eq_tol(width[1], width[0], 0.1 * width[0]);
}
END_TEST

/* Suction is held, so a leak is more flow and more power: the ground says so, the fan says nothing.
 */
START_TEST(the_speed_of_a_controlled_fan_is_no_claim) { /* _i: 0 constant-pressure, 1 schedule */
    static const char *const fans[] = {"fan: {control: constant-pressure}\n",
                                       "fan: {control: schedule, longest_stop: 8 h}\n"};
    static const char *const why[] = {"holds its suction", "by plan"};
    char text[600];
    snprintf(text, sizeof text, "%s%s", fans[_i], house_text);
    struct judged_house house;
    struct course course = usual_course();
    struct system_assessment assessment;
    judged_house_open(&house, text, first_day);
    ck_assert(monitor_load_baseline(house.monitor, SUCTION, house.start_ms, 300.0, "x", false));
    ck_assert(monitor_load_baseline(house.monitor, VELOCITY, house.start_ms, 20.0, "x", false));
    course.velocity = 45.0; /* flow 1.5 times */
    judged_house_live(&house, 20.0, value_at, &course);
    assess(&house, house.start_ms + 20 * DURATION_DAY_MS, &assessment);
    ck_assert(!assessment.fan.known);
    ck_assert_ptr_nonnull(strstr(assessment.fan.why, why[_i]));
    ck_assert(assessment.ground.known);
    ck_assert_double_eq_tol(assessment.ground.at_one, 1.0 / 1.5, 0.01);
    ck_assert_ptr_null(judged_house_raised(&house, CONDITION_FAN_WEAK));
    judged_house_close(&house);
}
END_TEST

static double held_at(void *context, size_t point, double day) {
    const double *change = context; /* of flow, and power with it */
    double factor = day < 12.0 ? 1.0 : *change,
           noise = 1.0 + 0.003 * sin(70.0 * day + (double)point);
    return (point == 0 ? 200.0 : point == 1 ? 0.02 * factor : 30.0 * pow(factor, 0.8)) * noise;
}

/* A fan that holds its suction moves more air through a leak and less through a blockage; how fast
   it turns is no evidence. */
START_TEST(a_held_suction_tells_a_leak_from_a_blockage) { /* _i: 0 leak, 1 blockage */
    /* water under the slab closes the way, too, and nobody measures it here */
    static const enum diagnosis_cause causes[][2] = {{CAUSE_LEAK, CAUSE_LEAK},
                                                     {CAUSE_BLOCKED_BEFORE, CAUSE_WATER_HIGH}};
    struct judged_house house;
    struct diagnosis diagnosis;
    double change = _i == 0 ? 1.6 : 0.45;
    judged_house_open(&house,
                      "id: house\nfan: {control: constant-pressure}\npoints:\n"
                      "  - {id: suction, quantity: suction, unit: Pa, every: 1 h}\n"
                      "  - {id: flow, quantity: airflow, unit: m3/s, every: 1 h}\n"
                      "  - {id: power, quantity: fan-power, unit: W, every: 1 h}\n",
                      first_day);
    const double base[] = {200.0, 0.02, 30.0};
    for (size_t point = 0; point < 3; point++)
        ck_assert(monitor_load_baseline(house.monitor, point, house.start_ms, base[point],
                                        "the installer", false));
    judged_house_live(&house, 24.0, held_at, &change);
    struct alarm alarm = {.system = 0,
                          .point = ALARM_NO_INDEX,
                          .condition = CONDITION_GROUND_CHANGED,
                          .since_ms = house.start_ms + 16 * DURATION_DAY_MS,
                          .returned_ms = TIMESTAMP_NONE};
    ck_assert(system_diagnosis_make(house.monitor, &house.history, &alarm,
                                    house.start_ms + 24 * DURATION_DAY_MS, &diagnosis));
    ck_assert_msg(diagnosis.cause == causes[_i][0] || diagnosis.cause == causes[_i][1], "%s, %.2f",
                  diagnosis_cause_word(diagnosis.cause), diagnosis.confidence);
    for (size_t i = 0; i < diagnosis.evidence_count; i++)
        ck_assert_int_ne(diagnosis.evidence[i].kind, FACT_SPEED);
    judged_house_close(&house);
}
END_TEST

/* Of commissioning, as the fact is told. */
static double share_of(const struct diagnosis_fact *fact) {
    ck_assert_int_eq(fact->kind, FACT_RATIO);
    return fact->values[0] / fact->values[1];
}

static double of_two_risers(void *context, size_t point, double day) {
    const double *low = context;
    double noise = 1.0 + 0.005 * sin(70.0 * day + (double)point);
    return (point == 0 ? 250.0 : day < 10.0 ? 180.0 : *low) * noise;
}

START_TEST(of_two_risers_the_one_with_the_alarm_is_explained) {
    struct judged_house house;
    struct diagnosis diagnosis;
    double low = 90.0;
    judged_house_open(&house,
                      "id: house\npoints:\n"
                      "  - {id: north, quantity: suction, unit: Pa, every: 1 h}\n"
                      "  - {id: south, quantity: suction, unit: Pa, every: 1 h}\n",
                      first_day);
    for (size_t point = 0; point < 2; point++)
        ck_assert(monitor_load_baseline(house.monitor, point, house.start_ms,
                                        point == 0 ? 250.0 : 180.0, "the installer", false));
    judged_house_live(&house, 12.0, of_two_risers, &low);
    struct alarm alarm = {.system = 0, .condition = CONDITION_SUCTION_LOW};
    alarm.since_ms = house.start_ms + 10 * DURATION_DAY_MS;
    alarm.returned_ms = TIMESTAMP_NONE;
    for (alarm.point = 0; alarm.point < 2; alarm.point++) {
        ck_assert(system_diagnosis_make(house.monitor, &house.history, &alarm,
                                        house.start_ms + 12 * DURATION_DAY_MS, &diagnosis));
        ck_assert((diagnosis.cause == CAUSE_NONE) == (alarm.point == 0));
        if (alarm.point)
            ck_assert_double_eq_tol(share_of(&diagnosis.evidence[0]), 0.5, 0.01);
    }
    judged_house_close(&house);
}
END_TEST

START_TEST(what_is_missing_says_why) {
    struct judged_house house;
    struct course course = usual_course();
    struct system_assessment assessment;
    judged_house_open(&house, house_text, first_day);
    assess(&house, house.start_ms, &assessment);
    ck_assert(!assessment.fan.known && !assessment.ground.known && !assessment.holes[0].known);
    ck_assert_str_eq(assessment.fan.why, "no commissioning value of flow or fan power");
    judged_house_close(&house);
    open_house(&house, &course);
    assess(&house, house.start_ms + DURATION_DAY_MS, &assessment);
    ck_assert_str_eq(assessment.fan.why,
                     "too few readings of flow or fan power in the last 7 days");
    judged_house_close(&house);
}
END_TEST

START_TEST(a_worn_fan_is_named_with_numbers) {
    struct judged_house house;
    struct course course = usual_course();
    struct diagnosis diagnosis;
    course.step_day = 20.0;
    course.step_factor = 0.5;
    open_house(&house, &course);
    judged_house_live(&house, 24.0, value_at, &course);
    struct alarm alarm = {.system = 0,
                          .point = SUCTION,
                          .condition = CONDITION_SUCTION_LOW,
                          .since_ms = house.start_ms + 20 * DURATION_DAY_MS,
                          .returned_ms = TIMESTAMP_NONE};
    int64_t now_ms = house.start_ms + 24 * DURATION_DAY_MS;
    ck_assert(system_diagnosis_make(house.monitor, &house.history, &alarm, now_ms, &diagnosis));
    ck_assert_int_eq(diagnosis.cause, CAUSE_FAN_WORN);
    ck_assert_uint_gt(diagnosis.evidence_count, 0);
    ck_assert_double_eq_tol(share_of(&diagnosis.evidence[0]), 0.5, 0.01);
    alarm.condition = CONDITION_SENSOR_SILENT;
    ck_assert(!system_diagnosis_make(house.monitor, &house.history, &alarm, now_ms, &diagnosis));
    judged_house_close(&house);
}
END_TEST

/* The cheap look must never miss what the fit finds, and must spare most of the fits. */
START_TEST(the_look_before_the_fit_misses_nothing) {
    enum { DAYS = 400, RUNS = 1500 };
    static double days[DAYS], values[DAYS], outdoors[DAYS];
    struct test_random random = {test_seed()};
    size_t reached = 0, spared = 0;
    for (int run = 0; run < RUNS; run++) {
        size_t n = 30 + (size_t)(test_random_unit(&random) * (DAYS - 30));
        double slope = -0.3 * test_random_unit(&random) / 100.0,
               within = 30.0 + (double)(run % 300);
        for (size_t i = 0; i < n; i++) {
            days[i] = (double)i + 0.5;
            outdoors[i] = 10.0 + 10.0 * sin((double)i / 58.0) + test_random_normal(&random);
            values[i] =
                1.0 + slope * days[i] - 0.002 * outdoors[i] + 0.02 * test_random_normal(&random);
        }
        const struct trend_series series = {n, days, values, NULL, run % 2 ? outdoors : NULL, NULL};
        struct trend trend;
        struct trend_crossing crossing;
        bool may = trend_may_reach(&series, (double)n, 0.7, TREND_LOW_LIMIT, within);
        ck_assert_int_eq(trend_fit(&series, 0.95, &trend), TREND_OK);
        enum trend_crossing_status status =
            trend_cross(&trend, (double)n, 0.7, TREND_LOW_LIMIT, &crossing);
        bool reaches = status == TREND_BEYOND_ALREADY ||
                       (status == TREND_CROSSES && crossing.day - (double)n <= within);
        ck_assert_msg(may || !reaches, "run %d: the look missed it", run);
        reached += reaches;
        spared += !may && !reaches;
    }
    ck_assert_uint_gt(reached, RUNS / 10);
    ck_assert_uint_gt(spared, (RUNS - reached) * 9 / 10);
}
END_TEST

static double twice_a_year(void *context, size_t point, double day) {
    int *readings = context;
    (void)point;
    if (fabs(day - 10.0 - 183.0 * *readings) > 1e-6)
        return NAN;
    return 300.0 - 8.0 * (*readings)++;
}

/* Six falling values: S = -15, 2 of 720 orders (Kendall; Gilbert 1987, table A18). */
START_TEST(what_is_read_by_hand_has_a_trend_and_no_mean) {
    struct judged_house house;
    struct assessment assessment;
    int readings = 0;
    judged_house_open(&house,
                      "id: house\ntime_zone: America/Denver\npoints:\n"
                      "  - {id: tube, quantity: suction, unit: Pa, by: hand}\n",
                      first_day);
    ck_assert(
        monitor_load_baseline(house.monitor, 0, house.start_ms, 300.0, "the installer", false));
    judged_house_live(&house, 800.0, twice_a_year, &readings);
    ck_assert_int_eq(readings, 5);
    int64_t now_ms = house.start_ms + 800 * DURATION_DAY_MS;
    ck_assert(assessment_make(house.monitor, &house.history, 0, now_ms, &assessment));
    ck_assert(!assessment.trend.known);
    ck_assert_str_eq(assessment.trend.why, "a trend needs at least 6 readings by hand");
    judged_house_live(&house, 930.0, twice_a_year, &readings);
    now_ms = house.start_ms + 930 * DURATION_DAY_MS;
    ck_assert(assessment_make(house.monitor, &house.history, 0, now_ms, &assessment));
    ck_assert(assessment.trend.known);
    ck_assert_uint_eq(assessment.trend.trend.n, 6);
    ck_assert_double_eq_tol(assessment.trend.trend.p_value, 2.0 / 720.0, 1e-12);
    ck_assert_double_eq_tol(assessment.trend.trend.per_year, -8.0 * 365.2425 / 183.0, 0.05);
    ck_assert_int_eq(assessment.trend.crossing_status, TREND_CROSSES); /* 210 Pa, in 3.5 years */
    for (size_t w = 0; w < ASSESSMENT_WINDOWS; w++) {
        ck_assert(!assessment.averages[w].has_mean);
        ck_assert(strncmp(assessment.averages[w].why, "read by hand", 12) == 0);
    }
    judged_house_close(&house);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("assessment");
    tcase_set_timeout(tcase, 120);
    tcase_add_test(tcase, averages_are_those_of_the_readings);
    tcase_add_test(tcase, a_trend_names_limit_and_date);
    tcase_add_test(tcase, what_is_read_by_hand_has_a_trend_and_no_mean);
    tcase_add_test(tcase, a_trend_that_a_season_can_make_is_not_told);
    tcase_add_test(tcase, a_step_is_dated);
    tcase_add_test(tcase, flow_from_velocity_pressure_tells_fan_and_ground);
    tcase_add_test(tcase, sensors_that_disagree_with_the_record_are_less_sure);
    tcase_add_test(tcase, the_error_of_the_installers_instrument_drops_out);
    tcase_add_loop_test(tcase, the_speed_of_a_controlled_fan_is_no_claim, 0, 2);
    tcase_add_loop_test(tcase, a_held_suction_tells_a_leak_from_a_blockage, 0, 2);
    tcase_add_test(tcase, of_two_risers_the_one_with_the_alarm_is_explained);
    tcase_add_test(tcase, what_is_missing_says_why);
    tcase_add_test(tcase, a_worn_fan_is_named_with_numbers);
    tcase_add_test(tcase, the_look_before_the_fit_misses_nothing);
    return run_test_case(tcase);
}
