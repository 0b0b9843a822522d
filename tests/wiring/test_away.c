/*
 * A short queue at the broker keeps its oldest messages and drops the rest without a word; a sensor
 * that slept over the same hours has the same hole, but alone.
 */
#include "pipeline/away.h"

#include "measure/duration.h"
#include "small_fleet.h"

#define MINUTE DURATION_MINUTE_MS

static const char house[] = "id: house\n"
                            "name: House\n"
                            "points:\n"
                            "  - {id: a, quantity: suction, unit: Pa, every: 10 min}\n"
                            "  - {id: b, quantity: suction, unit: Pa, every: 10 min}\n"
                            "  - {id: c, quantity: fan-power, unit: W, every: 10 min}\n"
                            "  - {id: d, quantity: fan-power, unit: W, every: 10 min}\n";

static struct fleet *fleet;
static struct monitor *monitor;
static struct away away;

static void set_up(void) {
    const char *const systems[] = {house};
    fleet = small_fleet(NULL, systems, 1);
    monitor = monitor_create(fleet);
    ck_assert(away_open(&away, fleet->point_count));
}

static void tear_down(void) {
    away_close(&away);
    monitor_destroy(monitor);
    fleet_destroy(fleet);
}

static void take(size_t point, int64_t minute) {
    const struct reading reading = {minute * MINUTE, 100.0 + (double)(minute % 7)};
    away_reading(&away, monitor, point, reading.time_ms);
    monitor_reading(monitor, point, &reading, reading.time_ms);
}

static void speak_until(int64_t minute) {
    for (int64_t m = 0; m <= minute; m += 10)
        for (size_t p = 0; p < fleet->point_count; p++)
            take(p, m);
}

START_TEST(a_kept_queue_leaves_no_hole) {
    speak_until(100);
    away_begin(&away, 100 * MINUTE, 400 * MINUTE);
    for (int64_t m = 110; m <= 420; m += 10)
        for (size_t p = 0; p < fleet->point_count; p++)
            take(p, m);
    ck_assert(!away_judge(&away, 500 * MINUTE));
}
END_TEST

START_TEST(a_lost_queue_is_a_gap_from_the_last_to_the_first) {
    speak_until(100);
    away_begin(&away, 100 * MINUTE, 400 * MINUTE);
    for (size_t p = 0; p < 3; p++)
        take(p, 410);
    ck_assert(away_judge(&away, 411 * MINUTE));
    ck_assert_int_eq(away.hole_from_ms, 100 * MINUTE);
    ck_assert_int_eq(away.hole_to_ms, 410 * MINUTE);
    ck_assert_uint_eq(away.hole_count, 3);
    ck_assert(!away_judge(&away, 412 * MINUTE)); /* told once */
}
END_TEST

START_TEST(a_short_queue_is_a_gap_in_the_middle) {
    speak_until(100);
    away_begin(&away, 100 * MINUTE, 400 * MINUTE);
    for (int64_t m = 110; m <= 200; m += 10)
        for (size_t p = 0; p < fleet->point_count; p++)
            take(p, m);
    for (size_t p = 0; p < fleet->point_count; p++)
        take(p, 400);
    /* It spoke until 200, long after we left: the hole begins there, within our absence. */
    ck_assert(away_judge(&away, 401 * MINUTE));
    ck_assert_int_eq(away.hole_from_ms, 200 * MINUTE);
}
END_TEST

START_TEST(one_sleeping_sensor_is_no_gap) {
    speak_until(100);
    away_begin(&away, 100 * MINUTE, 130 * MINUTE);
    for (int64_t m = 110; m <= 180; m += 10)
        for (size_t p = 0; p < 3; p++)
            take(p, m);
    take(3, 180);
    ck_assert(!away_judge(&away, 200 * MINUTE));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("away");
    tcase_add_checked_fixture(tcase, set_up, tear_down);
    tcase_add_test(tcase, a_kept_queue_leaves_no_hole);
    tcase_add_test(tcase, a_lost_queue_is_a_gap_from_the_last_to_the_first);
    tcase_add_test(tcase, a_short_queue_is_a_gap_in_the_middle);
    tcase_add_test(tcase, one_sleeping_sensor_is_no_gap);
    return run_test_case(tcase);
}
