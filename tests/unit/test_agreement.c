/*
 * E_n of ISO 13528 (from memory): by hand, and its limit.
 */
#include "analysis/agreement.h"
#include "test_support.h"

#include <math.h>

START_TEST(the_number_is_the_difference_over_both_expanded_uncertainties) {
    /* U = 2 u: 2 * 3 = 6 and 2 * 4 = 8; sqrt(36 + 64) = 10 */
    ck_assert_double_eq_tol(agreement_number(60.0, 3.0, 50.0, 4.0), 1.0, 1e-12);
    ck_assert_double_eq_tol(agreement_number(50.0, 4.0, 60.0, 3.0), 1.0, 1e-12);
    ck_assert_double_eq_tol(agreement_number(45.0, 0.0, 50.0, 5.0), 0.5, 1e-12);
}
END_TEST

START_TEST(they_agree_up_to_one) {
    ck_assert(agreement_holds(60.0, 3.0, 50.0, 4.0));
    ck_assert(!agreement_holds(60.1, 3.0, 50.0, 4.0));
    ck_assert(!agreement_holds(39.9, 3.0, 50.0, 4.0));
}
END_TEST

START_TEST(exact_values_agree_when_they_are_the_same) {
    ck_assert(isnan(agreement_number(1.0, 0.0, 2.0, 0.0)));
    ck_assert(agreement_holds(2.0, 0.0, 2.0, 0.0));
    ck_assert(!agreement_holds(1.0, 0.0, 2.0, 0.0));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("agreement");
    tcase_add_test(tcase, the_number_is_the_difference_over_both_expanded_uncertainties);
    tcase_add_test(tcase, they_agree_up_to_one);
    tcase_add_test(tcase, exact_values_agree_when_they_are_the_same);
    return run_test_case(tcase);
}
