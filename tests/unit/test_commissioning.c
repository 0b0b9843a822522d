#include "measure/time_zone.h"
#include "measure/timestamp.h"
#include "monitor/proved_field.h"
#include "settings/system_description.h"
#include "test_support.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define NOW_MS (INT64_C(20454) * 86400000) /* 2026-01-01 */

/* What a bad file must say: exactly one line. */
struct refused_file {
    const char *text, *error;
};

static const struct refused_file refused[] = {
    {"by: x\n", "bad.yaml:1: date: is missing; allowed: a date such as 2025-10-03"},
    {"date: 2025-10-03\n", "bad.yaml:1: by: is missing; allowed: who measured"},
    {"date: 2025-02-30\nby: x\n",
     "bad.yaml:1: date: 2025-02-30 is not a date; allowed: a date such as 2025-10-03, or a time "
     "with its offset such as 2025-10-03T14:30:00-06:00"},
    {"date: 03.10.2025\nby: x\n",
     "bad.yaml:1: date: 03.10.2025 is not a date; allowed: a date such as 2025-10-03, or a time "
     "with its offset such as 2025-10-03T14:30:00-06:00"},
    {"date: 2025-10-03T10:00:00\nby: x\n",
     "bad.yaml:1: date: 2025-10-03T10:00:00 is not a date; allowed: a date such as 2025-10-03, or "
     "a time with its offset such as 2025-10-03T14:30:00-06:00"},
    {"date: 2025-10-03\nby: ''\n", "bad.yaml:2: by: \"\" is empty; allowed: one line of text"},
    {"date: 2025-10-03\nby: x\nnext_calibration: 2025-10-03\n",
     "bad.yaml:3: next_calibration: is not after date; allowed: a later date"},
    {"date: 2025-10-03\nby: x\nradon_before: 9\n",
     "bad.yaml:3: radon_before: 9 lacks a unit; allowed: 0 to 1000000 Bq/m3, such as 9.1 pCi/L"},
    {"date: 2025-10-03\nby: x\nradon_after: 1 Pa\n",
     "bad.yaml:3: radon_after: 1 Pa is not a radon concentration; allowed: 0 to 1000000 Bq/m3, "
     "such as 1.2 pCi/L"},
    {"date: 2025-10-03\nby: x\nradon_after: -1 pCi/L\n",
     "bad.yaml:3: radon_after: -1 pCi/L is not a radon concentration; allowed: 0 to 1000000 Bq/m3, "
     "such as 1.2 pCi/L"},
    {"date: 2025-10-03\nby: x\nground_exponent: 2.5\n",
     "bad.yaml:3: ground_exponent: 2.5 is not an exponent of pressure over flow; allowed: 1 "
     "(laminar) to 2 (turbulent)"},
    {"date: 2025-10-03\nby: x\nchanged: fan\n", "bad.yaml:3: changed: is a single value; allowed: "
                                                "a list of fan, ground, piping, gauge, monitor; or "
                                                "nothing, alone"},
    {"date: 2025-10-03\nby: x\nchanged: [roof]\n",
     "bad.yaml:3: changed: roof is nothing that changes; allowed: a list of fan, ground, piping, "
     "gauge, monitor; or nothing, alone"},
    {"date: 2025-10-03\nby: x\nchanged: [fan, nothing]\n",
     "bad.yaml:3: changed: nothing stands beside others; allowed: a list of fan, ground, piping, "
     "gauge, monitor; or nothing, alone"},
    {"date: 2025-10-03\nby: x\npoints: {sucktion: 1 inH2O}\n",
     "bad.yaml:3: points.sucktion: is no point of mill-house-3; did you mean \"suction\"? allowed: "
     "its points' ids"},
    {"date: 2025-10-03\nby: x\npoints:\n  suction: 1.1\n",
     "bad.yaml:4: points.suction: 1.1 is not a value with a unit; allowed for suction: Pa, inH2O, "
     "mmH2O, hPa, kPa, inHg"},
    {"date: 2025-10-03\nby: x\npoints:\n  suction: 20 W\n",
     "bad.yaml:4: points.suction: 20 W has a unit of another kind; allowed for suction: Pa, inH2O, "
     "mmH2O, hPa, kPa, inHg"},
    {"date: 2025-10-03\nby: x\npoints:\n  suction: -1 inH2O\n",
     "bad.yaml:4: points.suction: -1 inH2O can be no baseline of suction; allowed: clearly above "
     "0, "
     "or leave the point out"},
    {"date: 2025-10-03\nby: x\npoints:\n  suction: 9999 inH2O\n",
     "bad.yaml:4: points.suction: 9999 inH2O is impossible for suction; allowed: a possible value"},
    {"date: 2025-10-03\nby: x\npoints: [1]\n",
     "bad.yaml:3: points: is a list; allowed: a map of point ids and values"},
    {"date: 2025-10-03\nby: x\nbefore: 9 pCi/L\n",
     "bad.yaml:3: before: unknown key; did you mean \"radon_before\"? Known keys: date, by, "
     "instruments, next_calibration, radon_before, radon_after, ground_exponent, changed, points, "
     "equipment, test_holes, back_draft, notes"},
    {"date: 2025-10-03\nby: x\nback_draft: fine\n",
     "bad.yaml:3: back_draft: fine is not a result of a back-draft test; allowed: passed, failed "
     "or "
     "no appliance; left out: not tested"},
    {"date: 2025-10-03\nby: x\ntest_holes: {a: 1}\n",
     "bad.yaml:3: test_holes: is a map; allowed: a list of fan settings"},
    {"date: 2025-10-03\nby: x\ntest_holes: [{suction: 1.1}]\n",
     "bad.yaml:3: test_holes[1].suction: 1.1 lacks a unit; allowed: 1 Pa to 10000 Pa, such as 1.10 "
     "inH2O"},
    {"date: 2025-10-03\nby: x\ntest_holes: [{flow: 9000 cfm}]\n",
     "bad.yaml:3: test_holes[1].flow: 9000 cfm is not an air flow; allowed: 0.1 L/s to 2000 L/s, "
     "such as 41 cfm"},
    {"date: 2025-10-03\nby: x\ntest_holes:\n- {holes: {north: 5 Pa}}\n- {holes: {north: 5 W}}\n",
     "bad.yaml:5: test_holes[2].holes.north: 5 W is no pressure at a test hole; allowed: a "
     "pressure "
     "from -500 Pa to 1000 Pa, such as 6.0 Pa"},
    {"date: 2025-10-03\nby: x\ntest_holes: [{hole: {north: 5 Pa}}]\n",
     "bad.yaml:3: test_holes[1].hole: unknown key; did you mean \"holes\"? Known keys: setting, "
     "suction, flow, holes"},
    {"date: 2025-10-03\nby: x\nequipment: {model: a}\n",
     "bad.yaml:3: equipment: is a map; allowed: a list of fans"},
    {"date: 2025-10-03\nby: x\nequipment: [{serial: a}]\n",
     "bad.yaml:3: equipment[1].model: is missing; allowed: the id of a fan model"},
    {"date: 2025-10-03\nby: x\nequipment: [{model: a, branch: west}]\n",
     "bad.yaml:3: equipment[1].branch: \"west\" is no branch of mill-house-3; allowed: the id of "
     "one"},
    {"date: 2025-10-03\nby: x\nequipment: [{model: a, installed: 2025}]\n",
     "bad.yaml:3: equipment[1].installed: 2025 is not a date; allowed: a date such as 2025-09-30"},
    {"date: 2025-10-03\nby: x\nequipment: [{model: a, warranty: 2030-01-01}]\n",
     "bad.yaml:3: equipment[1].warranty: unknown key; did you mean \"warranty_until\"? Known keys: "
     "branch, model, serial, installed, warranty_until, why"},
    {"date: 2025-10-03\nby: x\nequipment: [{model: a, why: old}]\n",
     "bad.yaml:3: equipment[1].why: old is not a reason why the fan before was taken out; allowed: "
     "failed, worn or other"},
    {"date: 2026-01-02\nby: x\n", "bad.yaml:1: date: is ahead; allowed: a time that has come"},
    {"date: 2025-10-03\nby: x\nequipment: [{model: a, installed: 2026-01-02}]\n",
     "bad.yaml:3: equipment[1].installed: is ahead; allowed: a day that has come"},
    {"date: 2025-10-03\nby: x\nequipment:\n- model: a\n  installed: 2025-10-03\n"
     "  warranty_until: 2025-10-02\n",
     "bad.yaml:6: equipment[1].warranty_until: is before installed; allowed: a later day"},
    {"date: 2025-10-03\nby: x\nnotes: \"a\\ab\"\n",
     "bad.yaml:3: notes: \"a?b\" has a control character; allowed: lines of text"},
    {"date: 2025-10-03\nby: x\npoints:\n  suction: 0 Pa\n",
     "bad.yaml:4: points.suction: 0 Pa can be no baseline of suction; allowed: clearly above 0, "
     "or leave the point out"},
    {"date: 2025-10-03\nby: x\npoints:\n  suction: 4.9e-324 Pa\n",
     "bad.yaml:4: points.suction: 4.9e-324 Pa can be no baseline of suction; allowed: clearly "
     "above "
     "0, or leave the point out"},
    {"date: 2025-10-03\nby: x\npoints:\n  hole-1: 5 pCi/L\n",
     "bad.yaml:4: points.hole-1: 5 pCi/L has a unit of another kind; allowed for field: Pa, inH2O, "
     "mmH2O, hPa, kPa, inHg"},
};

static struct system_description *house(void) {
    char *text = test_read_file(SOURCE_DIR "/config/systems/example.yaml", NULL);
    struct settings_errors errors = {0};
    struct system_description *system =
        system_description_parse("sys.yaml", text, strlen(text), NULL, &errors);
    ck_assert_ptr_nonnull(system);
    free(text);
    return system;
}

static struct commissioning *parse(const char *text, const struct time_zone *zone,
                                   struct settings_errors *errors) {
    struct system_description *system = house();
    struct commissioning *record =
        commissioning_parse("bad.yaml", text, strlen(text), system, zone, NOW_MS, errors);
    system_description_free(system);
    return record;
}

static struct commissioning *parse_good(const char *text, const struct time_zone *zone) {
    struct settings_errors errors = {0};
    struct commissioning *record = parse(text, zone, &errors);
    ck_assert_msg(errors.count == 0, "%s", errors.count ? errors.lines[0] : "");
    ck_assert_ptr_nonnull(record);
    return record;
}

START_TEST(a_bad_record_says_where_what_and_what_is_allowed) { /* _i is the row */
    struct settings_errors errors = {0};
    struct time_zone *utc = time_zone_create_utc();
    ck_assert_ptr_null(parse(refused[_i].text, utc, &errors));
    ck_assert_uint_eq(errors.count, 1);
    ck_assert_str_eq(errors.lines[0], refused[_i].error);
    settings_errors_free(&errors);
    time_zone_destroy(utc);
}
END_TEST

/* A zone of RFC 8536 with nothing but a footer: Denver's rule, 6 or 7 hours behind UTC. */
static struct time_zone *denver(void) {
    static const char header_1[44] = {'T', 'Z', 'i', 'f', '2'};
    char bytes[512];
    size_t used = 0;
    const char types[] = {0, 0, 0, 0, 0, 0, 'L', 'M', 'T', 0};
    for (int version = 1; version <= 2; version++) {
        memcpy(bytes + used, header_1, 44);
        bytes[used + 39] = 1; /* typecnt */
        bytes[used + 43] = 4; /* charcnt */
        used += 44;
        memcpy(bytes + used, types, sizeof types);
        used += sizeof types;
    }
    static const char footer[] = "\nMST7MDT,M3.2.0,M11.1.0\n";
    memcpy(bytes + used, footer, sizeof footer - 1);
    used += sizeof footer - 1;
    struct time_zone *zone = time_zone_create("America/Denver", bytes, used);
    ck_assert_ptr_nonnull(zone);
    return zone;
}

START_TEST(a_date_begins_at_local_midnight) {
    struct time_zone *zone = denver(), *utc = time_zone_create_utc();
    int64_t expected_ms = 0;
    struct commissioning *record = parse_good("date: 2025-10-03\nby: x\n", zone);
    ck_assert(timestamp_parse("2025-10-03T06:00:00Z", 20, &expected_ms)); /* MDT is UTC-6 */
    ck_assert_int_eq(record->from_ms, expected_ms);
    commissioning_free(record);
    record = parse_good("date: 2025-12-03\nby: x\n", zone);
    ck_assert(timestamp_parse("2025-12-03T07:00:00Z", 20, &expected_ms)); /* MST is UTC-7 */
    ck_assert_int_eq(record->from_ms, expected_ms);
    commissioning_free(record);
    record = parse_good("date: 2025-10-03T14:30:00-06:00\nby: x\n", utc);
    ck_assert(timestamp_parse("2025-10-03T20:30:00Z", 20, &expected_ms));
    ck_assert_int_eq(record->from_ms, expected_ms);
    ck_assert_int_eq(record->next_calibration_ms, TIMESTAMP_NONE);
    ck_assert(isnan(record->radon_before_bq_m3) && isnan(record->radon_after_bq_m3));
    ck_assert(isnan(record->ground_exponent));
    ck_assert_uint_eq(record->value_count, 0);
    commissioning_free(record);
    time_zone_destroy(zone);
    time_zone_destroy(utc);
}
END_TEST

START_TEST(test_holes_give_the_exponent_where_the_record_gives_none) {
    static const char holes[] =
        "date: 2025-10-03\nby: x\nback_draft: no appliance\ntest_holes:\n"
        "- {setting: full speed, suction: 200 Pa, flow: 20 L/s, holes: {hole-1: 6 Pa, north: 2.5 "
        "Pa}}\n"
        "- {suction: 100 Pa, flow: 12 L/s, holes: {hole-1: 3 Pa}}\n- {suction: 40 Pa}\n";
    char more[sizeof holes + 40];
    struct time_zone *utc = time_zone_create_utc();
    struct system_description *system = house();
    struct settings_errors errors = {0};
    struct commissioning *record =
        proved_field_record("r.yaml", holes, strlen(holes), system, utc, NOW_MS, &errors);
    ck_assert_msg(record != NULL, "%s", errors.count ? errors.lines[0] : "");
    ck_assert_double_eq_tol(record->ground_exponent, log(2.0) / log(20.0 / 12.0), 1e-9);
    ck_assert_int_eq(record->back_draft, BACK_DRAFT_NO_APPLIANCE);
    ck_assert_uint_eq(record->test_holes.count, 3);
    ck_assert_str_eq(record->test_holes.settings[0].setting, "full speed");
    ck_assert_str_eq(record->test_holes.settings[0].holes[1].name, "north");
    ck_assert_double_eq(record->test_holes.settings[0].holes[1].field_pa, 2.5);
    ck_assert(isnan(record->test_holes.settings[2].flow_m3_s));
    commissioning_free(record);
    snprintf(more, sizeof more, "%sground_exponent: 1.7\n", holes);
    record = proved_field_record("r.yaml", more, strlen(more), system, utc, NOW_MS, &errors);
    ck_assert_double_eq(record->ground_exponent, 1.7);
    commissioning_free(record);
    snprintf(more, sizeof more, "%s- {suction: 900 Pa, flow: 13 L/s}\n", holes);
    ck_assert_ptr_null(
        proved_field_record("r.yaml", more, strlen(more), system, utc, NOW_MS, &errors));
    ck_assert_uint_eq(errors.count, 1);
    ck_assert_ptr_nonnull(strstr(errors.lines[0], "r.yaml:1: test_holes: suction and flow give"));
    settings_errors_free(&errors);
    system_description_free(system);
    time_zone_destroy(utc);
}
END_TEST

START_TEST(the_example_is_read_in_si) {
    char *text = test_read_file(SOURCE_DIR "/config/commissioning-example.yaml", NULL);
    struct time_zone *utc = time_zone_create_utc();
    struct commissioning *record = parse_good(text, utc);
    ck_assert_str_eq(record->by, "the installer");
    ck_assert_str_eq(record->instruments, "micromanometer 12, thermal anemometer 3");
    ck_assert_ptr_nonnull(strstr(record->notes, "\nFloor drain"));
    ck_assert_int_eq(record->back_draft, BACK_DRAFT_PASSED);
    ck_assert_uint_eq(record->test_holes.count, 2);
    ck_assert(record->next_calibration_ms > record->from_ms);
    /* 37 Bq/m3 to 1 pCi/L by definition of the curie, NIST SP 811 (2008) B.8 */
    ck_assert_double_eq_tol(record->radon_before_bq_m3, 9.1 * 37.0, 1e-9);
    ck_assert_double_eq_tol(record->radon_after_bq_m3, 1.2 * 37.0, 1e-9);
    ck_assert_double_eq(record->ground_exponent, 1.4);
    ck_assert_uint_eq(record->changed, CHANGE_FAN | CHANGE_PIPING);
    ck_assert_uint_eq(record->value_count, 4);
    ck_assert_str_eq(record->values[0].point, "suction");
    ck_assert_double_eq_tol(record->values[0].value, 1.10 * 249.08891, 1e-6);
    ck_assert_str_eq(record->values[3].point, "fan-power");
    ck_assert_double_eq(record->values[3].value, 19.0);
    commissioning_free(record);
    time_zone_destroy(utc);
    free(text);
}
END_TEST

START_TEST(json_is_yaml_too) {
    struct time_zone *utc = time_zone_create_utc();
    struct commissioning *record = parse_good(
        "{\"date\": \"2025-10-03\", \"by\": \"x\", \"points\": {\"suction\": \"270 Pa\"}}", utc);
    ck_assert_double_eq(record->values[0].value, 270.0);
    commissioning_free(record);
    time_zone_destroy(utc);
}
END_TEST

START_TEST(a_record_may_name_the_fan) {
    struct time_zone *utc = time_zone_create_utc();
    struct commissioning *record =
        parse_good("date: 2025-10-03\nby: x\nequipment:\n  - {model: radial-150, serial: A 17, "
                   "installed: 2025-10-01, warranty_until: 2030-10-01}\n  - {branch: main, model: "
                   "b}\n",
                   utc);
    ck_assert_uint_eq(record->equipment.count, 2);
    const struct equipment *fan = &record->equipment.items[0], *other = fan + 1;
    ck_assert_str_eq(fan->branch, "main");
    ck_assert_str_eq(fan->model, "radial-150");
    ck_assert_str_eq(fan->serial, "A 17");
    ck_assert_int_eq(fan->installed_day, timestamp_days_from_civil(2025, 10, 1));
    ck_assert_int_eq(fan->warranty_until_day, timestamp_days_from_civil(2030, 10, 1));
    ck_assert_int_eq(equipment_since_ms(fan, utc, 5), fan->installed_day * 86400000);
    ck_assert_int_eq(equipment_since_ms(other, utc, 5), 5);
    ck_assert_int_eq(other->installed_day, TIMESTAMP_NONE);
    commissioning_free(record);
    time_zone_destroy(utc);
}
END_TEST

int main(void) {
    TCase *commissioning = tcase_create("commissioning");
    tcase_add_loop_test(commissioning, a_bad_record_says_where_what_and_what_is_allowed, 0,
                        sizeof refused / sizeof refused[0]);
    tcase_add_test(commissioning, a_date_begins_at_local_midnight);
    tcase_add_test(commissioning, the_example_is_read_in_si);
    tcase_add_test(commissioning, json_is_yaml_too);
    tcase_add_test(commissioning, a_record_may_name_the_fan);
    tcase_add_test(commissioning, test_holes_give_the_exponent_where_the_record_gives_none);
    return run_test_case(commissioning);
}
