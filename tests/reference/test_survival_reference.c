/*
 * Kaplan and Meier's estimate against published values: remission of leukaemia in weeks, 21
 * patients with 6-mercaptopurine (Freireich et al., Blood 21 (1963) 699), an example of most
 * textbooks; estimates and log-log intervals as statistical packages print them for it. Data and
 * values are from memory; tests/reference/check_survival.py compares random lives with statsmodels.
 */
#include "analysis/survival.h"
#include "test_support.h"

static const struct survival_life remission[] = {
    {0, 6, true},   {0, 6, true},   {0, 6, true},   {0, 6, false}, {0, 7, true},   {0, 9, false},
    {0, 10, true},  {0, 10, false}, {0, 11, false}, {0, 13, true}, {0, 16, true},  {0, 17, false},
    {0, 19, false}, {0, 20, false}, {0, 22, true},  {0, 23, true}, {0, 25, false}, {0, 32, false},
    {0, 32, false}, {0, 34, false}, {0, 35, false},
};
enum { PATIENTS = sizeof remission / sizeof remission[0] };

static const struct {
    double age, share, lower, upper;
    size_t at_risk;
} published[] = {
    {6, 0.857, 0.620, 0.952, 21},  {7, 0.807, 0.563, 0.923, 17},  {10, 0.753, 0.503, 0.889, 15},
    {13, 0.690, 0.432, 0.849, 12}, {16, 0.627, 0.368, 0.805, 11}, {22, 0.538, 0.268, 0.747, 7},
    {23, 0.448, 0.188, 0.680, 6},  {30, 0.448, 0.188, 0.680, 4},
};

START_TEST(remission_of_leukaemia) {
    struct survival_life lives[PATIENTS];
    struct survival result;
    for (size_t i = 0; i < PATIENTS; i++)
        lives[i] = remission[PATIENTS - 1 - i]; /* the order of the data does not matter */
    ck_assert_int_eq(survival_sort(lives, PATIENTS), SURVIVAL_OK);
    ck_assert_int_eq(survival_at(lives, PATIENTS, published[_i].age, &result), SURVIVAL_OK);
    ck_assert_double_eq_tol(result.share, published[_i].share, 0.0005);
    ck_assert_double_eq_tol(result.lower, published[_i].lower, 0.0006);
    ck_assert_double_eq_tol(result.upper, published[_i].upper, 0.0006);
    ck_assert_uint_eq(result.at_risk, published[_i].at_risk);
}
END_TEST

/* The exact binomial limit: of 30 none failed, 0.025^(1/30) = 0.8843 (Clopper and Pearson 1934). */
START_TEST(while_none_has_failed) {
    struct survival_life lives[30];
    struct survival result;
    for (size_t i = 0; i < 30; i++)
        lives[i] = (struct survival_life){0, 2.0 + (double)i / 30.0, false};
    ck_assert_int_eq(survival_sort(lives, 30), SURVIVAL_OK);
    ck_assert_int_eq(survival_at(lives, 30, 2.0, &result), SURVIVAL_OK);
    ck_assert_double_eq(result.share, 1.0);
    ck_assert_double_eq_tol(result.lower, 0.8843, 0.0001);
    ck_assert_double_eq(result.upper, 1.0);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("survival");
    tcase_add_loop_test(tcase, remission_of_leukaemia, 0,
                        (int)(sizeof published / sizeof published[0]));
    tcase_add_test(tcase, while_none_has_failed);
    return run_test_case(tcase);
}
