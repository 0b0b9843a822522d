/*
 * What wakes the loop, and what is held by a doubted clock and a failing store.
 */
#include "service/timers.h"
#include "test_support.h"

static const int64_t wall_ms = INT64_C(1767225600000), monotonic_ms = 5000;

static struct timers timers;
static struct timers_now now;

static void set_up(void) {
    now = (struct timers_now){wall_ms, monotonic_ms, true, true};
    for (enum timer timer = 0; timer < TIMERS; timer++)
        timers_set(&timers, timer, INT64_MAX);
}

START_TEST(nothing_wakes_the_loop_without_a_timer) {
    ck_assert_int_gt(timers_wait_ms(&timers, &now), INT64_C(1) << 60);
    for (enum timer timer = 0; timer < TIMERS; timer++)
        ck_assert(!timers_due(&timers, timer, &now));
}
END_TEST

START_TEST(the_first_timer_wakes_it_by_its_own_clock) {
    timers_set(&timers, TIMER_UPKEEP, wall_ms + 700);
    timers_set(&timers, TIMER_LOOK, monotonic_ms + 900);
    ck_assert_int_eq(timers_wait_ms(&timers, &now), 700);
    timers_set(&timers, TIMER_BACKLOG, monotonic_ms + 250);
    ck_assert_int_eq(timers_wait_ms(&timers, &now), 250);
    now.wall_ms += 700;
    ck_assert(timers_due(&timers, TIMER_UPKEEP, &now));
    ck_assert(!timers_due(&timers, TIMER_LOOK, &now));
    ck_assert_int_eq(timers_wait_ms(&timers, &now), 0);
}
END_TEST

START_TEST(a_doubted_clock_holds_what_goes_by_it) {
    static const enum timer held[] = {TIMER_TICK, TIMER_UPKEEP, TIMER_DISPATCH};
    timers_wake(&timers);
    timers_set(&timers, TIMER_WATCHDOG, monotonic_ms + 40);
    for (size_t i = 0; i < 3; i++)
        ck_assert(timers_due(&timers, held[i], &now));
    now.clock_trusted = false;
    for (size_t i = 0; i < 3; i++)
        ck_assert(!timers_due(&timers, held[i], &now));
    ck_assert_int_eq(timers_wait_ms(&timers, &now), 40);
}
END_TEST

START_TEST(a_failing_store_holds_all_but_its_next_try) {
    for (enum timer timer = 0; timer < TIMERS; timer++)
        timers_set(&timers, timer, 0);
    ck_assert(!timers_due(&timers, TIMER_STORE, &now));
    now.store_works = false;
    for (enum timer timer = 0; timer < TIMERS; timer++)
        ck_assert_int_eq(timers_due(&timers, timer, &now),
                         timer == TIMER_STORE || timer == TIMER_LOOK || timer == TIMER_STATUS ||
                             timer == TIMER_WATCHDOG);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("timers");
    tcase_add_checked_fixture(tcase, set_up, NULL);
    tcase_add_test(tcase, nothing_wakes_the_loop_without_a_timer);
    tcase_add_test(tcase, the_first_timer_wakes_it_by_its_own_clock);
    tcase_add_test(tcase, a_doubted_clock_holds_what_goes_by_it);
    tcase_add_test(tcase, a_failing_store_holds_all_but_its_next_try);
    return run_test_case(tcase);
}
