/* Units mixed up, as the monitor sees them reading by reading, and what is none. */
#include "monitor_bench.h"

#include <math.h>

START_TEST(a_unit_mixup_is_named) {
    live_for(SUCTION, 200.0, 0, 600);
    live_for(SUCTION, 200.0 / 249.08891, 600, 800);
    ck_assert_ptr_nonnull(strstr(told, "+sensor-implausible@"));
}
END_TEST

/* Numbers that a sensor sends in its own unit, taken for the declared one. */
static const struct {
    const char *declared, *sent;
    double before; /* in the declared unit */
    const char *suspected;
} unit_mixups[] = {
    {"Pa", "hPa", 270.0, "hPa"},
    {"Pa", "kPa", 270.0, "kPa"},
    {"Pa", "inH2O", 270.0, "inH2O"},
    {"Pa", "mmH2O", 270.0, "mmH2O"},
    {"inH2O", "Pa", 1.1, "Pa"},
    {"kPa", "hPa", 0.27, "hPa"},
    {"Bq/m3", "pCi/L", 148.0, "pCi/L"},
    {"pCi/L", "Bq/m3", 4.0, "Bq/m3"},
    {"m3/s", "cfm", 0.03, "cfm"},
    {"cfm", "m3/s", 60.0, "m3/s"},
    {"W", "mW", 20.0, "mW"},
    {"kW", "W", 0.02, "W"},
    {"mA", "A", 170.0, "A"},
    {"inH2O", "mmH2O", 1.1, "mmH2O"}, /* times 25.4 */
    {"inH2O", "hPa", 1.1, "hPa"},     /* times 2.4908891 */
    {"mmH2O", "hPa", 28.0, "hPa"},    /* 28 mmH2O are 2.746 hPa */
    {"cfm", "m3/h", 60.0, "m3/h"},    /* times 1.69901, NIST SP 811 */
    {"L/s", "cfm", 28.0, "cfm"},
    {"degC", "K", 20.0, "K"},
    {"degC", "degF", 20.0, "degF"},
    {"degF", "degC", 68.0, "degC"},
    {"degC", "degF", -15.0, "degF"},
};

START_TEST(the_suspected_unit_is_the_one_that_was_sent) {
    const char *declared = unit_mixups[_i].declared, *sent = unit_mixups[_i].sent;
    const struct unit *expected = unit_find(declared, strlen(declared));
    const struct unit *other = unit_find(sent, strlen(sent));
    double level = unit_to_si(expected, unit_mixups[_i].before);
    for (double noise = 0.97; noise < 1.04; noise += 0.03) { /* of what is measured meanwhile */
        double number = unit_from_si(other, level * noise);
        const char *suspected = judge_suspected_unit(expected, level, unit_to_si(expected, number));
        ck_assert_ptr_nonnull(suspected);
        ck_assert_str_eq(suspected, unit_mixups[_i].suspected);
    }
    ck_assert_ptr_null(judge_suspected_unit(expected, level, unit_to_si(expected, -999.0)));
    ck_assert_ptr_null(judge_suspected_unit(expected, level, unit_to_si(expected, 65535.0)));
}
END_TEST

/* A house with one thermometer outdoors; its monitor takes the place of the usual one. */
static void only_a_thermometer(void) {
    const char *const systems[] = {
        "id: elm-3\nname: 3 Elm\ntime_zone: UTC\npoints:\n"
        "  - {id: outdoors, quantity: outdoor-temperature, unit: degF, every: 1 h}\n"};
    tear_down();
    fleet = small_fleet(NULL, systems, 1);
    monitor = monitor_create(fleet);
    ck_assert_ptr_nonnull(monitor);
}

/* A day of -6 to 14 degC; from `changed_hour` on the thermometer sends degrees Celsius where its
   point says Fahrenheit: 10 degC would be 50 degF, is read as 10 degF, and that is -12.2 degC. */
static void days_outdoors(int64_t from_hour, int64_t to_hour, int64_t changed_hour) {
    for (int64_t hour = from_hour; hour < to_hour; hour++) {
        double celsius = 4.0 + 10.0 * sin((double)hour * 6.2831853 / 24.0);
        live(0, hour < changed_hour ? celsius : (celsius - 32.0) / 1.8, 60 * hour);
    }
}

START_TEST(a_thermometer_in_other_degrees_is_named) {
    only_a_thermometer();
    days_outdoors(0, 200, 150);
    ck_assert_ptr_nonnull(strstr(told, "+sensor-implausible@"));
}
END_TEST

/* 18 degC within half a day, as a front brings them, and a gap before a night of frost. */
START_TEST(weather_is_no_unit_mixup) {
    only_a_thermometer();
    days_outdoors(0, 150, 1000);
    for (int64_t hour = 150; hour < 190; hour++)
        live(0, hour < 162 ? 12.0 - 1.5 * (double)(hour - 150) : -6.0 + 0.1 * (double)(hour % 3),
             60 * hour);
    for (int64_t hour = 220; hour < 260; hour++) /* -21.1 is what -6 degC make, taken for degF */
        live(0, -21.1 + 0.1 * (double)(hour % 3), 60 * hour);
    ck_assert_ptr_null(strstr(told, "sensor-implausible"));
}
END_TEST

/* Field in mmH2O instead of Pa, each with its own wind: 8 Pa are 0.816 mmH2O; and back in Pa. */
START_TEST(a_test_hole_in_another_unit_is_named) {
    for (int64_t m = 0; m < 2000; m += 10) {
        double wind = 1.0 + (double)(m / 10 % 3) * 0.01;
        live(HOLE, (m < 900 || m >= 1500 ? 8.0 : 8.0 / 9.80665) * wind, m);
    }
    ck_assert_ptr_nonnull(strstr(told, "+sensor-implausible@980"));
    ck_assert_ptr_nonnull(strstr(told, "-sensor-implausible@"));
}
END_TEST

/* A mitigated house: some 46 Bq/m3, that swing so much that no reading alone fits 1/37 of them. */
static void days_of_radon(int64_t from_hour, int64_t to_hour, double unit) {
    for (int64_t hour = from_hour; hour < to_hour; hour++)
        live(RADON, unit * (46.0 + 20.0 * sin((double)hour * 1.7) + 9.0 * sin((double)hour * 0.26)),
             60 * hour);
}

START_TEST(a_radon_monitor_far_below_the_air_outdoors_is_named) {
    days_of_radon(-240, -238, 0.0); /* its first hours are no mean of a day */
    days_of_radon(0, 240, 1.0);
    ck_assert_ptr_null(strstr(told, "sensor-implausible"));
    days_of_radon(240, 340, 1.0 / 37.0);
    ck_assert_ptr_nonnull(strstr(told, "+sensor-implausible@"));
    ck_assert_ptr_null(strstr(told, "-sensor-implausible@"));
    days_of_radon(340, 400, 1.0);
    ck_assert_ptr_nonnull(strstr(told, "-sensor-implausible@"));
}
END_TEST

/* In pCi/L, shown in tenths, such a monitor reads 0.0 now and then: of 0.9 that is no step. */
START_TEST(a_monitor_that_often_reads_nothing_is_named) {
    days_of_radon(-240, 0, 1.0);
    for (int64_t hour = 0; hour < 100; hour++)
        live(RADON, hour % 3 == 0 ? 0.0 : 0.6 * (double)(hour % 4), 60 * hour);
    ck_assert_ptr_nonnull(strstr(told, "+sensor-implausible@"));
}
END_TEST

/* 10 Bq/m3 and a monitor that tells 24 for each of its counts: 1 in 2.4 h, and seldom none in two
   days. */
START_TEST(a_monitor_that_seldom_counts_is_no_fault) {
    for (int64_t hour = 0; hour < 400; hour++)
        live(RADON, hour % 5 == 0 && (hour / 40) % 3 ? 24.0 : 0.0, 60 * hour);
    ck_assert_ptr_null(strstr(told, "sensor-implausible"));
}
END_TEST

/* A storm turns the field over and lets go of it slowly; 8 Pa are ten times its last level. */
START_TEST(a_test_hole_after_a_storm_is_no_unit_mixup) {
    for (int64_t m = 0; m < 1600; m += 10) {
        double field = m < 600 ? 8.0 : m < 900 ? -5.0 : m < 1200 ? 0.81 : 8.0;
        live(HOLE, field * (1.0 + (double)(m / 10 % 3) * 0.01), m);
    }
    ck_assert_ptr_null(strstr(told, "sensor-implausible"));
}
END_TEST

/* Water in the pipe takes the field from 33 Pa to 3.6, a tenth but for some percent. */
START_TEST(a_lost_field_is_no_unit_mixup) {
    for (int64_t m = 0; m < 1600; m += 10) {
        double step = (double)(m / 10 % 3);
        live(HOLE, m < 900 ? 31.0 + 2.0 * step : 3.6 + 0.03 * step, m);
    }
    ck_assert_ptr_null(strstr(told, "sensor-implausible"));
}
END_TEST

/* Half an hour at half the suction, and then a fan that stands still: a level that slides down to
   its new place passes ten times the value, which is the step from mmH2O to Pa. */
START_TEST(a_fall_after_a_half_is_no_unit_mixup) {
    for (int64_t m = 0; m < 800; m += 10) {
        double suction = m >= 180 ? 8.0 : m >= 40 && m < 70 ? 121.0 : 239.0;
        live(SUCTION, suction + (double)(m / 10 % 3), m);
    }
    ck_assert_ptr_null(strstr(told, "sensor-implausible"));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("monitor");
    tcase_add_checked_fixture(tcase, set_up, tear_down);
    tcase_add_test(tcase, a_unit_mixup_is_named);
    tcase_add_loop_test(tcase, the_suspected_unit_is_the_one_that_was_sent, 0,
                        sizeof unit_mixups / sizeof unit_mixups[0]);
    tcase_add_test(tcase, a_thermometer_in_other_degrees_is_named);
    tcase_add_test(tcase, weather_is_no_unit_mixup);
    tcase_add_test(tcase, a_test_hole_in_another_unit_is_named);
    tcase_add_test(tcase, a_radon_monitor_far_below_the_air_outdoors_is_named);
    tcase_add_test(tcase, a_monitor_that_often_reads_nothing_is_named);
    tcase_add_test(tcase, a_monitor_that_seldom_counts_is_no_fault);
    tcase_add_test(tcase, a_lost_field_is_no_unit_mixup);
    tcase_add_test(tcase, a_test_hole_after_a_storm_is_no_unit_mixup);
    tcase_add_test(tcase, a_fall_after_a_half_is_no_unit_mixup);
    return run_test_case(tcase);
}
