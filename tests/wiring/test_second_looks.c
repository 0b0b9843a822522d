/*
 * Second looks through the store: in steps over many turns, over a restart in the middle, and
 * only where readings came late.
 */
#include "measure/duration.h"
#include "pipeline/pipeline.h"
#include "small_fleet.h"
#include "store/records.h"
#include "store_support.h"

#define START_MS (20000 * DURATION_DAY_MS)
#define EVERY_MS (10 * DURATION_MINUTE_MS)
#define DAYS 60
#define END_MS (START_MS + DAYS * DURATION_DAY_MS)

static const char settings[] = "broker: {host: 127.0.0.1}\n"
                               "store: {file: test.db}\n"
                               "operator_socket: test.sock\n"
                               "systems: systems/\n"
                               "contacts:\n"
                               "  - id: office\n"
                               "    role: contractor\n"
                               "    webhook: {url: \"http://127.0.0.1:9/\"}\n"
                               "conditions:\n"
                               "  suction-low: {setpoint: 100 Pa, deadband: 50 Pa, on_delay: 0 s,\n"
                               "                off_delay: 0 s}\n";
static const char house[] = "id: house\ntime_zone: UTC\npoints:\n"
                            "  - {id: suction, quantity: suction, unit: Pa, every: 10 min}\n";

static const char *folder, *path;
static struct fleet *fleet;
static struct store *store;
static struct pipeline *pipeline;

static void start(void) {
    char why[200] = "";
    store = store_test_open(path, NULL);
    pipeline = pipeline_open(fleet, store, END_MS, why, sizeof why);
    ck_assert_msg(pipeline != NULL, "%s", why);
}

static void stop(void) {
    pipeline_close(pipeline);
    store_close(store);
}

static void restart(void) {
    stop();
    start();
}

static void take(double value, int64_t time_ms) {
    const struct reading reading = {time_ms, value};
    ck_assert_int_eq(pipeline_take(pipeline, 0, &reading, SERIES_FROM_SENSOR, time_ms),
                     PIPELINE_NEW);
}

static void settle(void) {
    ck_assert_int_eq(pipeline_settle(pipeline, END_MS), STORE_OK);
}

/* One turn in which there is time for the least piece of a look only. */
static void turn(void) {
    pipeline_look_again(pipeline, 0);
    settle();
}

static void set_up(void) {
    const char *const systems[] = {house};
    fleet = small_fleet(settings, systems, 1);
    folder = store_test_folder();
    path = store_test_path(folder, "house.db");
    start();
    for (int64_t t = START_MS; t < END_MS; t += EVERY_MS)
        take(120.0 + (double)(t / EVERY_MS % 7), t); /* within the deadband */
    settle();
}

static void tear_down(void) {
    stop();
    fleet_destroy(fleet);
    store_test_remove(folder);
}

static const struct alarm *low(void) {
    return alarm_book_standing(pipeline_alarms(pipeline), 0, 0, CONDITION_SUCTION_LOW);
}

static bool count_alarm(void *context, const struct record_alarm *alarm) {
    (void)alarm;
    ++*(int *)context;
    return true;
}

static int recorded(void) {
    const struct record_alarm_filter lows = {.condition = "suction-low",
                                             .since_ms = TIMESTAMP_NONE};
    int count = 0;
    ck_assert_int_eq(record_alarm_list(store, &lows, count_alarm, &count), STORE_OK);
    return count;
}

static bool count_look(void *context, const char *system, const char *point,
                       const struct record_look *look) {
    ck_assert_str_eq(system, "house");
    ck_assert_str_eq(point, "suction");
    ck_assert_int_le(look->from_ms, END_MS);
    ++*(int *)context;
    return true;
}

static int looks_stored(void) {
    int count = 0;
    ck_assert_int_eq(record_look_list(store, count_look, &count), STORE_OK);
    return count;
}

START_TEST(a_look_cut_short_goes_on_after_a_restart) {
    int64_t late_ms = START_MS + DURATION_DAY_MS + 1000;
    int turns = 0;
    take(50.0, late_ms);
    settle(); /* the reading is kept, with what is to be done about it */
    ck_assert_int_eq(looks_stored(), 1);
    for (; turns < 3; turns++)
        turn();
    restart();
    ck_assert_uint_eq(pipeline_looks_waiting(pipeline), 1);
    for (; pipeline_looks_waiting(pipeline) > 0; turns++) {
        ck_assert_ptr_null(low()); /* before the end nobody knows that it stands */
        ck_assert_int_eq(recorded(), 0);
        take(121.0 + (double)(turns % 2), END_MS + (turns + 1) * EVERY_MS);
        turn();
        ck_assert_int_lt(turns, 100);
    }
    ck_assert_int_gt(turns, DAYS * 144 / 1024);
    ck_assert_ptr_nonnull(low());
    ck_assert_int_eq(low()->raised_ms, late_ms);
    ck_assert_int_eq(looks_stored(), 0);
    ck_assert_int_eq(recorded(), 1);
}
END_TEST

START_TEST(a_reading_that_comes_late_behind_the_look_begins_it_again) {
    take(50.0, START_MS + 20 * DURATION_DAY_MS + 1000);
    for (int i = 0; i < 3; i++)
        turn();
    take(50.0, START_MS + DURATION_DAY_MS + 1000);
    for (int i = 0; pipeline_looks_waiting(pipeline) > 0; i++) {
        turn();
        ck_assert_int_lt(i, 100);
    }
    ck_assert_ptr_nonnull(low());
    ck_assert_int_eq(low()->raised_ms, START_MS + DURATION_DAY_MS + 1000);
    ck_assert_int_eq(recorded(), 1);
}
END_TEST

/* ---- hours and days ---- */

static void put_marks(int64_t key, int64_t day) {
    const struct series_hour hour = {(20000 + day) * DURATION_DAY_MS, 1, 1.0, 1, 1.0, 1.0};
    const struct series_day row = {.local_day = 20000 + day,
                                   .start_ms = (20000 + day) * DURATION_DAY_MS,
                                   .end_ms = (20001 + day) * DURATION_DAY_MS,
                                   .count = 1,
                                   .median = 1.0,
                                   .mean = 1.0,
                                   .covered_ms = 1};
    ck_assert_int_eq(series_hour_put(store, key, &hour), STORE_OK);
    ck_assert_int_eq(series_day_put(store, key, &row), STORE_OK);
}

static bool is_marked(int64_t key, int64_t day) {
    struct series_hour hour;
    struct series_day row;
    size_t hours = 0, days = 0;
    int64_t from_ms = (20000 + day) * DURATION_DAY_MS;
    ck_assert_int_eq(series_hours(store, key, from_ms, from_ms + 1, &hour, 1, &hours), STORE_OK);
    ck_assert_int_eq(series_days(store, key, 20000 + day, 20001 + day, &row, 1, &days), STORE_OK);
    ck_assert_uint_eq(hours, 1);
    ck_assert_uint_eq(days, hour.count == 1 ? 1 : 0);
    return days == 1;
}

START_TEST(only_hours_and_days_of_late_readings_are_made_anew) {
    int64_t key = pipeline_key(pipeline, 0);
    const int64_t days[] = {5, 20, 40, 55};
    for (size_t i = 0; i < 4; i++)
        put_marks(key, days[i]);
    take(125.5, START_MS + 5 * DURATION_DAY_MS + 1000);
    take(125.5, START_MS + 55 * DURATION_DAY_MS + 1000);
    settle();
    ck_assert_int_eq(looks_stored(), 2);
    pipeline_look_again(pipeline, INT64_MAX);
    settle();
    ck_assert_uint_eq(pipeline_looks_waiting(pipeline), 0);
    for (size_t i = 0; i < 4; i++)
        ck_assert_int_eq(is_marked(key, days[i]), i == 1 || i == 2);
}
END_TEST

START_TEST(many_late_readings_of_a_point_are_a_few_spans) {
    for (int64_t day = 1; day < DAYS; day += 3)
        take(125.5, START_MS + day * DURATION_DAY_MS + 1000);
    settle();
    ck_assert_int_le(looks_stored(), 8);
    pipeline_look_again(pipeline, INT64_MAX);
    settle();
    ck_assert_int_eq(looks_stored(), 0);
    store_test_verify(store);
}
END_TEST

int main(void) {
    test_seed();
    TCase *tcase = tcase_create("second looks");
    tcase_set_timeout(tcase, 60);
    tcase_add_checked_fixture(tcase, set_up, tear_down);
    tcase_add_test(tcase, a_look_cut_short_goes_on_after_a_restart);
    tcase_add_test(tcase, a_reading_that_comes_late_behind_the_look_begins_it_again);
    tcase_add_test(tcase, only_hours_and_days_of_late_readings_are_made_anew);
    tcase_add_test(tcase, many_late_readings_of_a_point_are_a_few_spans);
    return run_test_case(tcase);
}
