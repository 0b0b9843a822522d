/* Shares that still work: what is seen late, gaps, ages nobody has, and the edges. Published values
   are in tests/reference. */
#include "analysis/survival.h"
#include "test_support.h"

#include <math.h>

START_TEST(what_is_seen_late_is_no_survivor_of_before) {
    /* One seen from its first day fails at 1; nine are first seen at 5 and work on at 6. */
    struct survival_life lives[12] = {{0, 1, true}, {0, 6, false}};
    struct survival result;
    for (size_t i = 2; i < 11; i++)
        lives[i] = (struct survival_life){5, 6, false};
    ck_assert_int_eq(survival_sort(lives, 11), SURVIVAL_OK);
    ck_assert_int_eq(survival_at(lives, 11, 5.5, &result), SURVIVAL_OK);
    ck_assert_double_eq(result.share, 0.5); /* not 10 of 11 */
    ck_assert_uint_eq(result.at_risk, 10);
    ck_assert_double_lt(result.lower, 0.1);
    ck_assert_double_gt(result.upper, 0.8);
}
END_TEST

START_TEST(nothing_is_said_where_nobody_was_seen) {
    struct survival_life gap[] = {{0, 2, false}, {3, 9, false}}, late[] = {{4, 5, false}};
    struct survival result = {.share = 42.0};
    ck_assert_int_eq(survival_at(gap, 2, 2.0, &result), SURVIVAL_OK);
    ck_assert_int_eq(survival_at(gap, 2, 2.5, &result), SURVIVAL_TOO_YOUNG);
    ck_assert_int_eq(survival_at(gap, 2, 5.0, &result), SURVIVAL_TOO_YOUNG);
    ck_assert_int_eq(survival_at(gap, 2, 10.0, &result), SURVIVAL_TOO_YOUNG);
    ck_assert_int_eq(survival_at(late, 1, 4.5, &result), SURVIVAL_TOO_YOUNG);
    ck_assert_int_eq(survival_at(NULL, 0, 1.0, &result), SURVIVAL_TOO_YOUNG);
    ck_assert_double_eq(result.share, 1.0);
    ck_assert_ptr_nonnull(survival_why(SURVIVAL_TOO_YOUNG));
    ck_assert_ptr_null(survival_why(SURVIVAL_OK));
}
END_TEST

START_TEST(all_that_failed_leaves_none_and_an_upper_end) {
    struct survival_life lives[] = {{0, 1, true}, {0, 1, true}, {0, 1, true}};
    struct survival result;
    ck_assert_int_eq(survival_at(lives, 3, 1.0, &result), SURVIVAL_OK);
    ck_assert_double_eq(result.share, 0.0);
    ck_assert_double_eq(result.lower, 0.0);
    ck_assert_double_eq_tol(result.upper, 1.0 - cbrt(0.025), 1e-12);
    ck_assert_int_eq(survival_at(lives, 3, 0.0, &result), SURVIVAL_OK);
    ck_assert_double_eq(result.share, 1.0);
}
END_TEST

/* Of those that work at 2, what happens up to 3: by hand, one of four fails. Where none fails the
   end is the exact one of 0 of n (Clopper, Pearson 1934), near 3.69 / n as ln 0.025 = -3.69; the
   rule of three is its one-sided kin (Hanley, Lippman-Hand, JAMA 249 (1983) 1743). */
START_TEST(what_happens_from_an_age_on_leaves_out_what_was_before) {
    struct survival_life lives[] = {{0, 1, true},  {0, 1, true},  {0, 2.5, true},
                                    {0, 9, false}, {0, 9, false}, {1, 9, false}};
    struct survival from, whole, before;
    ck_assert_int_eq(survival_sort(lives, 6), SURVIVAL_OK);
    ck_assert_int_eq(survival_within(lives, 6, 2.0, 3.0, &from), SURVIVAL_OK);
    ck_assert_double_eq(from.share, 0.75);
    ck_assert_double_lt(from.lower, 0.75);
    ck_assert_double_gt(from.upper, 0.75);
    ck_assert_int_eq(survival_at(lives, 6, 3.0, &whole), SURVIVAL_OK);
    ck_assert_int_eq(survival_at(lives, 6, 2.0, &before), SURVIVAL_OK);
    ck_assert_double_eq_tol(from.share, whole.share / before.share, 1e-12);
    ck_assert_int_eq(survival_within(lives, 6, 3.0, 9.0, &from), SURVIVAL_OK);
    ck_assert_double_eq(from.share, 1.0);
    ck_assert_double_eq_tol(from.lower, cbrt(0.025), 1e-12);
    ck_assert_int_eq(survival_within(lives, 6, 8.5, 9.5, &from), SURVIVAL_TOO_YOUNG);
    ck_assert_int_eq(survival_within(lives, 6, 3.0, 2.0, &from), SURVIVAL_INVALID);
}
END_TEST

START_TEST(none_of_many_failed_is_near_the_rule) {
    struct survival_life lives[1000];
    struct survival result;
    for (size_t n = 100; n <= 1000; n += 300) {
        for (size_t i = 0; i < n; i++)
            lives[i] = (struct survival_life){0, 2, false};
        ck_assert_int_eq(survival_within(lives, n, 0.5, 1.5, &result), SURVIVAL_OK);
        ck_assert_double_eq_tol((1.0 - result.lower) * (double)n, 3.69, 0.1);
    }
}
END_TEST

START_TEST(dates_that_make_no_sense_are_refused) {
    static const struct survival_life bad[] = {
        {-1, 2, false}, {2, 1, false}, {0, NAN, false}, {NAN, 1, true}, {0, INFINITY, false}};
    struct survival_life life = bad[_i];
    struct survival result;
    ck_assert_int_eq(survival_sort(&life, 1), SURVIVAL_INVALID);
    ck_assert_int_eq(survival_at(NULL, 0, NAN, &result), SURVIVAL_INVALID);
    ck_assert_int_eq(survival_at(NULL, 0, -1.0, &result), SURVIVAL_INVALID);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("survival");
    tcase_add_test(tcase, what_is_seen_late_is_no_survivor_of_before);
    tcase_add_test(tcase, nothing_is_said_where_nobody_was_seen);
    tcase_add_test(tcase, all_that_failed_leaves_none_and_an_upper_end);
    tcase_add_test(tcase, what_happens_from_an_age_on_leaves_out_what_was_before);
    tcase_add_test(tcase, none_of_many_failed_is_near_the_rule);
    tcase_add_loop_test(tcase, dates_that_make_no_sense_are_refused, 0, 5);
    return run_test_case(tcase);
}
