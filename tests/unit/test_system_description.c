#include "settings/system_description.h"

#include "measure/duration.h"
#include "test_support.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* What a bad file must say: exactly one line. */
struct refused_file {
    const char *text, *error;
};

static const struct refused_file refused[] = {
    {"name: x\npoints: [{id: s, quantity: suction}]\n",
     "bad.yaml:1: id: is missing; allowed: an id such as birch-lane-12"},
    {"id: h\n", "bad.yaml:1: points: is missing; allowed: a list of points"},
    {"id: h\npoints: []\n", "bad.yaml:2: points: has 0 points; allowed: 1 to 1000"},
    {"id: h\npoints:\n", "bad.yaml:2: points: has no value; allowed: a list of points"},
    {"id: h\npoints: [s]\n",
     "bad.yaml:2: points[1]: is a single value; allowed: a map of keys and values"},
    {"id: 'a/b'\npoints: [{id: s, quantity: suction}]\n",
     "bad.yaml:1: id: \"a/b\" is not an id; allowed: 1 to 64 letters (a-z, A-Z), digits and . _ -, "
     "the first a letter or digit"},
    {"id: h\nname: \"a\\nb\"\npoints: [{id: s, quantity: suction}]\n",
     "bad.yaml:2: name: \"a?b\" has a line break or another control character; allowed: one line "
     "of text"},
    {"id: h\nname: \"\\e[31mred\"\npoints: [{id: s, quantity: suction}]\n",
     "bad.yaml:2: name: \"?[31mred\" has a line break or another control character; allowed: one "
     "line of text"},
    {"id: h\ntime_zone: /etc/passwd\npoints: [{id: s, quantity: suction}]\n",
     "bad.yaml:2: time_zone: \"/etc/passwd\" is not a time zone; allowed: an IANA name such as "
     "America/Denver"},
    {"id: h\npipe: {inside_diameter: 3}\npoints: [{id: s, quantity: suction}]\n",
     "bad.yaml:2: pipe.inside_diameter: 3 lacks a unit; allowed: 20 mm to 1 m, such as 3.068 in"},
    {"id: h\npipe: {inside_diameter: 3 Pa}\npoints: [{id: s, quantity: suction}]\n",
     "bad.yaml:2: pipe.inside_diameter: 3 Pa is not a pipe's inside diameter; allowed: 20 mm to 1 "
     "m, such as 3.068 in"},
    {"id: h\npipe: {centerline_factor: 0.9}\npoints: [{id: s, quantity: suction}]\n",
     "bad.yaml:2: pipe.centerline_factor: unknown key; did you mean \"centreline_factor\"? Known "
     "keys: inside_diameter, centreline_factor, loss_after_gauge"},
    {"id: h\nfan: {power: 0 W}\npoints: [{id: s, quantity: suction}]\n",
     "bad.yaml:2: fan.power: 0 W is not a fan's power; allowed: 0.1 W to 5000 W"},
    {"id: h\nfan: {curve: [[0 cfm, 1 inH2O]]}\npoints: [{id: s, quantity: suction}]\n",
     "bad.yaml:2: fan.curve: has 1 points; allowed: a list of 2 to 32 pairs such as [40 cfm, 1.4 "
     "inH2O]"},
    {"id: h\nfan: {curve: [[0 cfm, 1 inH2O], [10 cfm]]}\npoints: [{id: s, quantity: suction}]\n",
     "bad.yaml:2: fan.curve[2]: has 1 values; allowed: a pair such as [40 cfm, 1.4 inH2O]"},
    {"id: h\nfan: {curve: [[0 cfm, 1 inH2O], [10 Pa, 1 Pa]]}\npoints: [{id: s, quantity: "
     "suction}]\n",
     "bad.yaml:2: fan.curve[2]: 10 Pa is not part of a fan curve; allowed: first a flow of at "
     "least 0 with a unit, such as 40 cfm"},
    {"id: h\nfan: {curve: [[0 cfm, 1 inH2O], [0 cfm, 0.5 inH2O]]}\npoints: [{id: s, quantity: "
     "suction}]\n",
     "bad.yaml:2: fan.curve[2]: flow does not rise; allowed: a flow above the one before"},
    {"id: h\nfan: {curve: [[0 cfm, 1 inH2O], [5 cfm, 1.5 inH2O]]}\npoints: [{id: s, quantity: "
     "suction}]\n",
     "bad.yaml:2: fan.curve[2]: pressure rises; allowed: a pressure not above the one before"},
    {"id: h\ncontacts: []\npoints: [{id: s, quantity: suction}]\n",
     "bad.yaml:2: contacts: is empty; allowed: a list of contact ids; leave the key out for all "
     "contractors"},
    {"id: h\ncontacts: office\npoints: [{id: s, quantity: suction}]\n",
     "bad.yaml:2: contacts: is a single value; allowed: a list of contact ids; leave the key out "
     "for all contractors"},
    {"id: h\ncontacts: [a, a]\npoints: [{id: s, quantity: suction}]\n",
     "bad.yaml:2: contacts: name \"a\" twice; allowed: once"},
    {"id: h\nvisit_every: 1\npoints: [{id: s, quantity: suction}]\n",
     "bad.yaml:2: visit_every: 1 lacks a unit; allowed: none, or to 10 y"},
    {"id: h\nconditions: {broker-lost: {priority: low}}\npoints: [{id: s, quantity: suction}]\n",
     "bad.yaml:2: conditions.broker-lost: is not judged for a system; allowed: in the settings of "
     "a level above"},
    {"id: h\npoints:\n  - {id: s, quantity: suctoin}\n",
     "bad.yaml:3: points[s].quantity: \"suctoin\" is not a quantity; did you mean \"suction\"? "
     "allowed: suction, field, velocity-pressure, airflow, fan-power, fan-current, radon, "
     "indoor-temperature, outdoor-temperature, barometric-pressure, humidity, water-level, "
     "battery"},
    {"id: h\npoints:\n  - {id: s}\n", "bad.yaml:3: points[s].quantity: is missing; allowed: a "
                                      "quantity such as suction, field or radon"},
    {"id: h\npoints:\n  - {id: s, quantity: suction}\n  - {id: s, quantity: radon}\n",
     "bad.yaml:4: points[2].id: \"s\" is taken by the point in line 3; allowed: an id of its own"},
    {"id: h\npoints:\n  - {id: s, quantity: suction, unit: cfm}\n",
     "bad.yaml:3: points[s].unit: cfm is a unit of another kind; allowed for suction: Pa and the "
     "like"},
    {"id: h\npoints:\n  - {id: s, quantity: suction, unit: furlong}\n",
     "bad.yaml:3: points[s].unit: \"furlong\" is not a unit; allowed for suction: Pa and the like"},
    {"id: h\npoints:\n  - {id: s, quantity: suction, every: 0 s}\n",
     "bad.yaml:3: points[s].every: 0 s is not an interval; allowed: 1 s to 366 d, such as 10 min"},
    {"id: h\npoints:\n  - {id: s, quantity: suction, every: 10}\n",
     "bad.yaml:3: points[s].every: 10 lacks a unit; allowed: 1 s to 366 d, such as 10 min"},
    {"id: h\npoints:\n  - {id: s, quantity: suction, topic: 'a/+/b'}\n",
     "bad.yaml:3: points[s].topic: \"a/+/b\" has a wildcard; allowed: a topic without + and #"},
    {"id: h\npoints:\n  - {id: s, quantity: suction, topic: '$SYS/x'}\n",
     "bad.yaml:3: points[s].topic: \"$SYS/x\" begins with $; allowed: a topic of your own"},
    {"id: h\npoints:\n  - {id: s, quantity: suction, topic: ''}\n",
     "bad.yaml:3: points[s].topic: \"\" is not a topic; allowed: 1 to 65535 bytes"},
    {"id: h\npoints:\n  - {id: s, quantity: suction, value: pressure}\n",
     "bad.yaml:3: points[s].value: \"pressure\" is not a JSON Pointer; allowed: \"\" for the whole "
     "document, or a path such as /pressure/value, with ~1 for / and ~0 for ~"},
    {"id: h\npoints:\n  - {id: s, quantity: suction, value: /a~2}\n",
     "bad.yaml:3: points[s].value: \"/a~2\" is not a JSON Pointer; allowed: \"\" for the whole "
     "document, or a path such as /pressure/value, with ~1 for / and ~0 for ~"},
    {"id: h\npoints:\n  - {id: s, quantity: suction, time: ts}\n",
     "bad.yaml:3: points[s].time: \"ts\" is not a JSON Pointer; allowed: \"\" for the whole "
     "document, or a path such as /pressure/value, with ~1 for / and ~0 for ~"},
    {"id: h\npoints:\n  - {id: s, quantity: suction, time_unit: s}\n",
     "bad.yaml:3: points[s].time_unit: is not used without time; allowed: time and time_unit "
     "together"},
    {"id: h\npoints:\n  - {id: s, quantity: suction, time: /t, time_unit: us}\n",
     "bad.yaml:3: points[s].time_unit: us is not a unit of time; allowed: s or ms"},
    {"id: h\npoints:\n  - {id: s, quantity: suction, scale: 0}\n",
     "bad.yaml:3: points[s].scale: is 0, which makes every reading the same; allowed: -1000000 to "
     "1000000, not 0"},
    {"id: h\npoints:\n  - {id: s, quantity: suction, scale: ten}\n",
     "bad.yaml:3: points[s].scale: ten is not a scale; allowed: -1000000 to 1000000, not 0"},
    {"id: h\npoints:\n  - {id: s, quantity: suction, offset: 1 Pa}\n",
     "bad.yaml:3: points[s].offset: 1 Pa is not an offset, a number in the sensor's unit; allowed: "
     "-1000000 to 1000000"},
    {"id: h\npoints:\n  - {id: s, quantity: suction, senml_name: 'a b'}\n",
     "bad.yaml:3: points[s].senml_name: \"a b\" is not a SenML name; allowed: letters, digits and "
     "- : . / _, the first a letter or digit"},
    {"id: h\npoints:\n  - {id: s, quantity: suction, senml_name: a, value: /v}\n",
     "bad.yaml:3: points[s].senml_name: and value exclude each other; allowed: one of them"},
    {"id: h\npoints:\n  - {id: s, quantity: suction, calibration_uncertainty: 200 %}\n",
     "bad.yaml:3: points[s].calibration_uncertainty: 200 % is not a relative standard uncertainty; "
     "allowed: 0 % to 100 %, such as 10 %"},
    {"id: h\npoints:\n  - {id: s, quantity: suction, limit: {low: 70 %}}\n",
     "bad.yaml:3: points[s].limit: unknown key; did you mean \"limits\"? Known keys: id, name, "
     "quantity, topic, unit, every, value, time, time_unit, scale, offset, senml_name, limits, "
     "conditions, calibration_uncertainty"},
    {"id: h\npoints:\n  - {id: s, quantity: suction, limits: {lowest: 70 %}}\n",
     "bad.yaml:3: points[s].limits.lowest: is not a limit of a suction point; allowed: low, lost, "
     "high"},
    {"id: h\npoints:\n  - {id: s, quantity: suction, limits: {low: 70}}\n",
     "bad.yaml:3: points[s].limits.low: 70 is not a setpoint of suction-low; allowed: above 0 % "
     "and below 100 % of baseline, or a possible value with a unit of the kind Pa"},
    {"id: h\npoints:\n  - {id: s, quantity: suction, limits: {low: 5 %}}\n",
     "bad.yaml:3: points[s].limits.low: suction-lost is not below suction-low; allowed: lost below "
     "low below high"},
    {"id: h\npoints:\n  - {id: s, quantity: suction, limits: {low: 150 %}}\n",
     "bad.yaml:3: points[s].limits.low: 150 % is not a setpoint of suction-low; allowed: above 0 % "
     "and below 100 % of baseline, or a possible value with a unit of the kind Pa"},
    {"id: h\npoints:\n  - {id: s, quantity: suction, limits: {lost: 80 %}}\n",
     "bad.yaml:3: points[s].limits.lost: suction-lost is not below suction-low; allowed: lost "
     "below low below high"},
    {"id: h\npoints:\n  - {id: s, quantity: suction, limits: {low: 70 Pa, high: 60 Pa}}\n",
     "bad.yaml:3: points[s].limits.low: suction-low is not below suction-high; allowed: lost below "
     "low below high"},
    {"id: h\npoints:\n  - {id: s, quantity: suction, limits: {low: -5 Pa}, unit: W}\n",
     "bad.yaml:3: points[s].unit: W is a unit of another kind; allowed for suction: Pa and the "
     "like"},
    {"id: h\npoints:\n  - {id: s, quantity: suction, limits: {low: 60 %}, conditions: "
     "{suction-low: {setpoint: 50 %}}}\n",
     "bad.yaml:3: points[s].conditions.suction-low: setpoint is given here and in limits; allowed: "
     "one of them"},
    {"id: h\npoints:\n  - {id: s, quantity: suction, limits: {low: 200000 Pa}}\n",
     "bad.yaml:3: points[s].limits.low: 200000 Pa is not a setpoint of suction-low; allowed: above "
     "0 % and below 100 % of baseline, or a possible value with a unit of the kind Pa"},
    {"id: h\npoints:\n  - {id: s, quantity: suction, conditions: {field-weak: {priority: low}}}\n",
     "bad.yaml:3: points[s].conditions.field-weak: is not judged for a point of this quantity; "
     "allowed: in the settings of a level above"},
    {"id: h\npoints:\n  - {id: s, quantity: suction, conditions: {fan-weak: {priority: low}}}\n",
     "bad.yaml:3: points[s].conditions.fan-weak: is not judged for a point of this quantity; "
     "allowed: in the settings of a level above"},
    {"id: h\npoints:\n  - {id: p, quantity: 'field', limits: {lost: 10 %}}\n",
     "bad.yaml:3: points[p].limits.lost: is not a limit of a field point; allowed: low"},
    {"id: h\npoints:\n  - {id: p, quantity: 'fan-power', limits: {lost: 10 %, low: 5 %}}\n",
     "bad.yaml:3: points[p].limits.low: means the same as another limit here; allowed: one"},
    {"id: h\npoints:\n  - {id: p, quantity: 'humidity', limits: {high: 60 %}}\n",
     "bad.yaml:3: points[p].limits.high: is not a limit of a humidity point; allowed: no limits"},
    {"id: h\npoints:\n  - {id: p, quantity: 'battery', unit: V, limits: {low: 20 %}}\n",
     "bad.yaml:3: points[p].limits.low: 20 % is not a setpoint of battery-low; allowed: a possible "
     "value with a unit of the kind V"},
    {"id: h\npoints:\n  - {id: p, quantity: 'radon', limits: {high: 100 Pa}}\n",
     "bad.yaml:3: points[p].limits.high: 100 Pa is not a setpoint of radon-high; allowed: above "
     "100 % to 1000 % of the action level, or a possible value with a unit of the kind Bq/m3"},
    {"id: h\npoints:\n  - {id: p, quantity: 'water-level', limits: {high: 20 %}}\n",
     "bad.yaml:3: points[p].limits.high: 20 % is not a setpoint of water-high; allowed: a possible "
     "value with a unit of the kind m"},
    {"id: h\npoints:\n  - {id: p, quantity: 'battery', limits: {low: 120 %}}\n",
     "bad.yaml:3: points[p].limits.low: 120 % is not a setpoint of battery-low; allowed: a "
     "possible value with a unit of the kind %"},
};

static struct system_description *parse_with(const struct settings *settings, const char *file,
                                             const char *text, struct settings_errors *errors) {
    return system_description_parse(file, text, strlen(text), settings, errors);
}

static struct system_description *parse_good(const struct settings *settings, const char *file,
                                             const char *text) {
    struct settings_errors errors = {0};
    struct system_description *system = parse_with(settings, file, text, &errors);
    ck_assert_msg(errors.count == 0, "%s", errors.count ? errors.lines[0] : "");
    ck_assert_ptr_nonnull(system);
    return system;
}

static struct settings *fleet(const char *text) {
    struct settings_errors errors = {0};
    struct settings *settings = settings_parse("fleet.yaml", text, strlen(text), &errors);
    ck_assert_ptr_nonnull(settings);
    return settings;
}

START_TEST(a_bad_file_says_where_what_and_what_is_allowed) { /* _i is the row */
    struct settings *settings = fleet("units: us\n");
    struct settings_errors errors = {0};
    ck_assert_ptr_null(parse_with(settings, "bad.yaml", refused[_i].text, &errors));
    ck_assert_uint_eq(errors.count, 1);
    ck_assert_str_eq(errors.lines[0], refused[_i].error);
    settings_errors_free(&errors);
    settings_free(settings);
}
END_TEST

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
    ck_assert_double_eq(system->pipe_inside_diameter_m, 0.0);
    ck_assert_double_eq(system->centreline_factor, 0.9);
    ck_assert_double_eq(system->loss_after_gauge, 0.0);
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
    "    time_unit: ms\n    scale: 0.1\n    offset: -0.02\n"
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

START_TEST(every_setting_of_a_system_is_read) {
    struct settings *settings = fleet("store: {keep_readings: 3 y}\n");
    struct system_description *system = parse_good(settings, "h.yaml", full);
    ck_assert_str_eq(system->id, "birch-lane-12");
    ck_assert_str_eq(system->name, "12 Birch Lane");
    ck_assert_str_eq(system->address, "side door");
    ck_assert_str_eq(system->time_zone, "America/Denver");
    ck_assert_str_eq(system->foundation, "drain tile");
    ck_assert_double_eq_tol(system->pipe_inside_diameter_m, 0.0779272, 1e-9); /* 25.4 mm an inch */
    ck_assert_double_eq(system->centreline_factor, 0.85);
    ck_assert_double_eq(system->loss_after_gauge, 12000.0);
    ck_assert_uint_eq(system->fan_curve_count, 3);
    /* NIST SP 811 (2008) B.8: 1 ft3/min is 4.719474e-4 m3/s */
    ck_assert_double_eq_tol(system->fan_curve[1].flow_m3_s, 40 * 4.719474e-4, 1e-8);
    ck_assert_double_eq_tol(system->fan_curve[1].pressure_pa, 1.4 * 249.08891, 1e-6);
    ck_assert_double_eq(system->fan_power_w, 22.0);
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
        char *text = strdup(full);
        size_t length = strlen(full);
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
    tcase_add_loop_test(system, a_bad_file_says_where_what_and_what_is_allowed, 0,
                        sizeof refused / sizeof refused[0]);
    tcase_add_loop_test(system, limits_are_setpoints_of_conditions, 0,
                        sizeof expected_limits / sizeof expected_limits[0]);
    tcase_add_loop_test(system, a_curve_has_up_to_32_points, 0, 2);
    tcase_add_test(system, a_short_file_has_the_defaults);
    tcase_add_test(system, every_setting_of_a_system_is_read);
    tcase_add_test(system, limits_and_conditions_of_one_point_are_joined);
    tcase_add_test(system, a_point_is_checked_with_what_the_levels_above_say);
    tcase_add_test(system, a_battery_in_volts_is_not_held_against_percent);
    tcase_add_test(system, systems_are_checked_against_each_other);
    tcase_add_test(system, the_example_is_valid_with_and_without_its_commented_settings);
    tcase_add_test(system, damaged_files_are_parsed_or_refused_with_a_reason);
    return run_test_case(system);
}
