/* history_at_hand: the same answers as the history behind it, which is asked seldom. */
#include "monitor/history_at_hand.h"
#include "test_support.h"

#include <math.h>

enum { HOURS = 100 * 24, FIRST_POINT = 7, POINTS = 2, ROOM = HOURS + 2 };
static const int64_t begin_ms = 480000 * AVERAGE_HOUR_MS;

struct past {
    bool covered[HOURS];
    size_t asked;
    bool fails;
};
static struct past past;
static struct history_at_hand *hand;

static size_t past_hours(void *context, size_t point, int64_t from_ms, int64_t to_ms,
                         struct average_bucket *hours, size_t capacity) {
    struct past *of = context;
    size_t count = 0;
    of->asked++;
    if (of->fails)
        return HISTORY_FAILED;
    for (int64_t h = 0; h < HOURS && count < capacity; h++) {
        int64_t start_ms = begin_ms + h * AVERAGE_HOUR_MS, end_ms = start_ms + AVERAGE_HOUR_MS;
        if (of->covered[h] && end_ms > from_ms && start_ms < to_ms)
            hours[count++] = (struct average_bucket){
                start_ms, end_ms, (double)(h + 1) * (double)point, AVERAGE_HOUR_MS - h};
    }
    return count;
}

static size_t past_days(void *context, size_t point, int64_t from_day, int64_t to_day,
                        struct history_day *days, size_t capacity) {
    (void)context, (void)to_day, (void)capacity;
    days[0] = (struct history_day){.local_day = from_day, .count = (int64_t)point};
    return 1;
}

static double past_exponent(void *context, size_t system, int64_t time_ms) {
    (void)context, (void)time_ms;
    return (double)system;
}

static const struct history behind = {&past, past_hours, past_days, past_exponent};

static void set_up(void) {
    struct test_random random = {test_seed()};
    past = (struct past){.asked = 0};
    for (size_t h = 0; h < HOURS; h++)
        past.covered[h] = test_random_below(&random, 10) > 0;
    hand = history_at_hand_create();
    ck_assert_ptr_nonnull(hand);
}

static void tear_down(void) {
    history_at_hand_destroy(hand);
    history_at_hand_destroy(NULL);
}

static void ask_both(const struct history *history, size_t point, int64_t from_ms, int64_t to_ms,
                     size_t capacity) {
    static struct average_bucket expected[ROOM], found[ROOM];
    size_t asked = past.asked;
    size_t count = past_hours(&past, point, from_ms, to_ms, expected, capacity);
    past.asked = asked;
    ck_assert_uint_eq(history_hours(history, point, from_ms, to_ms, found, capacity), count);
    for (size_t i = 0; i < count; i++) {
        ck_assert_int_eq(found[i].start_ms, expected[i].start_ms);
        ck_assert_int_eq(found[i].end_ms, expected[i].end_ms);
        ck_assert_double_eq(found[i].value_ms, expected[i].value_ms);
        ck_assert_int_eq(found[i].covered_ms, expected[i].covered_ms);
    }
}

START_TEST(every_question_is_answered_as_behind_it) {
    struct test_random random = {test_seed() + 1};
    int64_t newest_ms = begin_ms + (HOURS - 30) * AVERAGE_HOUR_MS;
    const struct history history =
        history_at_hand_of(hand, &behind, FIRST_POINT, POINTS, newest_ms);
    for (int i = 0; i < 3000; i++) {
        int64_t from_ms =
            begin_ms + (int64_t)test_random_below(&random, HOURS * 60) * AVERAGE_HOUR_MS / 60;
        int64_t to_ms =
            from_ms + 1 + (int64_t)test_random_below(&random, 70 * 24) * AVERAGE_HOUR_MS;
        size_t capacity = i % 5 ? ROOM : 1 + test_random_below(&random, 50);
        ask_both(&history, FIRST_POINT - 1 + test_random_below(&random, POINTS + 2), from_ms, to_ms,
                 capacity);
    }
}
END_TEST

/* As a judge asks: a day and the week before it, day after day. */
START_TEST(many_days_in_order_are_read_a_few_times) {
    int64_t newest_ms = begin_ms + HOURS * AVERAGE_HOUR_MS;
    const struct history history =
        history_at_hand_of(hand, &behind, FIRST_POINT, POINTS, newest_ms);
    for (int64_t day = 7; day < 97; day++) {
        int64_t end_ms = begin_ms + (day + 1) * 24 * AVERAGE_HOUR_MS;
        for (size_t point = FIRST_POINT; point < FIRST_POINT + POINTS; point++) {
            ask_both(&history, point, end_ms - 24 * AVERAGE_HOUR_MS, end_ms, ROOM);
            ask_both(&history, point, end_ms - 7 * 24 * AVERAGE_HOUR_MS, end_ms, ROOM);
        }
    }
    ck_assert_uint_le(past.asked, POINTS * 2 * (90 / 30 + 1)); /* of 360 questions */
    ck_assert_uint_ge(past.asked, POINTS);
}
END_TEST

START_TEST(what_came_since_is_seen_by_the_next_view) {
    int64_t from_ms = begin_ms + 5 * AVERAGE_HOUR_MS, to_ms = from_ms + 24 * AVERAGE_HOUR_MS;
    struct history history = history_at_hand_of(hand, &behind, FIRST_POINT, 1, to_ms);
    ask_both(&history, FIRST_POINT, from_ms, to_ms, ROOM);
    for (size_t h = 0; h < HOURS; h++)
        past.covered[h] = !past.covered[h];
    history = history_at_hand_of(hand, &behind, FIRST_POINT, POINTS, to_ms);
    ask_both(&history, FIRST_POINT, from_ms, to_ms, ROOM);
    ask_both(&history, FIRST_POINT + 1, from_ms, to_ms, ROOM);
}
END_TEST

START_TEST(a_failure_is_passed_on_and_is_no_answer) {
    struct average_bucket hours[ROOM];
    int64_t to_ms = begin_ms + 24 * AVERAGE_HOUR_MS;
    const struct history history = history_at_hand_of(hand, &behind, FIRST_POINT, POINTS, to_ms);
    past.fails = true;
    ck_assert(history_hours(&history, FIRST_POINT, begin_ms, to_ms, hours, ROOM) == HISTORY_FAILED);
    past.fails = false;
    ask_both(&history, FIRST_POINT, begin_ms, to_ms, ROOM);
}
END_TEST

START_TEST(days_and_exponents_are_passed_through) {
    struct history_day day;
    const struct history history = history_at_hand_of(hand, &behind, FIRST_POINT, POINTS, begin_ms);
    ck_assert_uint_eq(history_days(&history, FIRST_POINT, 400, 401, &day, 1), 1);
    ck_assert_int_eq(day.local_day, 400);
    ck_assert_int_eq(day.count, FIRST_POINT);
    ck_assert_double_eq(history.ground_exponent(history.context, 3, begin_ms), 3.0);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("history_at_hand");
    tcase_add_checked_fixture(tcase, set_up, tear_down);
    tcase_add_test(tcase, every_question_is_answered_as_behind_it);
    tcase_add_test(tcase, many_days_in_order_are_read_a_few_times);
    tcase_add_test(tcase, what_came_since_is_seen_by_the_next_view);
    tcase_add_test(tcase, a_failure_is_passed_on_and_is_no_answer);
    tcase_add_test(tcase, days_and_exponents_are_passed_through);
    return run_test_case(tcase);
}
