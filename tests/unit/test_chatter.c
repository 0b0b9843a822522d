#include "alarm/chatter.h"

#include "measure/duration.h"
#include "measure/timestamp.h"
#include "test_support.h"

#define HOUR DURATION_HOUR_MS
#define DAY DURATION_DAY_MS

static const int64_t last_ms = INT64_C(1767225600000); /* 2026-01-01T00:00:00Z */

/* Raises so many days before the last one, each over after six hours, the newest first. */
static const struct {
    const char *what;
    enum condition condition;
    enum priority priority;
    int days[4];
    size_t count;
    int64_t over_days, standing_days; /* of calm that is needed; 0: it does not come and go */
} weeks[] = {
    {"two", CONDITION_SYSTEM_SILENT, PRIORITY_MEDIUM, {0, 1}, 2, 0, 0},
    {"three in two days", CONDITION_SYSTEM_SILENT, PRIORITY_MEDIUM, {0, 1, 2}, 3, 7, 7},
    {"three in forty days", CONDITION_SENSOR_SILENT, PRIORITY_LOW, {0, 20, 40}, 3, 40, 7},
    {"the last three count", CONDITION_SYSTEM_SILENT, PRIORITY_MEDIUM, {0, 10, 20, 80}, 4, 20, 7},
    {"the third is too long ago", CONDITION_SYSTEM_SILENT, PRIORITY_MEDIUM, {0, 20, 92}, 3, 0, 0},
    {"over for a week each time", CONDITION_FAN_WEAK, PRIORITY_MEDIUM, {0, 10, 20}, 3, 20, 14},
    {"high priority", CONDITION_SUCTION_LOST, PRIORITY_HIGH, {0, 1, 2}, 3, 0, 0},
    {"made high", CONDITION_SYSTEM_SILENT, PRIORITY_HIGH, {0, 1, 2}, 3, 0, 0},
    {"the daemon itself", CONDITION_BROKER_LOST, PRIORITY_MEDIUM, {0, 1, 2}, 3, 0, 0},
};

START_TEST(three_raises_in_three_months_come_and_go) {
    struct chatter chatter = chatter_begin(weeks[_i].condition, weeks[_i].priority, last_ms);
    for (size_t i = 0; i < weeks[_i].count; i++) {
        int64_t raised_ms = last_ms - weeks[_i].days[i] * DAY;
        chatter_add(&chatter, raised_ms, i == 0 ? TIMESTAMP_NONE : raised_ms + 6 * HOUR, true);
        chatter_add(&chatter, raised_ms - HOUR, raised_ms, false); /* nobody was told of it */
    }
    ck_assert_msg(chatter_slow_calm_ms(&chatter, false) == weeks[_i].over_days * DAY, "%s",
                  weeks[_i].what);
    ck_assert_msg(chatter_slow_calm_ms(&chatter, true) == weeks[_i].standing_days * DAY, "%s",
                  weeks[_i].what);
}
END_TEST

START_TEST(five_changes_in_an_hour_come_and_go) {
    struct chatter chatter = chatter_begin(CONDITION_BROKER_LOST, PRIORITY_MEDIUM, last_ms);
    chatter_add(&chatter, last_ms, TIMESTAMP_NONE, true);
    chatter_add(&chatter, last_ms - HOUR / 2, last_ms - HOUR / 4, true);
    chatter_add(&chatter, last_ms - 2 * HOUR, last_ms - HOUR, true);
    ck_assert_int_eq(chatter_fast_calm_ms(&chatter), 0);
    chatter_add(&chatter, last_ms - HOUR, last_ms - HOUR + 1, false);
    ck_assert_int_eq(chatter_fast_calm_ms(&chatter), HOUR);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("chatter");
    tcase_add_loop_test(tcase, three_raises_in_three_months_come_and_go, 0,
                        sizeof weeks / sizeof weeks[0]);
    tcase_add_test(tcase, five_changes_in_an_hour_come_and_go);
    return run_test_case(tcase);
}
