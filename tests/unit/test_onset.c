/* How a change came, from daily medians written out by hand. */
#include "measure/duration.h"
#include "monitor/onset.h"
#include "test_support.h"

#include <math.h>

enum { DAYS = 800 };

struct course {
    double medians[DAYS]; /* NaN: no day */
};

static size_t no_hours(void *context, size_t point, int64_t from_ms, int64_t to_ms,
                       struct average_bucket *hours, size_t capacity) {
    (void)context, (void)point, (void)from_ms, (void)to_ms, (void)hours, (void)capacity;
    return 0;
}

static size_t days_of(void *context, size_t point, int64_t from_day, int64_t to_day,
                      struct history_day *days, size_t capacity) {
    const struct course *course = context;
    size_t count = 0;
    (void)point;
    for (int64_t day = from_day < 0 ? 0 : from_day; day < to_day && day < DAYS; day++) {
        if (isnan(course->medians[day]) || count == capacity)
            continue;
        days[count++] = (struct history_day){.local_day = day,
                                             .start_ms = day * DURATION_DAY_MS,
                                             .end_ms = (day + 1) * DURATION_DAY_MS,
                                             .median = course->medians[day]};
    }
    return count;
}

static struct course course;
static struct time_zone *zone;
static struct history history;

static void set_up(void) {
    zone = time_zone_create_utc();
    history = (struct history){.context = &course, .hours = no_hours, .days = days_of};
    for (int day = 0; day < DAYS; day++)
        course.medians[day] = 100.0 + 2.0 * (day % 3 - 1); /* 98, 100, 102 */
}

static void tear_down(void) {
    time_zone_destroy(zone);
}

static struct onset_question ask(int64_t day, double value) {
    return (struct onset_question){.history = &history,
                                   .zone = zone,
                                   .baseline_ms = 0,
                                   .baseline = 104.0,
                                   .value = value,
                                   .since_ms = day * DURATION_DAY_MS,
                                   .now_ms = day * DURATION_DAY_MS + DURATION_DAY_MS / 4};
}

START_TEST(a_step_is_compared_with_the_days_before_it) {
    for (int day = 150; day < DAYS; day++)
        course.medians[day] *= 1.2; /* a season, long before */
    const struct onset_question question = ask(200, 60.0);
    struct onset onset = onset_find(&question);
    ck_assert(onset.sudden);
    ck_assert(onset.span_days < 2.0);
    ck_assert_int_ge(onset.from_day, 185);
    ck_assert_int_le(onset.to_day, 200);
    struct onset_level level = onset_level_before(&history, 0, &onset);
    ck_assert_double_eq_tol(level.value, 120.0, 2.5);
    ck_assert_double_eq_tol(level.scatter, 1.4826 * 2.4, 0.01); /* of -2.4, 0, 2.4 */
}
END_TEST

START_TEST(what_creeps_is_compared_with_the_first_days) {
    for (int day = 100; day < DAYS; day++)
        course.medians[day] *= fmax(1.0 - 0.004 * (day - 100), 0.3);
    const struct onset_question question = ask(200, 60.0);
    struct onset onset = onset_find(&question);
    ck_assert(!onset.sudden);
    ck_assert_double_eq_tol(onset.span_days, 60.0, 10.0); /* from 92 to 68 at 0.4 a day */
    ck_assert_int_eq(onset.from_day, 1);
    ck_assert_double_eq_tol(onset_level_before(&history, 0, &onset).value, 100.0, 0.1);
}
END_TEST

/* From 100 down to 40 and, after one good day, up to 63: the step that came at once goes up and is
   not the change that is asked about. */
START_TEST(a_step_back_is_no_sudden_fall) {
    for (int day = 100; day < DAYS; day++)
        course.medians[day] = day < 189 ? 40.0 : day > 189 ? 63.0 : 82.0;
    const struct onset_question question = ask(199, 63.0);
    struct onset onset = onset_find(&question);
    ck_assert(!onset.sudden);
    ck_assert_double_eq_tol(onset_level_before(&history, 0, &onset).value, 100.0, 0.1);
}
END_TEST

/* A tube that is read by hand twice a year: 100 and now 10; how the fall came nobody saw. */
START_TEST(what_came_while_nobody_looked_has_no_span) {
    for (int day = 0; day < DAYS; day++)
        if (day != 5 && day != 20)
            course.medians[day] = NAN;
    const struct onset_question question = ask(200, 10.0);
    ck_assert(isnan(onset_find(&question).span_days));
}
END_TEST

START_TEST(without_days_nothing_is_known) {
    for (int day = 0; day < DAYS; day++)
        course.medians[day] = NAN;
    const struct onset_question question = ask(200, 60.0);
    struct onset onset = onset_find(&question);
    ck_assert(!onset.sudden);
    ck_assert(isnan(onset.span_days));
    ck_assert(isnan(onset_level_before(&history, 0, &onset).value));
}
END_TEST

/* Days count from 1970: day 466 is 12 April 1971; in April 1970 (day 90 to 119) it was as high. */
START_TEST(a_season_comes_again) {
    const struct onset_question question = ask(466, 150.0);
    ck_assert_int_eq(onset_month_last_year(&question, 100.0), 0);
    for (int day = 95; day < 120; day++)
        course.medians[day] = 145.0;
    ck_assert_int_eq(onset_month_last_year(&question, 100.0), 4);
    for (int day = 95; day < 400; day++) /* it stayed: no season */
        course.medians[day] = 145.0;
    ck_assert_int_eq(onset_month_last_year(&question, 100.0), 0);
}
END_TEST

/* Radon passes its middle, sqrt(100 * 300), on day 300; the air changed at once long before, or
 * then. */
START_TEST(what_changed_with_radon_is_told_by_the_days_before_its_rise) {
    const struct onset long_ago = {true, 1.0, 32, 40}, then = {true, 1.0, 290, 298};
    for (int day = 270; day < DAYS; day++)
        course.medians[day] *= fmin(1.0 + (day - 270) / 30.0, 3.0);
    const struct onset_question question = ask(400, 300.0);
    struct onset onset = onset_before_rise(&question, &long_ago);
    ck_assert(!onset.sudden);
    ck_assert_int_ge(onset.from_day, 240);
    ck_assert_int_le(onset.to_day, 270); /* before it began */
    ck_assert_double_eq_tol(onset_level_before(&history, 0, &onset).value, 100.0, 0.1);
    ck_assert_int_eq(onset_before_rise(&question, &then).to_day, 298);
    const struct onset_question little = ask(400, 140.0);
    ck_assert_int_eq(onset_before_rise(&little, &long_ago).to_day, 40);
}
END_TEST

/* It rose in the first weeks: no days lie between the record and the rise. */
START_TEST(radon_that_rose_at_once_is_held_against_the_record) {
    const struct onset air = {false, NAN, 1, 15};
    for (int day = 20; day < DAYS; day++)
        course.medians[day] *= 3.0;
    const struct onset_question question = ask(60, 300.0);
    ck_assert_int_eq(onset_before_rise(&question, &air).to_day, 15);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("onset");
    tcase_add_checked_fixture(tcase, set_up, tear_down);
    tcase_add_test(tcase, a_step_is_compared_with_the_days_before_it);
    tcase_add_test(tcase, what_creeps_is_compared_with_the_first_days);
    tcase_add_test(tcase, a_step_back_is_no_sudden_fall);
    tcase_add_test(tcase, what_came_while_nobody_looked_has_no_span);
    tcase_add_test(tcase, without_days_nothing_is_known);
    tcase_add_test(tcase, a_season_comes_again);
    tcase_add_test(tcase, what_changed_with_radon_is_told_by_the_days_before_its_rise);
    tcase_add_test(tcase, radon_that_rose_at_once_is_held_against_the_record);
    return run_test_case(tcase);
}
