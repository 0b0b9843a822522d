/* year_assessment: which days count, and what they are called. */
#include "judged_house.h"
#include "monitor/year_assessment.h"
#include "settings/change_words.h"

static const int64_t first_day = 20363; /* 2025-10-02 */
static const char house_text[] = "id: house\ntime_zone: America/Denver\npoints:\n"
                                 "  - {id: radon, quantity: radon, unit: Bq/m3, every: 1 h}\n";

/* Before the day of the change one level, another one after; none on silent days. */
struct course {
    double before, change_day, after, silent_from, silent_until;
};

static double value_at(void *context, size_t point, double day) {
    const struct course *course = context;
    (void)point;
    if (day >= course->silent_from && day < course->silent_until)
        return NAN;
    return (day < course->change_day ? course->before : course->after) * (1.0 + 0.1 * sin(day));
}

static struct year_assessment assess(const struct judged_house *house, int64_t day) {
    struct year_assessment found;
    ck_assert(year_assessment_make(house->monitor, &house->history, 0, first_day + day, &found));
    return found;
}

static int64_t since_day(const struct judged_house *house, const struct year_assessment *found) {
    return time_zone_local_day(house->fleet->systems[0].zone, found->since_ms) - first_day;
}

START_TEST(the_days_since_the_last_work_count_at_most_a_year) {
    struct judged_house house;
    struct course course = {400.0, 420.0, 40.0, 0.0, 0.0};
    judged_house_open(&house, house_text, first_day);
    ck_assert(monitor_load_renewal(house.monitor, 0, house.start_ms, CHANGE_UNSAID));
    ck_assert(monitor_load_renewal(house.monitor, 0, house.start_ms + 420 * DURATION_DAY_MS,
                                   CHANGE_PIPING));
    judged_house_live(&house, 450.0, value_at, &course);
    struct year_assessment found = assess(&house, 10);
    ck_assert(!found.known);
    ck_assert_str_eq(found.why, "fewer than 14 well-covered days");
    found = assess(&house, 100);
    ck_assert(found.known);
    ck_assert_int_eq(found.basis, YEAR_BASIS_COMMISSIONING);
    ck_assert_int_eq(since_day(&house, &found), 0);
    found = assess(&house, 410);
    ck_assert_int_eq(found.basis, YEAR_BASIS_WHOLE_YEAR);
    ck_assert_int_eq(since_day(&house, &found), 45);
    ck_assert_int_eq(found.year.quarters_covered, 4);
    ck_assert_double_eq_tol(found.year.mean, 400.0, 4.0);
    /* After the repair what was before it is no part of the house. */
    found = assess(&house, 441);
    ck_assert_int_eq(found.basis, YEAR_BASIS_REPAIR);
    ck_assert_str_eq(year_basis_text(found.basis), "since the repair");
    ck_assert_double_eq_tol(found.year.mean, 40.0, 1.0);
    ck_assert_uint_ge(found.year.days, 19);
    ck_assert_uint_le(found.year.days, 21);
    judged_house_close(&house);
}
END_TEST

START_TEST(without_a_record_all_readings_count_and_gaps_are_unknown) {
    struct judged_house house;
    struct course course = {100.0, 1e9, 100.0, 60.0, 151.0};
    judged_house_open(&house, house_text, first_day);
    judged_house_live(&house, 366.0, value_at, &course);
    struct year_assessment found = assess(&house, 365);
    ck_assert_int_eq(found.basis, YEAR_BASIS_READINGS);
    ck_assert_uint_le(found.year.days, 365 - 90);
    ck_assert_int_eq(found.year.quarters_covered, 2); /* December to February lack */
    judged_house_close(&house);
}
END_TEST

START_TEST(a_room_below_the_air_outdoors_makes_its_monitor_suspect) {
    struct judged_house house;
    struct course course = {2.0, 30.0, 15.0, 0.0, 0.0};
    judged_house_open(&house, house_text, first_day);
    judged_house_live(&house, 100.0, value_at, &course);
    struct year_assessment found = assess(&house, 25);
    ck_assert_ptr_nonnull(year_assessment_caution(&found));
    found = assess(&house, 99);
    ck_assert_ptr_null(year_assessment_caution(&found));
    found = assess(&house, 5);
    ck_assert_ptr_null(year_assessment_caution(&found));
    judged_house_close(&house);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("year_assessment");
    tcase_set_timeout(tcase, 120);
    tcase_add_test(tcase, the_days_since_the_last_work_count_at_most_a_year);
    tcase_add_test(tcase, without_a_record_all_readings_count_and_gaps_are_unknown);
    tcase_add_test(tcase, a_room_below_the_air_outdoors_makes_its_monitor_suspect);
    return run_test_case(tcase);
}
