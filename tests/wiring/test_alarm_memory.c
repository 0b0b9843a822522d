/*
 * What is known of an alarm, with each allocation failing in turn: read back from the store and
 * explained anew it loses no word of who has it, nor what causes it.
 */
#include "failing_memory.h"
#include "measure/duration.h"
#include "pipeline/explain.h"
#include "pipeline/pipeline.h"
#include "small_fleet.h"
#include "store_support.h"

#include <math.h>

enum { RADON, DAYS = 40 };

static const char house[] = "id: house\n"
                            "time_zone: UTC\n"
                            "points:\n"
                            "  - {id: radon, quantity: radon, unit: Bq/m3, every: 1 h}\n";
static const char cause[] = "\"cause\":\"fan-worn\"";
static const char details[] = "{\"cause\":\"fan-worn\",\"confidence\":0.9}";
static const int64_t now_ms = DAYS * DURATION_DAY_MS + 1;

static const char *folder, *path;
static struct fleet *fleet;
static struct store *store;
static struct pipeline *pipeline;

static void open_store(void) {
    char why[200] = "";
    store = store_test_open(path, NULL);
    pipeline = pipeline_open(fleet, store, now_ms, why, sizeof why);
    ck_assert_msg(pipeline != NULL, "%s", why);
}

static void close_store(void) {
    pipeline_close(pipeline);
    store_close(store);
}

static struct alarm *standing(void) {
    return alarm_book_standing(pipeline_alarms(pipeline), 0, RADON, CONDITION_RADON_ABOVE_ACTION);
}

/* Somebody has taken on an alarm whose cause is settled. */
static void set_up(void) {
    const char *const systems[] = {house};
    fleet = small_fleet(NULL, systems, 1);
    folder = store_test_folder();
    path = store_test_path(folder, "house.db");
    open_store();
    for (int64_t time_ms = 0; time_ms < now_ms; time_ms += DURATION_HOUR_MS) {
        const struct reading reading = {time_ms, 400.0};
        ck_assert_int_eq(pipeline_take(pipeline, RADON, &reading, SERIES_FROM_SENSOR, time_ms),
                         PIPELINE_NEW);
    }
    struct alarm_book *book = pipeline_alarms(pipeline);
    const struct alarm facts = {.point = RADON,
                                .condition = CONDITION_RADON_ABOVE_ACTION,
                                .priority = PRIORITY_HIGH,
                                .since_ms = now_ms,
                                .raised_ms = now_ms,
                                .baseline = NAN};
    struct alarm *alarm = alarm_book_raise(book, &facts);
    ck_assert_ptr_nonnull(alarm);
    alarm->details = strdup(details);
    ck_assert(alarm_book_acknowledge(book, alarm, "Ana", "tomorrow", now_ms));
    ck_assert_int_eq(pipeline_settle(pipeline, now_ms), STORE_OK);
}

static void tear_down(void) {
    close_store();
    fleet_destroy(fleet);
    store_test_remove(folder);
}

static void check_words(long failures) {
    const struct alarm *alarm = standing();
    ck_assert_msg(alarm && alarm->acknowledged.by && alarm->acknowledged.note && alarm->details,
                  "allocation %ld: words are lost", failures);
    ck_assert_str_eq(alarm->acknowledged.by, "Ana");
    ck_assert_str_eq(alarm->acknowledged.note, "tomorrow");
    ck_assert_str_eq(alarm->details, details);
}

START_TEST(an_alarm_is_read_whole_or_not_at_all) {
    long failures = 0;
    bool failed;
    do {
        char why[200] = "";
        pipeline_close(pipeline);
        failing_memory_arm(++failures);
        pipeline = pipeline_open(fleet, store, now_ms, why, sizeof why);
        failed = allocation_failed;
        failing_memory_arm(0);
        ck_assert_msg(pipeline || why[0], "allocation %ld: no reason", failures);
        if (pipeline)
            check_words(failures);
    } while (failed);
    ck_assert_int_gt(failures, 10);
}
END_TEST

START_TEST(a_settled_cause_stays_beside_the_year) {
    struct alarm *alarm = standing();
    long failures = 0;
    bool failed;
    do {
        free(alarm->details);
        alarm->details = strdup(details);
        failing_memory_arm(++failures);
        explain_alarm(pipeline_memory(pipeline), alarm);
        failed = allocation_failed;
        failing_memory_arm(0);
        ck_assert_msg(strstr(alarm->details, cause) != NULL, "allocation %ld: %s", failures,
                      alarm->details);
    } while (failed);
    ck_assert_ptr_nonnull(strstr(alarm->details, "\"year\""));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("alarm_memory");
    tcase_add_checked_fixture(tcase, set_up, tear_down);
    tcase_add_test(tcase, an_alarm_is_read_whole_or_not_at_all);
    tcase_add_test(tcase, a_settled_cause_stays_beside_the_year);
    return run_test_case(tcase);
}
