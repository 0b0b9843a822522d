/* What sends far more than its `every` says is known by its numbers; a backlog is no flood. */
#include "pipeline/busy_points.h"

#include "measure/duration.h"
#include "small_fleet.h"

static const char house[] = "id: house\n"
                            "name: House\n"
                            "points:\n"
                            "  - {id: rare, quantity: suction, unit: Pa, every: 10 min}\n"
                            "  - {id: often, quantity: suction, unit: Pa, every: 10 s}\n"
                            "  - {id: calm, quantity: fan-power, unit: W, every: 10 min}\n";
enum { RARE, OFTEN, CALM };
static const int64_t noon_ms = INT64_C(1772712000000); /* 2026-03-05T12:00:00Z */

static struct fleet *fleet;
static struct busy_points busy;
static struct busy_point found;

static void set_up(void) {
    const char *const systems[] = {house};
    fleet = small_fleet(NULL, systems, 1);
    ck_assert(busy_points_open(&busy, fleet->point_count));
}

static void tear_down(void) {
    busy_points_close(&busy);
    fleet_destroy(fleet);
}

static void send(size_t point, int count, int64_t from_ms, int64_t step_ms, int64_t now_ms) {
    for (int i = 0; i < count; i++)
        busy_points_count(&busy, point, from_ms + i * step_ms, now_ms);
}

static bool is_busy(size_t point, int64_t now_ms) {
    return busy_points_find(&busy, fleet, point, now_ms, &found);
}

START_TEST(three_hundred_are_needed_and_ten_times_what_is_expected) {
    send(RARE, 299, noon_ms, 1000, noon_ms);
    ck_assert(!is_busy(RARE, noon_ms));
    send(RARE, 1, noon_ms, 1000, noon_ms);
    ck_assert(is_busy(RARE, noon_ms));
    ck_assert_uint_eq(found.readings, 300);
    ck_assert_double_eq_tol(found.expected, 6.0, 1e-9);
    send(OFTEN, 3600, noon_ms, 100, noon_ms); /* ten times 360 */
    ck_assert(!is_busy(OFTEN, noon_ms));
    send(OFTEN, 1, noon_ms, 100, noon_ms);
    ck_assert(is_busy(OFTEN, noon_ms));
    ck_assert(!is_busy(CALM, noon_ms));
}
END_TEST

START_TEST(a_backlog_of_weeks_is_no_flood) {
    const int64_t every_ms = 10 * DURATION_MINUTE_MS, weeks_ms = 42 * DURATION_DAY_MS;
    send(RARE, (int)(weeks_ms / every_ms), noon_ms - weeks_ms, every_ms, noon_ms);
    ck_assert(!is_busy(RARE, noon_ms));
    send(RARE, (int)(weeks_ms / every_ms), noon_ms - weeks_ms, every_ms, noon_ms); /* once more */
    ck_assert(!is_busy(RARE, noon_ms));
}
END_TEST

START_TEST(the_closed_hour_counts_until_the_next_one_is_over) {
    const int64_t hour_ms = DURATION_HOUR_MS;
    send(RARE, 400, noon_ms, 1000, noon_ms);
    send(RARE, 6, noon_ms + hour_ms, 600000, noon_ms + hour_ms);
    ck_assert(is_busy(RARE, noon_ms + hour_ms));
    ck_assert_uint_eq(found.readings, 400);
    send(RARE, 6, noon_ms + 2 * hour_ms, 600000, noon_ms + 2 * hour_ms);
    ck_assert(!is_busy(RARE, noon_ms + 2 * hour_ms)); /* put right */
    send(OFTEN, 5000, noon_ms, 100, noon_ms);
    ck_assert(is_busy(OFTEN, noon_ms + hour_ms));
    ck_assert(!is_busy(OFTEN, noon_ms + 2 * hour_ms)); /* silent since */
}
END_TEST

START_TEST(the_worst_come_first) {
    struct busy_point worst[2];
    ck_assert_uint_eq(busy_points_worst(&busy, fleet, noon_ms, worst, 2), 0);
    send(RARE, 400, noon_ms, 1000, noon_ms);
    send(OFTEN, 9000, noon_ms, 100, noon_ms);
    send(CALM, 500, noon_ms, 100, noon_ms);
    ck_assert_uint_eq(busy_points_worst(&busy, fleet, noon_ms, worst, 2), 2);
    ck_assert_uint_eq(worst[0].point, OFTEN);
    ck_assert_uint_eq(worst[1].point, CALM);
    char text[256];
    busy_points_text(text, sizeof text, fleet, &worst[1]);
    ck_assert_ptr_nonnull(strstr(text, "500 readings of one hour came, about 6 are expected"));
    ck_assert_ptr_nonnull(strstr(text, "every 10 min"));
    busy_points_forget(&busy);
    ck_assert_uint_eq(busy_points_worst(&busy, fleet, noon_ms, worst, 2), 0);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("busy points");
    tcase_add_checked_fixture(tcase, set_up, tear_down);
    tcase_add_test(tcase, three_hundred_are_needed_and_ten_times_what_is_expected);
    tcase_add_test(tcase, a_backlog_of_weeks_is_no_flood);
    tcase_add_test(tcase, the_closed_hour_counts_until_the_next_one_is_over);
    tcase_add_test(tcase, the_worst_come_first);
    return run_test_case(tcase);
}
