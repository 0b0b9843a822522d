/* What a diagnosis is made of: which readings count, of those that a house has sent. */
#include "judged_house.h"
#include "measure/duration.h"
#include "monitor/system_diagnosis.h"
#include "test_support.h"

#include <math.h>

static const int64_t first_day = 19723; /* 1 January 2024 */

/* Power every 10 min, the gauge once an hour: when the fan stops, the gauge still shows all of its
   suction, which is of before. */
static double stops_at(void *context, size_t point, double day) {
    const double *stop_day = context;
    return (point == 0 ? 200.0 : day < *stop_day ? 30.0 : 0.0) + 0.01 * sin(70.0 * day);
}

START_TEST(what_was_read_before_the_change_says_nothing_of_it) {
    struct judged_house house;
    struct diagnosis diagnosis;
    double stop_day = 30.0;
    judged_house_open(&house,
                      "id: house\npoints:\n"
                      "  - {id: suction, quantity: suction, unit: Pa, every: 1 h}\n"
                      "  - {id: power, quantity: fan-power, unit: W, every: 1 h}\n",
                      first_day);
    ck_assert(monitor_load_baseline(house.monitor, 0, house.start_ms, 200.0, "x", false));
    ck_assert(monitor_load_baseline(house.monitor, 1, house.start_ms, 30.0, "x", false));
    judged_house_live(&house, 20.6, stops_at, &stop_day);
    const struct reading stopped = {
        monitor_point(house.monitor, 1)->newest_ms + DURATION_HOUR_MS / 2, 0.0};
    struct alarm alarm = {.system = 0,
                          .point = 1,
                          .condition = CONDITION_FAN_STOPPED,
                          .since_ms = stopped.time_ms,
                          .returned_ms = TIMESTAMP_NONE};
    monitor_reading(house.monitor, 1, &stopped, stopped.time_ms);
    ck_assert(system_diagnosis_make(house.monitor, &house.history, &alarm,
                                    stopped.time_ms + 10 * DURATION_MINUTE_MS, &diagnosis));
    ck_assert_int_eq(diagnosis.cause, CAUSE_FAN_OFF);
    ck_assert_uint_eq(diagnosis.measurements, 1);
    judged_house_close(&house);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("system diagnosis");
    tcase_add_test(tcase, what_was_read_before_the_change_says_nothing_of_it);
    return run_test_case(tcase);
}
