#include "measure/root_sum.h"
#include "test_support.h"

#include <math.h>

/* Pythagorean triples, whose roots are exact: Euclid, Elements X, lemma 1 before proposition 29. */
START_TEST(whole_sides_have_a_whole_root) {
    static const double sides[][3] = {{3, 4, 5}, {5, 12, 13}, {8, 15, 17}, {20, 21, 29}};
    for (size_t i = 0; i < sizeof sides / sizeof *sides; i++) {
        ck_assert_double_eq(root_sum(sides[i][0], sides[i][1]), sides[i][2]);
        ck_assert_double_eq(root_sum(-sides[i][1], sides[i][0]), sides[i][2]);
    }
    ck_assert_double_eq(root_sum(0.0, 0.0), 0.0);
    ck_assert_double_eq(root_sum(0.0, -0.1), 0.1);
    ck_assert(isnan(root_sum(NAN, 1.0)));
}
END_TEST

/* The C library's own function, whose last bit is the library's affair (C17 F.10.4.3). */
START_TEST(it_is_hypot_but_for_the_last_bit) {
    struct test_random random = {.state = test_seed()};
    for (int i = 0; i < 10000; i++) {
        double a = test_random_normal(&random) * pow(10.0, (double)(i % 80) - 40.0);
        double b = test_random_normal(&random) * pow(10.0, (double)(i % 7) - 3.0);
        double expected = hypot(a, b);
        ck_assert_double_eq_tol(root_sum(a, b), expected, 4e-16 * expected);
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("root_sum");
    tcase_add_test(tcase, whole_sides_have_a_whole_root);
    tcase_add_test(tcase, it_is_hypot_but_for_the_last_bit);
    return run_test_case(tcase);
}
