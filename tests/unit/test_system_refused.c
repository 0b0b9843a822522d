/* What a system file is refused for: where, what, and what is allowed. */
#include "system_bench.h"

#include <stdlib.h>

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
    {"id: h\nelevation: 1600\npoints: [{id: s, quantity: suction}]\n",
     "bad.yaml:2: elevation: 1600 lacks a unit; allowed: -500 m to 6000 m, such as 1600 m"},
    {"id: h\nelevation: 9000 m\npoints: [{id: s, quantity: suction}]\n",
     "bad.yaml:2: elevation: 9000 m is not a height above the sea; allowed: -500 m to 6000 m, such "
     "as 1600 m"},
    {"id: h\nstack_height: 0 m\npoints: [{id: s, quantity: suction}]\n",
     "bad.yaml:2: stack_height: 0 m is not a height of the heated house above the slab; allowed: 1 "
     "m to 50 m, such as 6 m"},
    {"id: h\nregion: \"a\\nb\"\npoints: [{id: s, quantity: suction}]\n",
     "bad.yaml:2: region: \"a?b\" has a line break or another control character; allowed: one line "
     "of text"},
    {"id: h\ncontractor: {telephone: 5}\npoints: [{id: s, quantity: suction}]\n",
     "bad.yaml:2: contractor.name: is missing; allowed: one line of text"},
    {"id: h\ndischarge: attic\npoints: [{id: s, quantity: suction}]\n",
     "bad.yaml:2: discharge: attic is not a place of discharge; allowed: roof or wall"},
    {"id: h\nfan: {control: pid}\npoints: [{id: s, quantity: suction}]\n",
     "bad.yaml:2: fan.control: pid is not a kind of control; allowed: fixed, constant-pressure or "
     "schedule"},
    {"id: h\nfan: {installed: 2025-02-30}\npoints: [{id: s, quantity: suction}]\n",
     "bad.yaml:2: fan.installed: 2025-02-30 is not a date; allowed: a date such as 2025-09-30"},
    {"id: h\nfan: {longest_stop: 8 h}\npoints: [{id: s, quantity: suction}]\n",
     "bad.yaml:2: fan.longest_stop: is of a schedule; allowed: with control: schedule"},
    {"id: h\nfan: {model: a, curve: [[0 cfm, 1 inH2O], [9 cfm, 0 Pa]]}\npoints: [{id: s, quantity: "
     "suction}]\n",
     "bad.yaml:2: fan.curve: and model exclude each other; allowed: one of them"},
    {"id: h\nbranches: []\npoints: [{id: r, quantity: radon}]\n",
     "bad.yaml:2: branches: has 0 branches; allowed: 1 to 16"},
    {"id: h\nbranches: [{pipe: {}}]\npoints: [{id: r, quantity: radon}]\n",
     "bad.yaml:2: branches[1].id: is missing; allowed: an id such as east"},
    {"id: h\nbranches:\n  - {id: a}\n  - {id: a}\npoints: [{id: r, quantity: radon}]\n",
     "bad.yaml:4: branches[2].id: \"a\" is taken by the branch in line 3; allowed: an id of its "
     "own"},
    {"id: h\nbranches: [{id: a, fans: {}}]\npoints: [{id: r, quantity: radon}]\n",
     "bad.yaml:2: branches[a].fans: unknown key; did you mean \"fan\"? Known keys: id, pipe, fan, "
     "discharge"},
    {"id: h\nbranches: [{id: a}]\npipe: {}\npoints: [{id: s, quantity: suction}]\n",
     "bad.yaml:3: pipe: and branches exclude each other; allowed: in each branch"},
    {"id: h\nbranches: [{id: a}, {id: b}]\npoints:\n  - {id: s, quantity: suction, branch: c}\n",
     "bad.yaml:4: points[s].branch: \"c\" is not a branch; allowed: a, b"},
    {"id: h\nbranches: [{id: a}, {id: b}]\npoints:\n  - {id: s, quantity: suction}\n",
     "bad.yaml:4: points[s].branch: is missing; allowed: one of the branches a, b"},
    {"id: h\npoints:\n  - {id: s, quantity: suction, branch: east}\n",
     "bad.yaml:3: points[s].branch: \"east\" is not a branch; allowed: main"},
    {"id: h\npoints:\n  - {id: s, quantity: suction, by: eye}\n",
     "bad.yaml:3: points[s].by: eye is not a way of reading; allowed: sensor or hand"},
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
    {"id: h\nkeep_readings: 200 y\npoints: [{id: s, quantity: suction}]\n",
     "bad.yaml:2: keep_readings: 200 y is not a time to keep readings; allowed: 1 d to 100 y"},
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
     "bad.yaml:3: points[s].unit: cfm is a unit of another kind; allowed for suction: Pa, inH2O, "
     "mmH2O, hPa, kPa, inHg"},
    {"id: h\npoints:\n  - {id: s, quantity: suction, unit: furlong}\n",
     "bad.yaml:3: points[s].unit: \"furlong\" is not a unit; allowed for suction: Pa, inH2O, "
     "mmH2O, hPa, kPa, inHg"},
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
    {"id: h\npoints:\n  - {id: s, quantity: suction, time_zone_of_time: local}\n",
     "bad.yaml:3: points[s].time_zone_of_time: is not used without time; allowed: time and "
     "time_zone_of_time together"},
    {"id: h\npoints:\n  - {id: s, quantity: suction, time: /t, time_zone_of_time: MST}\n",
     "bad.yaml:3: points[s].time_zone_of_time: MST is not a zone of a time without an offset; "
     "allowed: local or UTC"},
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
     "quantity, branch, place, by, topic, unit, every, value, time, time_unit, "
     "time_zone_of_time, scale, offset, senml_name, limits, conditions, calibration_uncertainty"},
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
     "bad.yaml:3: points[s].unit: W is a unit of another kind; allowed for suction: Pa, inH2O, "
     "mmH2O, hPa, kPa, inHg"},
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

static const struct refused_file refused_models[] = {
    {"curve: [[0 cfm, 1 inH2O], [9 cfm, 0 Pa]]\n",
     "fan.yaml:1: id: is missing; allowed: an id such as radial-150"},
    {"id: a\n", "fan.yaml:1: curve: is missing; allowed: a list of 2 to 32 pairs such as [40 cfm, "
                "1.4 inH2O]"},
    {"id: a\ncurve: [[0 cfm, 1 inH2O]]\n",
     "fan.yaml:2: curve: has 1 points; allowed: a list of 2 to 32 pairs such as [40 cfm, 1.4 "
     "inH2O]"},
    {"id: a\npower: 9 kWh\ncurve: [[0 cfm, 1 inH2O], [9 cfm, 0 Pa]]\n",
     "fan.yaml:2: power: 9 kWh is not a fan's power; allowed: 0.1 W to 5000 W"},
};

START_TEST(a_bad_fan_model_says_where_and_what) { /* _i is the row */
    struct settings_errors errors = {0};
    ck_assert_ptr_null(model_of("fan.yaml", refused_models[_i].text, &errors));
    ck_assert_uint_eq(errors.count, 1);
    ck_assert_str_eq(errors.lines[0], refused_models[_i].error);
    settings_errors_free(&errors);
}
END_TEST

int main(void) {
    TCase *system = tcase_create("system_description");
    tcase_add_loop_test(system, a_bad_file_says_where_what_and_what_is_allowed, 0,
                        sizeof refused / sizeof refused[0]);
    tcase_add_loop_test(system, a_bad_fan_model_says_where_and_what, 0,
                        sizeof refused_models / sizeof refused_models[0]);
    return run_test_case(system);
}
