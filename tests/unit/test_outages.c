/* Times out of order: merged and clipped, as a count of single milliseconds says. */
#include "analysis/outages.h"
#include "test_support.h"

enum { SPAN = 200, MOST = 12 };

static size_t make(struct test_random *random, struct outage *outages, char *marks) {
    size_t count = (size_t)(test_random_unit(random) * MOST);
    for (size_t i = 0; i < count; i++) {
        int64_t from = (int64_t)(test_random_unit(random) * SPAN * 1.4) - SPAN / 5;
        outages[i] = (struct outage){from, from + (int64_t)(test_random_unit(random) * 40) - 2};
        for (int64_t at = outages[i].from_ms; at < outages[i].to_ms; at++)
            if (at >= 0 && at < SPAN)
                marks[at] = 1;
    }
    return count;
}

START_TEST(they_take_as_long_as_the_marked_milliseconds) {
    struct test_random random = {test_seed()};
    for (int round = 0; round < 2000; round++) {
        struct outage outages[MOST];
        char marks[SPAN] = {0};
        int64_t total_ms = 0, marked = 0;
        size_t count = outages_merge(outages, make(&random, outages, marks), 0, SPAN, &total_ms);
        for (int i = 0; i < SPAN; i++)
            marked += marks[i];
        ck_assert_int_eq(total_ms, marked);
        for (size_t i = 1; i < count; i++)
            ck_assert_int_gt(outages[i].from_ms, outages[i - 1].to_ms);
    }
}
END_TEST

START_TEST(none_take_no_time) {
    struct outage empty[] = {{5, 5}, {9, 3}, {-9, -3}, {300, 400}};
    int64_t total_ms = 42;
    ck_assert_uint_eq(outages_merge(empty, 4, 0, SPAN, &total_ms), 0);
    ck_assert_int_eq(total_ms, 0);
    ck_assert_uint_eq(outages_merge(NULL, 0, 0, SPAN, &total_ms), 0);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("outages");
    tcase_add_test(tcase, they_take_as_long_as_the_marked_milliseconds);
    tcase_add_test(tcase, none_take_no_time);
    return run_test_case(tcase);
}
