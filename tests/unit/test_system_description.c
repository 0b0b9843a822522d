/* System files: defaults, every setting, branches, fan models, points, limits. */
#include "system_bench.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

static struct system_description *parse_good(const struct settings *settings, const char *file,
                                             const char *text) {
    struct settings_errors errors = {0};
    struct system_description *system = parse_with(settings, file, text, &errors);
    ck_assert_msg(errors.count == 0, "%s", errors.count ? errors.lines[0] : "");
    ck_assert_ptr_nonnull(system);
    return system;
}

/* More points than the analysis works with would be left unused without a word. */
START_TEST(a_curve_has_up_to_32_points) { /* _i more than that */
    char text[2000] = "id: h\nfan:\n  curve: [";
    struct settings *settings = fleet("units: us\n");
    struct settings_errors errors = {0};
    for (int i = 0; i < 32 + _i; i++)
        snprintf(text + strlen(text), sizeof text - strlen(text), "[%d cfm, %d Pa], ", i, 400 - i);
    strcat(text, "]\npoints:\n- {id: s, quantity: suction}\n");
    struct system_description *system = parse_with(settings, "h.yaml", text, &errors);
    ck_assert_int_eq(system != NULL, _i == 0);
    ck_assert(_i == 0 ||
              strstr(errors.lines[0], "has 33 points; allowed: a list of 2 to 32") != NULL);
    system_description_free(system);
    settings_errors_free(&errors);
    settings_free(settings);
}
END_TEST

START_TEST(a_short_file_has_the_defaults) {
    struct system_description *system = parse_good(NULL, "h.yaml",
                                                   "id: h\npoints:\n- {id: s, quantity: suction}\n"
                                                   "- {id: r, quantity: radon}\n");
    ck_assert_str_eq(system->name, "h");
    ck_assert_str_eq(system->time_zone, "UTC");
    ck_assert_ptr_null(system->address);
    ck_assert_ptr_null(system->contacts);
    ck_assert_double_eq(system->branches[0].pipe_inside_diameter_m, 0.0);
    ck_assert_double_eq(system->branches[0].centreline_factor, 0.9);
    ck_assert_double_eq(system->branches[0].loss_after_gauge, 0.0);
    ck_assert_int_eq(system->visit_every_ms, -1);
    ck_assert_int_eq(system->retest_every_ms, -1);
    const struct point_description *suction = &system->points[0], *radon = &system->points[1];
    ck_assert_str_eq(suction->name, "s");
    ck_assert_str_eq(suction->topic, "subslab/h/s");
    ck_assert_str_eq(suction->binding.unit->spelling, "Pa");
    ck_assert_int_eq(suction->every_ms, 10 * DURATION_MINUTE_MS);
    ck_assert_double_eq(suction->calibration_relative, 0.03);
    ck_assert_double_eq(suction->binding.scale, 1.0);
    ck_assert_double_eq(suction->binding.offset, 0.0);
    ck_assert_int_eq(suction->binding.time_unit, PAYLOAD_TIME_AUTOMATIC);
    ck_assert_int_eq(suction->binding.time_zone, PAYLOAD_TIME_ZONE_NONE);
    ck_assert_ptr_null(suction->binding.value_pointer);
    ck_assert_double_eq(radon->calibration_relative, 0.10);
    ck_assert_int_eq(radon->binding.quantity, QUANTITY_RADON);
    system_description_free(system);
}
END_TEST

static const char full[] =
    "id: birch-lane-12\nname: 12 Birch Lane\naddress: side door\ntime_zone: America/Denver\n"
    "foundation: drain tile\n"
    "pipe: {inside_diameter: 3.068 in, centreline_factor: 0.85, loss_after_gauge: 12000}\n"
    "fan:\n  curve: [[0 cfm, 1.9 inH2O], [40 cfm, 1.4 inH2O], [90 cfm, 0.2 inH2O]]\n"
    "  power: 22 W\n"
    "contacts: [office, owner-12]\nvisit_every: 1 y\nretest_every: none\n"
    "conditions: {suction-high: {setpoint: 150 %}}\n"
    "points:\n"
    "  - id: suction\n    name: riser\n    quantity: suction\n    topic: house/12/p\n"
    "    unit: inH2O\n    every: 5 min\n    value: /pressure/inwc\n    time: /ts\n"
    "    time_unit: ms\n    time_zone_of_time: local\n    scale: 0.1\n    offset: -0.02\n"
    "    limits: {low: 70 %, lost: 10 %, high: 140 %}\n"
    "    conditions: {suction-low: {priority: high, deadband: 4 %}}\n"
    "    calibration_uncertainty: 2 %\n"
    "  - {id: hole, quantity: field, limits: {low: 2 Pa}}\n"
    "  - {id: watts, quantity: fan-power, limits: {lost: 3 W}}\n"
    "  - {id: amps, quantity: fan-current, limits: {low: 20 %}}\n"
    "  - {id: room, quantity: radon, unit: pCi/L, senml_name: radon, limits: {high: 200 %}}\n"
    "  - {id: sump, quantity: water-level, unit: in, limits: {high: 10 in}}\n"
    "  - {id: cell, quantity: battery, unit: V, limits: {low: 2.4 V}}\n"
    "  - {id: cell-2, quantity: battery, limits: {low: 20 %}}\n"
    "  - {id: out, quantity: outdoor-temperature, unit: degF, value: \"\"}\n";

/* Each is freed once, however they share: valgrind and the sanitizers say so. */
START_TEST(what_points_say_alike_is_kept_once) {
    struct system_description *system = parse_good(
        NULL, "h.yaml",
        "id: h\npoints:\n- {id: a, quantity: suction, value: /v, time: /t}\n"
        "- {id: b, quantity: field, value: /v, time: /u}\n- {id: c, quantity: radon, value: /w}\n"
        "- {id: d, quantity: field, value: /w, time: /t, name: hole}\n"
        "- {id: e, quantity: field, value: /v}\n");
    const struct point_description *points = system->points;
    ck_assert_ptr_eq(points[0].binding.value_pointer, points[1].binding.value_pointer);
    ck_assert_ptr_eq(points[2].binding.value_pointer, points[3].binding.value_pointer);
    ck_assert_str_eq(points[1].binding.time_pointer, "/u");
    ck_assert_ptr_null(points[2].binding.time_pointer);
    ck_assert_str_eq(points[3].binding.time_pointer, "/t");
    ck_assert_str_eq(points[4].binding.value_pointer, "/v");
    ck_assert_str_eq(points[3].name, "hole");
    ck_assert_ptr_eq(points[4].name, points[4].id);
    ck_assert_ptr_eq(system->name, system->id);
    ck_assert_ptr_eq(system->region, system->time_zone);
    system_description_free(system);
}
END_TEST

START_TEST(a_house_keeps_its_readings_longer_than_the_fleet_never_shorter) {
    struct settings *settings = fleet("store: {keep_readings: 3 y}\n");
    struct settings_errors errors = {0};
    static const char longer[] =
        "id: h\nkeep_readings: 25 y\npoints: [{id: s, quantity: suction}]\n";
    static const char less[] = "id: h\nkeep_readings: 2 y\npoints: [{id: s, quantity: suction}]\n";
    struct system_description *system = parse_good(settings, "h.yaml", longer);
    ck_assert_int_eq(system->points[0].binding.keep_ms, 25 * DURATION_YEAR_MS);
    system_description_free(system);
    ck_assert_ptr_null(
        system_description_parse("h.yaml", less, sizeof less - 1, settings, &errors));
    ck_assert_uint_eq(errors.count, 1);
    ck_assert_str_eq(errors.lines[0],
                     "h.yaml:2: keep_readings: is less than store.keep_readings of the settings; "
                     "allowed: more, or leave the key out");
    settings_errors_free(&errors);
    settings_free(settings);
}
END_TEST

START_TEST(every_setting_of_a_system_is_read) {
    struct settings *settings = fleet("store: {keep_readings: 3 y}\n");
    struct system_description *system = parse_good(settings, "h.yaml", full);
    ck_assert_str_eq(system->id, "birch-lane-12");
    ck_assert_str_eq(system->name, "12 Birch Lane");
    ck_assert_str_eq(system->address, "side door");
    ck_assert_str_eq(system->time_zone, "America/Denver");
    ck_assert_str_eq(system->foundation, "drain tile");
    ck_assert_double_eq_tol(system->branches[0].pipe_inside_diameter_m, 0.0779272,
                            1e-9); /* 25.4 mm an inch */
    ck_assert_double_eq(system->branches[0].centreline_factor, 0.85);
    ck_assert_double_eq(system->branches[0].loss_after_gauge, 12000.0);
    ck_assert_uint_eq(system->branches[0].fan.curve_count, 3);
    /* NIST SP 811 (2008) B.8: 1 ft3/min is 4.719474e-4 m3/s */
    ck_assert_double_eq_tol(system->branches[0].fan.curve[1].flow_m3_s, 40 * 4.719474e-4, 1e-8);
    ck_assert_double_eq_tol(system->branches[0].fan.curve[1].pressure_pa, 1.4 * 249.08891, 1e-6);
    ck_assert_double_eq(system->branches[0].fan.power_w, 22.0);
    ck_assert_uint_eq(system->contact_count, 2);
    ck_assert_str_eq(system->contacts[1], "owner-12");
    ck_assert_int_eq(system->visit_every_ms, DURATION_YEAR_MS);
    ck_assert_int_eq(system->retest_every_ms, 0);
    ck_assert_uint_eq(system->condition_count, 1);
    ck_assert_uint_eq(system->point_count, 9);
    const struct point_description *point = &system->points[0];
    ck_assert_str_eq(point->name, "riser");
    ck_assert_str_eq(point->topic, "house/12/p");
    ck_assert_str_eq(point->binding.value_pointer, "/pressure/inwc");
    ck_assert_str_eq(point->binding.time_pointer, "/ts");
    ck_assert_int_eq(point->binding.time_unit, PAYLOAD_TIME_MILLISECONDS);
    ck_assert_int_eq(point->binding.time_zone, PAYLOAD_TIME_ZONE_LOCAL);
    ck_assert_double_eq(point->binding.scale, 0.1);
    ck_assert_double_eq(point->binding.offset, -0.02);
    ck_assert_int_eq(point->binding.keep_ms, 3 * DURATION_YEAR_MS);
    ck_assert_int_eq(point->every_ms, 5 * DURATION_MINUTE_MS);
    ck_assert_double_eq_tol(point->calibration_relative, 0.02, 1e-12);
    ck_assert_str_eq(system->points[4].binding.senml_name, "radon");
    ck_assert_str_eq(system->points[8].binding.value_pointer, "");
    system_description_free(system);
    settings_free(settings);
}
END_TEST

static const char two_risers[] =
    "id: h\ntime_zone: America/Denver\nregion: quillmere\nelevation: 5249 ft\nstack_height: 6 m\n"
    "contractor: {name: Quillmere Radon, telephone: +1 555 0100}\n"
    "branches:\n"
    "  - {id: east, pipe: {inside_diameter: 102 mm, loss_after_gauge: 5000}, discharge: roof,\n"
    "     fan: {curve: [[0 m3/s, 400 Pa], [0.05 m3/s, 0 Pa]], serial: A 17, installed: "
    "2025-09-30,\n"
    "           control: schedule, longest_stop: 10 h}}\n"
    "  - {id: west, discharge: wall, fan: {control: constant-pressure}}\n"
    "points:\n"
    "  - {id: se, quantity: suction, branch: east}\n"
    "  - {id: sw, quantity: suction, branch: west}\n"
    "  - {id: hole, quantity: field}\n"
    "  - {id: near, quantity: field, branch: west}\n"
    "  - {id: tube, quantity: suction, branch: west, by: hand, every: 183 d}\n"
    "  - {id: r, quantity: radon, place: basement}\n";

START_TEST(a_system_may_have_several_branches) {
    struct system_description *system = parse_good(NULL, "h.yaml", two_risers);
    ck_assert_str_eq(system->region, "quillmere");
    ck_assert_double_eq_tol(system->elevation_m, 1599.9, 0.1); /* 0.3048 m a foot, exact */
    ck_assert_double_eq(system->stack_height_m, 6.0);
    ck_assert_str_eq(system->contractor.name, "Quillmere Radon");
    ck_assert_str_eq(system->contractor.telephone, "+1 555 0100");
    ck_assert_uint_eq(system->branch_count, 2);
    const struct branch_description *east = &system->branches[0], *west = &system->branches[1];
    ck_assert_str_eq(east->id, "east");
    ck_assert_double_eq_tol(east->pipe_inside_diameter_m, 0.102, 1e-12);
    ck_assert_double_eq(east->loss_after_gauge, 5000.0);
    ck_assert_int_eq(east->discharge, DISCHARGE_ROOF);
    ck_assert_uint_eq(east->fan.curve_count, 2);
    ck_assert_str_eq(east->fan.serial, "A 17");
    ck_assert_int_eq(east->fan.installed_day, 20361); /* days from 1970-01-01, by date(1) */
    ck_assert_int_eq(east->fan.control, FAN_CONTROL_SCHEDULE);
    ck_assert_int_eq(east->fan.longest_stop_ms, 10 * DURATION_HOUR_MS);
    ck_assert_double_eq(west->centreline_factor, 0.9);
    ck_assert_int_eq(west->discharge, DISCHARGE_WALL);
    ck_assert_int_eq(west->fan.control, FAN_CONTROL_CONSTANT_PRESSURE);
    ck_assert_int_eq(west->fan.installed_day, TIMESTAMP_NONE);
    static const size_t of[] = {0, 1, BRANCH_NONE, 1, 1, BRANCH_NONE};
    for (size_t i = 0; i < sizeof of / sizeof of[0]; i++) {
        ck_assert_uint_eq(system->points[i].branch, of[i]);
        ck_assert_int_eq(system->points[i].by_hand, i == 4);
    }
    ck_assert_str_eq(system->points[5].place, "basement");
    system_description_free(system);
}
END_TEST

START_TEST(without_branches_there_is_one) {
    struct system_description *system =
        parse_good(NULL, "h.yaml",
                   "id: h\ntime_zone: America/Denver\ndischarge: wall\npoints:\n"
                   "- {id: s, quantity: suction, branch: main}\n- {id: w, quantity: fan-power}\n"
                   "- {id: r, quantity: radon}\n");
    ck_assert_uint_eq(system->branch_count, 1);
    ck_assert_str_eq(system->branches[0].id, "main");
    ck_assert_int_eq(system->branches[0].discharge, DISCHARGE_WALL);
    ck_assert_int_eq(system->branches[0].fan.control, FAN_CONTROL_FIXED);
    ck_assert_uint_eq(system->points[0].branch, 0);
    ck_assert_uint_eq(system->points[1].branch, 0);
    ck_assert_uint_eq(system->points[2].branch, BRANCH_NONE);
    ck_assert_str_eq(system->region, "America/Denver");
    ck_assert_double_eq(system->elevation_m, 0.0);
    ck_assert_double_eq(system->stack_height_m, 2.5);
    ck_assert_ptr_null(system->contractor.name);
    system_description_free(system);
}
END_TEST

START_TEST(a_fan_may_name_its_model) {
    struct settings *settings = fleet("fans: fans/\n");
    struct settings_errors errors = {0};
    struct fan_models *fans = &settings->fans;
    ck_assert_str_eq(fans->folder, "fans/");
    fans->models = calloc(2, sizeof(struct fan_model *));
    fans->models[fans->count++] = model_of(
        "b.yaml", "id: b\npower: 40 W\ncurve: [[0 cfm, 500 Pa], [90 cfm, 0 Pa]]\n", &errors);
    fans->models[fans->count++] =
        model_of("a.yaml", "id: a\ncurve: [[0 cfm, 300 Pa], [90 cfm, 0 Pa]]\n", &errors);
    fan_models_sort(fans, &errors);
    ck_assert_uint_eq(errors.count, 0);
    struct system_description *system = parse_good(
        settings, "h.yaml", "id: h\nfan: {model: b}\npoints:\n- {id: s, quantity: suction}\n");
    ck_assert_str_eq(system->branches[0].fan.model, "b");
    ck_assert_uint_eq(system->branches[0].fan.curve_count, 2);
    ck_assert_double_eq_tol(system->branches[0].fan.curve[0].pressure_pa, 500.0, 1e-9);
    ck_assert_double_eq(system->branches[0].fan.power_w, 40.0);
    system_description_free(system);
    ck_assert_ptr_null(parse_with(settings, "h.yaml",
                                  "id: h\nfan: {model: c}\npoints:\n- {id: s, quantity: suction}\n",
                                  &errors));
    ck_assert_str_eq(errors.lines[0],
                     "h.yaml:2: fan.model: \"c\" is no fan model; allowed: an id in "
                     "the folder fans/");
    settings_errors_free(&errors);
    settings_free(settings);
}
END_TEST

START_TEST(two_fan_models_of_one_id_are_refused) {
    struct settings_errors errors = {0};
    struct fan_models fans = {.models = calloc(2, sizeof(struct fan_model *)), .count = 2};
    fans.models[0] = model_of("b.yaml", "id: a\ncurve: [[0 cfm, 5 Pa], [90 cfm, 0 Pa]]\n", &errors);
    fans.models[1] = model_of("a.yaml", "id: a\ncurve: [[0 cfm, 3 Pa], [90 cfm, 0 Pa]]\n", &errors);
    fan_models_sort(&fans, &errors);
    ck_assert_uint_eq(errors.count, 1);
    ck_assert_ptr_nonnull(strstr(errors.lines[0], "id: \"a\" is taken by "));
    settings_errors_free(&errors);
    fan_models_clear(&fans);
}
END_TEST

static const struct {
    size_t point;
    enum condition condition;
    enum setpoint_kind kind;
    double number;
} expected_limits[] = {
    {0, CONDITION_SUCTION_LOW, SETPOINT_OF_BASELINE, 0.70},
    {0, CONDITION_SUCTION_LOST, SETPOINT_OF_BASELINE, 0.10},
    {0, CONDITION_SUCTION_HIGH, SETPOINT_OF_BASELINE, 1.40},
    {1, CONDITION_FIELD_WEAK, SETPOINT_VALUE, 2.0},
    {2, CONDITION_FAN_STOPPED, SETPOINT_VALUE, 3.0},
    {3, CONDITION_FAN_STOPPED, SETPOINT_OF_BASELINE, 0.20},
    {4, CONDITION_RADON_HIGH, SETPOINT_OF_ACTION_LEVEL, 2.0},
    {5, CONDITION_WATER_HIGH, SETPOINT_VALUE, 0.254},
    {6, CONDITION_BATTERY_LOW, SETPOINT_VALUE, 2.4},
    {7, CONDITION_BATTERY_LOW, SETPOINT_VALUE, 20.0},
};

static const struct condition_override *find(const struct point_description *point,
                                             enum condition condition) {
    const struct condition_override *found = NULL;
    for (size_t i = 0; i < point->condition_count; i++)
        if (point->conditions[i].condition == condition) {
            ck_assert_msg(!found, "two overrides of one condition");
            found = &point->conditions[i];
        }
    return found;
}

START_TEST(limits_are_setpoints_of_conditions) { /* _i is the row */
    struct system_description *system = parse_good(NULL, "h.yaml", full);
    const struct condition_override *override =
        find(&system->points[expected_limits[_i].point], expected_limits[_i].condition);
    ck_assert_ptr_nonnull(override);
    ck_assert(override->has_setpoint);
    ck_assert_int_eq(override->setpoint.kind, expected_limits[_i].kind);
    ck_assert_double_eq_tol(override->setpoint.number, expected_limits[_i].number, 1e-9);
    system_description_free(system);
}
END_TEST

START_TEST(limits_and_conditions_of_one_point_are_joined) {
    struct system_description *system = parse_good(NULL, "h.yaml", full);
    const struct condition_override *low = find(&system->points[0], CONDITION_SUCTION_LOW);
    ck_assert(low->has_setpoint && low->has_priority && low->has_deadband && !low->has_on_delay);
    ck_assert_int_eq(low->priority, PRIORITY_HIGH);
    ck_assert_double_eq_tol(low->deadband.number, 0.04, 1e-12);
    system_description_free(system);
}
END_TEST

START_TEST(a_point_is_checked_with_what_the_levels_above_say) {
    struct settings *settings = fleet("conditions: {suction-low: {setpoint: 40 %}}\n");
    static const char point[] = "id: h\npoints:\n- id: s\n  quantity: suction\n"
                                "  limits: {lost: 50 %}\n";
    struct settings_errors errors = {0};
    system_description_free(parse_good(NULL, "h.yaml", point)); /* below the default 70 % */
    ck_assert_ptr_null(parse_with(settings, "h.yaml", point, &errors));
    ck_assert_uint_eq(errors.count, 1);
    ck_assert_str_eq(errors.lines[0], "h.yaml:5: points[s].limits.lost: suction-lost is not below "
                                      "suction-low; allowed: lost below low below high");
    settings_errors_free(&errors);
    settings_free(settings);
}
END_TEST

START_TEST(a_battery_in_volts_is_not_held_against_percent) {
    struct settings *settings = fleet("conditions: {battery-low: {setpoint: 20 %}}\n");
    struct system_description *system =
        parse_good(settings, "h.yaml",
                   "id: h\npoints:\n- {id: v, quantity: battery, unit: V}\n"
                   "- {id: p, quantity: battery}\n");
    struct condition_rule volts = condition_rule_default(CONDITION_BATTERY_LOW), percent = volts;
    condition_rule_apply(&volts, settings->conditions, settings->condition_count);
    percent = volts;
    condition_rule_apply(&volts, system->points[0].conditions, system->points[0].condition_count);
    condition_rule_apply(&percent, system->points[1].conditions, system->points[1].condition_count);
    ck_assert_int_eq(volts.setpoint.kind, SETPOINT_NONE);
    ck_assert_int_eq(percent.setpoint.kind, SETPOINT_VALUE);
    ck_assert_double_eq(percent.setpoint.number, 20.0);
    system_description_free(system);
    settings_free(settings);
}
END_TEST

START_TEST(systems_are_checked_against_each_other) {
    static const char *const expected[] = {
        "b.yaml:1: id: \"h\" is taken by a.yaml; allowed: an id of its own",
        ("b.yaml:4: points[t].topic: \"x/1\" with the same value is taken by a.yaml:4; allowed: "
         "another topic, value or senml_name"),
        "b.yaml:2: contacts: \"ofice\" is no contact; allowed: an id under contacts: of fleet.yaml",
    };
    struct settings *settings = fleet("contacts:\n- {id: office, role: contractor, webhook: {url: "
                                      "'https://h.example/'}}\n");
    struct system_description *systems[] = {
        parse_good(settings, "a.yaml",
                   "id: h\ncontacts: [office]\npoints:\n"
                   "- {id: s, quantity: suction, topic: x/1, value: /a}\n"
                   "- {id: t, quantity: suction, topic: x/1, value: /b}\n"),
        parse_good(settings, "b.yaml",
                   "id: h\ncontacts: [ofice]\npoints:\n"
                   "- {id: t, quantity: suction, topic: x/1, value: /a}\n"),
        parse_good(settings, "c.yaml",
                   "id: k\npoints:\n"
                   "- {id: t, quantity: suction, topic: x/1}\n"),
    };
    struct settings_errors errors = {0};
    system_descriptions_check(systems, 3, settings, &errors);
    ck_assert_uint_eq(errors.count, 3);
    for (size_t i = 0; i < 3; i++)
        ck_assert_str_eq(errors.lines[i], expected[i]);
    settings_errors_free(&errors);
    system_descriptions_check(systems, 1, settings, &errors);
    system_descriptions_check(systems, 0, settings, &errors);
    ck_assert_uint_eq(errors.count, 0);
    for (size_t i = 0; i < 3; i++)
        system_description_free(systems[i]);
    settings_free(settings);
}
END_TEST

START_TEST(the_example_is_valid_with_and_without_its_commented_settings) {
    char *text = test_read_file(SOURCE_DIR "/config/systems/example.yaml", NULL);
    struct system_description *system = parse_good(NULL, "example.yaml", text);
    ck_assert_str_eq(system->id, "mill-house-3");
    ck_assert_uint_eq(system->point_count, 8);
    system_description_free(system);
    for (char *at = text; *at; at += strcspn(at, "\n"), at += *at == '\n')
        if (at[0] == '#' && at[1] != '\n' && (at[1] != ' ' || at[2] == ' '))
            memmove(at, at + 1, strlen(at));
    system = parse_good(NULL, "example.yaml", text);
    ck_assert_uint_eq(system->contact_count, 2);
    ck_assert_str_eq(system->points[0].binding.value_pointer, "/pressure/inwc");
    system_description_free(system);
    free(text);
}
END_TEST

START_TEST(damaged_files_are_parsed_or_refused_with_a_reason) {
    struct test_random random = {test_seed()};
    for (int round = 0; round < 3000; round++) {
        char *text = strdup(round % 4 < 2 ? full : two_risers);
        size_t length = strlen(text);
        if (round % 2)
            length = (size_t)(test_random_next(&random) % length);
        else
            text[test_random_next(&random) % length] = (char)test_random_next(&random);
        struct settings_errors errors = {0};
        struct system_description *system =
            system_description_parse("bad.yaml", text, length, NULL, &errors);
        ck_assert((system == NULL) == (errors.count > 0));
        system_description_free(system);
        settings_errors_free(&errors);
        free(text);
    }
}
END_TEST

int main(void) {
    TCase *system = tcase_create("system_description");
    tcase_add_loop_test(system, limits_are_setpoints_of_conditions, 0,
                        sizeof expected_limits / sizeof expected_limits[0]);
    tcase_add_loop_test(system, a_curve_has_up_to_32_points, 0, 2);
    tcase_add_test(system, a_short_file_has_the_defaults);
    tcase_add_test(system, what_points_say_alike_is_kept_once);
    tcase_add_test(system, every_setting_of_a_system_is_read);
    tcase_add_test(system, a_house_keeps_its_readings_longer_than_the_fleet_never_shorter);
    tcase_add_test(system, a_system_may_have_several_branches);
    tcase_add_test(system, without_branches_there_is_one);
    tcase_add_test(system, a_fan_may_name_its_model);
    tcase_add_test(system, two_fan_models_of_one_id_are_refused);
    tcase_add_test(system, limits_and_conditions_of_one_point_are_joined);
    tcase_add_test(system, a_point_is_checked_with_what_the_levels_above_say);
    tcase_add_test(system, a_battery_in_volts_is_not_held_against_percent);
    tcase_add_test(system, systems_are_checked_against_each_other);
    tcase_add_test(system, the_example_is_valid_with_and_without_its_commented_settings);
    tcase_add_test(system, damaged_files_are_parsed_or_refused_with_a_reason);
    return run_test_case(system);
}
