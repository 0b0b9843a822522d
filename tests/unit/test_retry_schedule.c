#include "alarm/retry_schedule.h"
#include "measure/duration.h"
#include "test_support.h"

#define NOW INT64_C(1773303300000)

START_TEST(every_status_has_its_verdict) {
    for (int status = 0; status < 700; status++) {
        enum retry_verdict expected = RETRY_NEVER;
        if (status / 100 == 2)
            expected = RETRY_DONE;
        else if (status == 0 || status == 408 || status == 425 || status == 429 || status >= 500)
            expected = RETRY_AGAIN;
        else if (status == 401 || status == 403 || status == 404 || status == 405 || status == 421)
            expected = RETRY_DENIED;
        ck_assert_msg(retry_verdict(status) == expected, "%d", status);
    }
}
END_TEST

static struct retry_situation after(int tries, double random) {
    return (struct retry_situation){.tries = tries,
                                    .created_ms = NOW - DURATION_DAY_MS,
                                    .now_ms = NOW,
                                    .retry_after_s = -1,
                                    .random = random};
}

static const struct {
    int tries;
    int64_t wait_ms;
} waits[] = {{1, 5000},    {2, 30000},    {3, 120000},   {4, 600000},
             {5, 3600000}, {6, 21600000}, {7, 21600000}, {17, 21600000}};

START_TEST(waits_are_those_of_the_table_with_a_quarter_of_jitter) {
    struct retry_situation situation = after(waits[_i].tries, 0.5);
    int64_t next_ms = 0, wait_ms = waits[_i].wait_ms;
    ck_assert(retry_schedule_next(&situation, &next_ms));
    ck_assert_int_eq(next_ms - NOW, wait_ms);
    situation.random = 0.0;
    ck_assert(retry_schedule_next(&situation, &next_ms));
    ck_assert_int_eq(next_ms - NOW, wait_ms * 3 / 4);
    situation.random = 0.9999999;
    ck_assert(retry_schedule_next(&situation, &next_ms));
    ck_assert_int_le(next_ms - NOW, wait_ms * 5 / 4);
    ck_assert_int_ge(next_ms - NOW, wait_ms * 5 / 4 - wait_ms / 1000 - 1);
}
END_TEST

START_TEST(jitter_spreads_evenly) {
    struct test_random random = {test_seed()};
    double sum = 0.0;
    int64_t lowest = INT64_MAX, highest = 0;
    for (int i = 0; i < 10000; i++) {
        struct retry_situation situation = after(6, test_random_unit(&random));
        int64_t next_ms;
        ck_assert(retry_schedule_next(&situation, &next_ms));
        int64_t wait_ms = next_ms - NOW;
        sum += (double)wait_ms;
        lowest = wait_ms < lowest ? wait_ms : lowest;
        highest = wait_ms > highest ? wait_ms : highest;
    }
    /* a uniform spread of half the wait: standard error of the mean 0.5/sqrt(12 n) = 0.15 % */
    ck_assert_double_eq_tol(sum / 10000 / 21600000.0, 1.0, 0.008);
    ck_assert_double_eq_tol((double)lowest / 21600000.0, 0.75, 0.005);
    ck_assert_double_eq_tol((double)highest / 21600000.0, 1.25, 0.005);
}
END_TEST

START_TEST(it_gives_up_after_three_days) {
    struct retry_situation situation = {
        .tries = 0, .created_ms = NOW, .now_ms = NOW, .retry_after_s = -1, .random = 0.5};
    int64_t next_ms;
    do {
        situation.tries++;
        if (!retry_schedule_next(&situation, &next_ms))
            break;
        situation.now_ms = next_ms;
    } while (situation.tries < 100);
    ck_assert_int_eq(situation.tries, 18); /* 1 + 5 + 12 */
    int64_t first_waits_ms = 5000 + 30000 + 120000 + 600000 + 3600000;
    ck_assert_int_eq(situation.now_ms - NOW, first_waits_ms + 3 * DURATION_DAY_MS);
}
END_TEST

START_TEST(with_any_jitter_it_tries_for_three_days_at_least_and_ends) {
    struct test_random random = {test_seed() + (uint64_t)_i};
    struct retry_situation situation = {
        .tries = 1, .created_ms = NOW, .now_ms = NOW, .retry_after_s = -1};
    int64_t next_ms;
    for (situation.random = test_random_unit(&random);
         retry_schedule_next(&situation, &next_ms) && situation.tries < 100; situation.tries++) {
        situation.now_ms = next_ms;
        situation.random = test_random_unit(&random);
    }
    ck_assert_int_ge(situation.now_ms - NOW, 3 * DURATION_DAY_MS);
    ck_assert_int_lt(situation.now_ms - NOW, 4 * DURATION_DAY_MS);
    ck_assert_int_lt(situation.tries, 30);
}
END_TEST

/* One bad deployment in the night must not lose an alarm. */
START_TEST(a_denial_is_tried_again_for_six_hours_and_no_longer_than_eight) {
    struct test_random random = {test_seed() + (uint64_t)_i};
    struct retry_situation situation = {
        .tries = 1, .created_ms = NOW, .now_ms = NOW, .retry_after_s = -1, .denied = true};
    int64_t next_ms, longest_ms = 0;
    for (situation.random = test_random_unit(&random);
         retry_schedule_next(&situation, &next_ms) && situation.tries < 100; situation.tries++) {
        longest_ms =
            next_ms - situation.now_ms > longest_ms ? next_ms - situation.now_ms : longest_ms;
        situation.now_ms = next_ms;
        situation.random = test_random_unit(&random);
    }
    ck_assert_int_ge(situation.now_ms - NOW, 6 * DURATION_HOUR_MS);
    ck_assert_int_lt(situation.now_ms - NOW, 8 * DURATION_HOUR_MS);
    ck_assert_int_le(longest_ms, DURATION_HOUR_MS * 5 / 4);
}
END_TEST

START_TEST(what_quiet_hours_held_back_has_its_six_hours_too) {
    struct retry_situation situation = after(1, 0.5);
    situation.denied = true;
    int64_t next_ms;
    while (retry_schedule_next(&situation, &next_ms) && situation.tries++ < 100)
        situation.now_ms = next_ms;
    ck_assert_int_ge(situation.now_ms - NOW, 6 * DURATION_HOUR_MS);
}
END_TEST

/* Behind others for a dead endpoint: else a queue would take three days a message. */
START_TEST(what_has_waited_for_three_days_gives_up_after_the_first_waits) {
    struct retry_situation situation = after(1, 0.5);
    situation.created_ms = NOW - 4 * DURATION_DAY_MS;
    int64_t next_ms;
    while (retry_schedule_next(&situation, &next_ms) && situation.tries++ < 100)
        situation.now_ms = next_ms;
    ck_assert_int_ge(situation.now_ms - NOW, DURATION_HOUR_MS);
    ck_assert_int_lt(situation.now_ms - NOW, 2 * DURATION_HOUR_MS);
}
END_TEST

static const struct {
    int64_t retry_after_s, wait_ms;
} asked[] = {{0, 0},
             {1, 1000},
             {120, 120000},
             {86399, 86399000},
             {86400, 86400000},
             {86401, 86400000},
             {INT64_MAX, 86400000}};

START_TEST(retry_after_is_honoured_up_to_a_day_and_five_seconds) {
    for (int spread = 0; spread < 100; spread++) {
        struct retry_situation situation = after(1 + _i, 0.01 * spread);
        situation.retry_after_s = asked[_i].retry_after_s;
        int64_t next_ms;
        ck_assert(retry_schedule_next(&situation, &next_ms));
        ck_assert_int_ge(next_ms - NOW, asked[_i].wait_ms);
        ck_assert_int_le(next_ms - NOW, asked[_i].wait_ms + 5000);
    }
}
END_TEST

START_TEST(short_retry_afters_do_not_use_up_the_tries) {
    struct retry_situation situation = after(500, 0.5);
    situation.created_ms = NOW - DURATION_HOUR_MS;
    int64_t next_ms;
    ck_assert(retry_schedule_next(&situation, &next_ms)); /* the endpoint now fails without one */
    ck_assert_int_eq(next_ms - NOW, 6 * DURATION_HOUR_MS);
    situation.created_ms = NOW - 3 * DURATION_DAY_MS;
    next_ms = -1;
    ck_assert(!retry_schedule_next(&situation, &next_ms));
    ck_assert_int_eq(next_ms, -1);
}
END_TEST

int main(void) {
    TCase *retry = tcase_create("retry_schedule");
    tcase_add_test(retry, every_status_has_its_verdict);
    tcase_add_loop_test(retry, waits_are_those_of_the_table_with_a_quarter_of_jitter, 0,
                        sizeof waits / sizeof waits[0]);
    tcase_add_test(retry, jitter_spreads_evenly);
    tcase_add_test(retry, it_gives_up_after_three_days);
    tcase_add_loop_test(retry, with_any_jitter_it_tries_for_three_days_at_least_and_ends, 0, 20);
    tcase_add_loop_test(retry, a_denial_is_tried_again_for_six_hours_and_no_longer_than_eight, 0,
                        20);
    tcase_add_test(retry, what_quiet_hours_held_back_has_its_six_hours_too);
    tcase_add_test(retry, what_has_waited_for_three_days_gives_up_after_the_first_waits);
    tcase_add_loop_test(retry, retry_after_is_honoured_up_to_a_day_and_five_seconds, 0,
                        sizeof asked / sizeof asked[0]);
    tcase_add_test(retry, short_retry_afters_do_not_use_up_the_tries);
    return run_test_case(retry);
}
