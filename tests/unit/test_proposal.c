#include "measure/proposal.h"

#include "test_support.h"

#include <string.h>

struct guess {
    const char *topic, *payload;
    enum unit_system units;
    const char *quantity, *unit; /* NULL: nothing is proposed */
};

/* Habits of the trade, no source: riser suction some tenths of an inch to two inches of water, test
   holes some pascals, fans 10 to 100 W. */
static const struct guess guesses[] = {
    {"subslab/maple-4/suction", "0.62", UNIT_SYSTEM_US, "suction", "inH2O"},
    {"subslab/maple-4/suction", "154", UNIT_SYSTEM_US, "suction", "Pa"},
    {"subslab/maple-4/suction", "0.62 inWC", UNIT_SYSTEM_SI, "suction", "inWC"},
    {"subslab/maple-4/hole-1", "6.1", UNIT_SYSTEM_US, "field", "Pa"},
    {"subslab/fairfield-3/suction", "0.5", UNIT_SYSTEM_US, "suction", "inH2O"},
    {"subslab/fairfield-3/x", "0.5", UNIT_SYSTEM_US, NULL, NULL},
    {"house/riser/p_inwc", "1.1", UNIT_SYSTEM_SI, "suction", "inH2O"},
    {"house/fan/power", "22", UNIT_SYSTEM_US, "fan-power", "W"},
    {"house/fanCurrent", "340", UNIT_SYSTEM_US, "fan-current", "mA"},
    {"house/airflow", "41", UNIT_SYSTEM_US, "airflow", "cfm"},
    {"house/airflow", "19", UNIT_SYSTEM_SI, "airflow", "L/s"},
    {"house/radon", "1.3", UNIT_SYSTEM_US, "radon", "pCi/L"},
    {"house/radon", "48", UNIT_SYSTEM_SI, "radon", "Bq/m3"},
    {"house/radon/bq", "48", UNIT_SYSTEM_US, "radon", "Bq/m3"},
    {"house/outdoor/temp", "61", UNIT_SYSTEM_US, "outdoor-temperature", "degF"},
    {"house/room/temperature", "20.5", UNIT_SYSTEM_US, "indoor-temperature", "degC"},
    {"house/baro", "1013", UNIT_SYSTEM_US, "barometric-pressure", "hPa"},
    {"house/baro", "29.9", UNIT_SYSTEM_US, "barometric-pressure", "inHg"},
    {"house/battery", "3.1", UNIT_SYSTEM_US, "battery", "V"},
    {"house/battery", "88", UNIT_SYSTEM_US, "battery", "%"},
    {"house/a", "48 Bq/m3", UNIT_SYSTEM_US, "radon", "Bq/m3"},
    {"house/a", "6 Pa", UNIT_SYSTEM_US, "field", "Pa"},
    {"house/a", "200 Pa", UNIT_SYSTEM_US, "suction", "Pa"},
    {"house/radon", "-999", UNIT_SYSTEM_US, NULL, NULL}, /* an error code is no radon */
    {"house/humidity", "250", UNIT_SYSTEM_US, NULL, NULL},
    {"", "7", UNIT_SYSTEM_US, NULL, NULL},
};

START_TEST(a_number_is_proposed_as) {
    const struct guess *guess = &guesses[_i];
    struct proposal list[PROPOSALS_MAX];
    size_t count = proposal_list(guess->topic, guess->payload, strlen(guess->payload), guess->units,
                                 list, PROPOSALS_MAX);
    ck_assert_uint_eq(count, 1);
    ck_assert_str_eq(list[0].value_pointer, "");
    ck_assert_int_eq(list[0].known, guess->quantity != NULL);
    if (!list[0].known)
        return;
    ck_assert_str_eq(quantity_info(list[0].quantity)->name, guess->quantity);
    ck_assert_str_eq(list[0].unit->spelling, guess->unit);
}
END_TEST

START_TEST(each_number_of_a_document_has_its_place) {
    static const char payload[] = "{\"ts\": 1790000000, \"rssi\": -70, \"pressure\": "
                                  "{\"riser/inwc\": 0.62, \"hole~1\": \"6.1\"},"
                                  " \"radon\": [1.2, 1.4], \"name\": \"north\"}";
    struct proposal list[PROPOSALS_MAX];
    size_t count =
        proposal_list("house/box", payload, strlen(payload), UNIT_SYSTEM_US, list, PROPOSALS_MAX);
    static const struct {
        const char *pointer, *quantity;
    } expected[] = {{"/pressure/riser~1inwc", "suction"},
                    {"/pressure/hole~01", "field"},
                    {"/radon/0", "radon"},
                    {"/radon/1", "radon"}};
    ck_assert_uint_eq(count, 4);
    for (size_t i = 0; i < count; i++) {
        ck_assert_str_eq(list[i].value_pointer, expected[i].pointer);
        ck_assert_str_eq(list[i].time_pointer, "/ts");
        ck_assert_str_eq(quantity_info(list[i].quantity)->name, expected[i].quantity);
    }
    ck_assert_double_eq(list[1].value, 6.1);
    ck_assert_str_eq(list[0].unit->spelling, "inH2O");
}
END_TEST

START_TEST(senml_records_are_told_by_name) {
    static const char payload[] =
        "[{\"bn\":\"box-\",\"n\":\"radon\",\"u\":\"Bq/m3\",\"v\":48},"
        "{\"n\":\"t\",\"u\":\"Cel\",\"v\":20.5},{\"n\":\"on\",\"vb\":true}]";
    struct proposal list[PROPOSALS_MAX];
    size_t count =
        proposal_list("house/a", payload, strlen(payload), UNIT_SYSTEM_US, list, PROPOSALS_MAX);
    ck_assert_uint_eq(count, 2);
    ck_assert_str_eq(list[0].senml_name, "radon");
    ck_assert_str_eq(list[0].value_pointer, "");
    ck_assert_str_eq(list[0].unit->spelling, "Bq/m3");
    ck_assert_str_eq(quantity_info(list[1].quantity)->name, "indoor-temperature");
}
END_TEST

START_TEST(what_holds_no_number_proposes_nothing) {
    static const char *const payloads[] = {
        "",     " ",        "on",  "{\"cut\": 1",   "{}",       "[]",
        "null", "\x00\x01", "1,5", "{\"time\": 5}", "\xff\xfe", "\"text\""};
    struct proposal list[PROPOSALS_MAX];
    for (size_t i = 0; i < sizeof payloads / sizeof payloads[0]; i++)
        ck_assert_uint_eq(proposal_list("a/radon", payloads[i], strlen(payloads[i]), UNIT_SYSTEM_SI,
                                        list, PROPOSALS_MAX),
                          0);
    ck_assert_uint_eq(proposal_list("a",
                                    "\x00"
                                    "1",
                                    2, UNIT_SYSTEM_SI, list, PROPOSALS_MAX),
                      0);
}
END_TEST

/* Names from outside: nothing is written beyond its room, and the list ends where it is full. */
START_TEST(long_names_and_many_numbers_are_bounded) {
    char payload[8192] = "{\"";
    struct proposal list[3];
    memset(payload + 2, '/', 250);
    strcat(payload, "\": 1");
    for (char one = 'a'; one <= 'z'; one++) {
        char member[16] = {',', '"', one, '"', ':', '2', '\0'};
        strcat(payload, member);
    }
    strcat(payload, "}");
    ck_assert_uint_eq(proposal_list("x", payload, strlen(payload), UNIT_SYSTEM_US, list, 3), 3);
    ck_assert_str_eq(list[0].value_pointer, "/a");
}
END_TEST

START_TEST(how_often_it_sends_is_the_nearest_usual_interval) {
    static const struct {
        int64_t count, minutes;
        const char *every;
    } cases[] = {{1, 0, "10 min"},  {2, 0, "10 min"},   {200, 3, "10 min"}, /* a burst */
                 {2, 61, "1 h"},    {25, 1440, "1 h"},  {20, 1440, "1 h"},  /* five are lost */
                 {7, 62, "10 min"}, {13, 61, "5 min"},  {4000, 60, "1 min"}, {97, 1440, "15 min"},
                 {2, 1440, "24 h"}, {3, 20000, "24 h"}, {2, 200, "4 h"}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        int64_t first_ms = INT64_C(1764500000000);
        ck_assert_str_eq(
            proposal_every(cases[i].count, first_ms, first_ms + cases[i].minutes * INT64_C(60000)),
            cases[i].every);
    }
}
END_TEST

int main(void) {
    TCase *proposal = tcase_create("proposal");
    tcase_add_loop_test(proposal, a_number_is_proposed_as, 0, sizeof guesses / sizeof guesses[0]);
    tcase_add_test(proposal, each_number_of_a_document_has_its_place);
    tcase_add_test(proposal, senml_records_are_told_by_name);
    tcase_add_test(proposal, what_holds_no_number_proposes_nothing);
    tcase_add_test(proposal, long_names_and_many_numbers_are_bounded);
    tcase_add_test(proposal, how_often_it_sends_is_the_nearest_usual_interval);
    return run_test_case(proposal);
}
