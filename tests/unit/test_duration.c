#include "measure/duration.h"
#include "test_support.h"

#include <string.h>

static const struct {
    const char *text;
    int64_t ms; /* -1: refused */
} spans[] = {
    {"10 min", 600000},
    {"24 h", 86400000},
    {"30 d", INT64_C(2592000000)},
    {"10 y", INT64_C(315569520000)},
    {"500 ms", 500},
    {"5 s", 5000},
    {"5s", 5000},
    {" 5  s ", 5000},
    {"2 w", INT64_C(1209600000)},
    {"1.5 h", 5400000},
    {"0.1 s", 100},
    {"0 s", 0},
    {"90 minutes", 5400000},
    {"1 day", 86400000},
    {"2 years", INT64_C(63113904000)},
    {"1 h 30 min", 5400000},
    {"1h30min", 5400000},
    {"1 d 2 h 3 min 4 s 5 ms", 93784005},
    {"290000000 y", INT64_C(9151516080000000000)},
    {"300000000 y", -1},
    {"1e300 y", -1},
    {"1e999 s", -1},
    {"30 min 1 h", -1},
    {"1 h 1 h", -1},
    {"-5 s", -1},
    {"5", -1},
    {"", -1},
    {" ", -1},
    {"s", -1},
    {"5 m", -1},
    {"5 mo", -1},
    {"5 S", -1},
    {"5 min later", -1},
    {"nan s", -1},
    {"5 s,", -1},
};

START_TEST(spans_are_read_as_people_write_them) {
    int64_t ms = -77;
    bool good = duration_parse(spans[_i].text, &ms);
    ck_assert_msg(good == (spans[_i].ms >= 0), "%s", spans[_i].text);
    ck_assert_int_eq(ms, good ? spans[_i].ms : -77);
}
END_TEST

static const struct {
    int64_t ms;
    const char *text;
} written[] = {
    {0, "0 ms"},
    {999, "999 ms"},
    {1000, "1 s"},
    {1500, "1 s 500 ms"},
    {12 * DURATION_MINUTE_MS, "12 min"},
    {12 * DURATION_MINUTE_MS + 400, "12 min"},
    {12 * DURATION_MINUTE_MS + 30000, "12 min 30 s"},
    {3 * DURATION_HOUR_MS - 1, "3 h"},
    {3 * DURATION_HOUR_MS, "3 h"},
    {90 * DURATION_MINUTE_MS, "1 h 30 min"},
    {DURATION_HOUR_MS - 1, "1 h"},
    {DURATION_DAY_MS - 1, "1 d"},
    {2 * DURATION_DAY_MS, "2 d"},
    {30 * DURATION_HOUR_MS, "1 d 6 h"},
    {DURATION_YEAR_MS, "1 y"},
    {365 * DURATION_DAY_MS, "1 y"},
    {DURATION_YEAR_MS * 3 / 2, "1.5 y"},
    {10 * DURATION_YEAR_MS, "10 y"},
    {-90 * DURATION_MINUTE_MS, "-1 h 30 min"},
    {INT64_MAX, "292277024.6 y"},
    {INT64_MIN, "-292277024.6 y"},
};

START_TEST(spans_are_written_with_two_parts_at_most) {
    char text[32];
    ck_assert_str_eq(duration_format(text, sizeof(text), written[_i].ms), written[_i].text);
    char small[5] = "####";
    duration_format(small, 4, written[_i].ms);
    ck_assert_uint_le(strlen(small), 3);
}
END_TEST

START_TEST(what_is_written_can_be_read_again) {
    struct test_random random = {test_seed()};
    char text[32];
    for (int i = 0; i < 100000; i++) {
        int64_t ms = (int64_t)(test_random_next(&random) >> (20 + i % 44)), again = -1;
        ck_assert(duration_parse(duration_format(text, sizeof(text), ms), &again));
        int64_t error = again > ms ? again - ms : ms - again;
        ck_assert_msg(error <= ms / 18, "%lld ms is written %s", (long long)ms, text);
    }
}
END_TEST

#define ROWS(table) (int)(sizeof(table) / sizeof((table)[0]))

int main(void) {
    TCase *duration = tcase_create("duration");
    tcase_add_loop_test(duration, spans_are_read_as_people_write_them, 0, ROWS(spans));
    tcase_add_loop_test(duration, spans_are_written_with_two_parts_at_most, 0, ROWS(written));
    tcase_add_test(duration, what_is_written_can_be_read_again);
    return run_test_case(duration);
}
