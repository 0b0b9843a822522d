#include "alarm/tracker.h"
#include "test_support.h"

#include <stdio.h>
#include <string.h>

/* A run of findings against delays of 30 and 10; what comes out, and when. */
struct finding {
    int64_t time_ms;
    bool beyond, cleared;
};

static struct tracker tracker;
static char story[512];

static void note(enum tracker_event event, int64_t at_ms) {
    size_t used = strlen(story);
    if (event != TRACKER_NOTHING)
        snprintf(story + used, sizeof story - used, "%s%c%lld", used ? " " : "",
                 event == TRACKER_RAISE ? '+' : '-', (long long)at_ms);
}

static void run(const struct finding *findings, size_t count, int64_t end_ms) {
    int64_t at_ms = 0;
    tracker = (struct tracker){.phase = TRACKER_REST};
    story[0] = '\0';
    enum tracker_event event;
    for (size_t i = 0; i < count; i++) {
        event = tracker_expire(&tracker, 30, 10, findings[i].time_ms, &at_ms);
        note(event, at_ms);
        event = tracker_step(&tracker, 30, 10, findings[i].beyond, findings[i].cleared,
                             findings[i].time_ms, &at_ms);
        note(event, at_ms);
    }
    event = tracker_expire(&tracker, 30, 10, end_ms, &at_ms);
    note(event, at_ms);
}

static const struct {
    const char *what, *expected;
    struct finding findings[8];
    size_t count;
    int64_t end_ms;
} cases[] = {
    {"nothing ever", "", {{0, false, true}, {50, false, true}}, 2, 100},
    {"too short for the on-delay", "", {{0, true, false}, {29, false, true}}, 2, 200},
    {"a delay ends at its own instant, however late it is noticed",
     "+30",
     {{0, true, false}},
     1,
     500},
    {"a finding at the very end of the delay comes too late",
     "+30 -40",
     {{0, true, false}, {30, false, true}},
     2,
     100},
    {"back within the deadband: it stands on",
     "+30",
     {{0, true, false}, {50, false, false}},
     2,
     500},
    {"an off-delay interrupted begins anew",
     "+30 -75",
     {{0, true, false}, {50, false, true}, {55, false, false}, {65, false, true}},
     4,
     500},
    {"it comes back while clearing: the same occurrence",
     "+30 -120",
     {{0, true, false}, {100, false, true}, {105, true, false}, {110, false, true}},
     4,
     500},
    {"two occurrences",
     "+30 -60 +130",
     {{0, true, false}, {50, false, true}, {100, true, false}},
     3,
     500},
};

START_TEST(the_story_is_as_expected) {
    run(cases[_i].findings, cases[_i].count, cases[_i].end_ms);
    ck_assert_msg(strcmp(story, cases[_i].expected) == 0, "%s: %s, expected %s", cases[_i].what,
                  story, cases[_i].expected);
}
END_TEST

START_TEST(without_delays_events_come_at_once) {
    int64_t at_ms = 0;
    struct tracker quick = {.phase = TRACKER_REST};
    ck_assert_int_eq(tracker_step(&quick, 0, 0, true, false, 7, &at_ms), TRACKER_RAISE);
    ck_assert_int_eq(at_ms, 7);
    ck_assert_int_eq(tracker_step(&quick, 0, 0, false, true, 9, &at_ms), TRACKER_RETURN);
    ck_assert_int_eq(at_ms, 9);
}
END_TEST

/* Looking more often must never change what happens, or when. */
START_TEST(looking_more_often_changes_nothing) {
    struct test_random random = {test_seed() + (uint64_t)_i};
    struct tracker seldom = {.phase = TRACKER_REST}, often = {.phase = TRACKER_REST};
    int64_t time_ms = 0, seldom_sum = 0, often_sum = 0, at_ms = 0;
    for (int i = 0; i < 300; i++) {
        int64_t next_ms = time_ms + 1 + (int64_t)(test_random_unit(&random) * 40);
        bool beyond = test_random_unit(&random) < 0.5;
        bool cleared = !beyond && test_random_unit(&random) < 0.7;
        for (int64_t t = time_ms; t <= next_ms; t++)
            if (tracker_expire(&often, 30, 10, t, &at_ms) != TRACKER_NOTHING)
                often_sum += at_ms * (i + 1);
        if (tracker_expire(&seldom, 30, 10, next_ms, &at_ms) != TRACKER_NOTHING)
            seldom_sum += at_ms * (i + 1);
        tracker_step(&often, 30, 10, beyond, cleared, next_ms, &at_ms);
        tracker_step(&seldom, 30, 10, beyond, cleared, next_ms, &at_ms);
        ck_assert_int_eq(often.phase, seldom.phase);
        time_ms = next_ms;
    }
    ck_assert_int_eq(often_sum, seldom_sum);
    ck_assert_int_gt(often_sum, 0);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("tracker");
    tcase_add_loop_test(tcase, the_story_is_as_expected, 0, sizeof cases / sizeof cases[0]);
    tcase_add_test(tcase, without_delays_events_come_at_once);
    tcase_add_loop_test(tcase, looking_more_often_changes_nothing, 0, 20);
    return run_test_case(tcase);
}
