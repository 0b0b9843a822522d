#include "measure/quantity.h"
#include "test_support.h"

#include <math.h>
#include <string.h>

START_TEST(each_word_leads_to_its_row_and_back) {
    static const char *const words[QUANTITY_COUNT] = {"suction",
                                                      "field",
                                                      "velocity-pressure",
                                                      "airflow",
                                                      "fan-power",
                                                      "fan-current",
                                                      "radon",
                                                      "indoor-temperature",
                                                      "outdoor-temperature",
                                                      "barometric-pressure",
                                                      "humidity",
                                                      "water-level",
                                                      "battery"};
    for (int i = 0; i < QUANTITY_COUNT; i++) {
        enum quantity found = QUANTITY_COUNT;
        ck_assert(quantity_find(words[i], &found));
        ck_assert_int_eq((int)found, i);
        const struct quantity_info *info = quantity_info(found);
        ck_assert_str_eq(info->name, words[i]);
        ck_assert_double_lt(info->lowest, info->highest);
        ck_assert_double_ge(info->noise_floor, 0.0);
        ck_assert(quantity_allows(found, info->dimension));
    }
    enum quantity untouched = QUANTITY_RADON;
    ck_assert(!quantity_find("Radon", &untouched));
    ck_assert(!quantity_find("", &untouched));
    ck_assert_int_eq(untouched, QUANTITY_RADON);
}
END_TEST

START_TEST(small_pressures_are_shown_in_pascals) {
    for (int i = 0; i < QUANTITY_COUNT; i++) {
        enum quantity quantity = (enum quantity)i;
        bool small = quantity == QUANTITY_FIELD || quantity == QUANTITY_VELOCITY_PRESSURE;
        ck_assert_int_eq(quantity_units(quantity, UNIT_SYSTEM_US),
                         small ? UNIT_SYSTEM_SI : UNIT_SYSTEM_US);
        ck_assert_int_eq(quantity_units(quantity, UNIT_SYSTEM_SI), UNIT_SYSTEM_SI);
    }
}
END_TEST

START_TEST(only_a_battery_has_two_dimensions) {
    for (int i = 0; i < QUANTITY_COUNT; i++) {
        int allowed = 0;
        for (int k = 0; k < DIMENSION_COUNT; k++)
            allowed += quantity_allows((enum quantity)i, (enum dimension)k);
        ck_assert_int_eq(allowed, i == QUANTITY_BATTERY ? 2 : 1);
    }
    ck_assert(quantity_allows(QUANTITY_BATTERY, DIMENSION_VOLTAGE));
    ck_assert(quantity_allows(QUANTITY_BATTERY, DIMENSION_RATIO));
}
END_TEST

START_TEST(what_cannot_be_told_from_zero_is_no_baseline) {
    for (int i = 0; i < QUANTITY_COUNT; i++)
        ck_assert_double_gt(quantity_resolution((enum quantity)i), 0.0);
    ck_assert(quantity_can_be_baseline(QUANTITY_SUCTION, 1.0));
    ck_assert(!quantity_can_be_baseline(QUANTITY_SUCTION, 4.9e-324));
    ck_assert(!quantity_can_be_baseline(QUANTITY_FIELD, -2.0));
    ck_assert(!quantity_can_be_baseline(QUANTITY_FAN_CURRENT, 0.0));
    ck_assert(quantity_can_be_baseline(QUANTITY_OUTDOOR_TEMPERATURE, -12.0));
    ck_assert(quantity_can_be_baseline(QUANTITY_RADON, 0.0));
}
END_TEST

static const struct {
    enum quantity quantity;
    double value;
    const char *unit;
    bool plausible;
} rows[] = {
    {QUANTITY_SUCTION, 0.6, "inH2O", true},
    {QUANTITY_SUCTION, 0.0, "Pa", true},
    {QUANTITY_SUCTION, -1.0, "inH2O", true},   /* tubes swapped: wrong, but possible */
    {QUANTITY_SUCTION, 30.0, "inH2O", true},   /* a strong blower on tight soil */
    {QUANTITY_SUCTION, 154.0, "inH2O", false}, /* pascals labelled as inches */
    {QUANTITY_SUCTION, 10000.0, "Pa", true},
    {QUANTITY_SUCTION, 10000.1, "Pa", false},
    {QUANTITY_SUCTION, -5000.1, "Pa", false},
    {QUANTITY_SUCTION, -999.0, "Pa", false},
    {QUANTITY_SUCTION, 9999.0, "Pa", false},
    {QUANTITY_FIELD, 6.0, "Pa", true},
    {QUANTITY_FIELD, -3.0, "Pa", true},
    {QUANTITY_VELOCITY_PRESSURE, 2.5, "Pa", true},
    {QUANTITY_AIRFLOW, 41.0, "cfm", true},
    {QUANTITY_FAN_POWER, 22.0, "W", true},
    {QUANTITY_FAN_POWER, 0.0, "W", true},
    {QUANTITY_FAN_CURRENT, 0.4, "A", true},
    {QUANTITY_RADON, 0.0, "Bq/m3", true},
    {QUANTITY_RADON, 48.2, "pCi/L", true},
    {QUANTITY_RADON, 2000.0, "pCi/L", true},
    {QUANTITY_RADON, -1.0, "pCi/L", false},
    {QUANTITY_RADON, 9999.0, "pCi/L", false},
    {QUANTITY_RADON, 65535.0, "Bq/m3", false},
    {QUANTITY_INDOOR_TEMPERATURE, 21.0, "degC", true},
    {QUANTITY_OUTDOOR_TEMPERATURE, -40.0, "degF", true},
    {QUANTITY_INDOOR_TEMPERATURE, 85.0, "degC", false},
    {QUANTITY_OUTDOOR_TEMPERATURE, 85.0, "degC", false},
    {QUANTITY_OUTDOOR_TEMPERATURE, 85.0, "degF", true},
    {QUANTITY_OUTDOOR_TEMPERATURE, -127.0, "degC", false},
    {QUANTITY_BAROMETRIC_PRESSURE, 1013.25, "hPa", true},
    {QUANTITY_BAROMETRIC_PRESSURE, 29.92, "inHg", true},
    {QUANTITY_BAROMETRIC_PRESSURE, 1013.25, "Pa", false},
    {QUANTITY_BAROMETRIC_PRESSURE, 999.99, "hPa", true},
    {QUANTITY_HUMIDITY, 45.0, "%RH", true},
    {QUANTITY_HUMIDITY, 110.0, "%RH", false},
    {QUANTITY_HUMIDITY, -0.1, "%RH", false},
    {QUANTITY_WATER_LEVEL, 0.3, "m", true},
    {QUANTITY_WATER_LEVEL, -2.0, "in", true},
    {QUANTITY_BATTERY, 87.0, "%", true},
    {QUANTITY_BATTERY, 3.6, "V", true},
    {QUANTITY_BATTERY, 87.0, "V", false},
    {QUANTITY_BATTERY, -1.0, "%", false},
    {QUANTITY_BATTERY, 3.6, "A", false},
    {QUANTITY_SUCTION, 20.0, "degC", false},
};

START_TEST(what_is_possible_passes_and_nothing_else) {
    const struct unit *unit = unit_find(rows[_i].unit, strlen(rows[_i].unit));
    double si = unit_to_si(unit, rows[_i].value);
    ck_assert_int_eq(quantity_plausible(rows[_i].quantity, unit->dimension, si),
                     rows[_i].plausible);
}
END_TEST

START_TEST(no_code_of_a_broken_sensor_passes_in_the_units_sensors_use) {
    static const double codes[] = {-999.0, -9999.0, 32767.0, 65535.0};
    static const struct {
        enum quantity quantity;
        const char *unit;
    } sent[] = {
        {QUANTITY_SUCTION, "Pa"},
        {QUANTITY_SUCTION, "inH2O"},
        {QUANTITY_FIELD, "Pa"},
        {QUANTITY_FIELD, "inH2O"},
        {QUANTITY_VELOCITY_PRESSURE, "Pa"},
        {QUANTITY_AIRFLOW, "cfm"},
        {QUANTITY_AIRFLOW, "m3/h"},
        {QUANTITY_FAN_POWER, "W"},
        {QUANTITY_FAN_CURRENT, "A"},
        {QUANTITY_RADON, "Bq/m3"},
        {QUANTITY_RADON, "pCi/L"},
        {QUANTITY_INDOOR_TEMPERATURE, "degC"},
        {QUANTITY_OUTDOOR_TEMPERATURE, "degF"},
        {QUANTITY_BAROMETRIC_PRESSURE, "hPa"},
        {QUANTITY_HUMIDITY, "%"},
        {QUANTITY_WATER_LEVEL, "cm"},
        {QUANTITY_BATTERY, "%"},
        {QUANTITY_BATTERY, "V"},
    };
    for (size_t i = 0; i < sizeof(sent) / sizeof(sent[0]); i++) {
        const struct unit *unit = unit_find(sent[i].unit, strlen(sent[i].unit));
        for (size_t k = 0; k < sizeof(codes) / sizeof(codes[0]); k++) {
            bool plausible =
                quantity_plausible(sent[i].quantity, unit->dimension, unit_to_si(unit, codes[k]));
            ck_assert_msg(!plausible, "%s %g", sent[i].unit, codes[k]);
        }
    }
    for (int i = 0; i < QUANTITY_COUNT; i++) {
        enum dimension dimension = quantity_info((enum quantity)i)->dimension;
        ck_assert(!quantity_plausible((enum quantity)i, dimension, NAN));
        ck_assert(!quantity_plausible((enum quantity)i, dimension, INFINITY));
        ck_assert(!quantity_plausible((enum quantity)i, dimension, -INFINITY));
    }
}
END_TEST

int main(void) {
    TCase *quantity = tcase_create("quantity");
    tcase_add_test(quantity, each_word_leads_to_its_row_and_back);
    tcase_add_test(quantity, only_a_battery_has_two_dimensions);
    tcase_add_test(quantity, what_cannot_be_told_from_zero_is_no_baseline);
    tcase_add_test(quantity, small_pressures_are_shown_in_pascals);
    tcase_add_loop_test(quantity, what_is_possible_passes_and_nothing_else, 0,
                        (int)(sizeof(rows) / sizeof(rows[0])));
    tcase_add_test(quantity, no_code_of_a_broken_sensor_passes_in_the_units_sensors_use);
    return run_test_case(quantity);
}
