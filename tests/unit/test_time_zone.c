#include "measure/time_zone.h"
#include "measure/time_zone_rule.h"
#include "measure/timestamp.h"
#include "test_support.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define HOUR_MS INT64_C(3600000)
#define DAY_MS (24 * HOUR_MS)

static struct time_zone *zone_of(const char *name) {
    char path[256];
    snprintf(path, sizeof(path), "/usr/share/zoneinfo/%s", name);
    size_t length = 0;
    char *bytes = test_read_file(path, &length);
    struct time_zone *zone = time_zone_create(name, bytes, length);
    free(bytes);
    ck_assert_msg(zone != NULL, "%s", name);
    return zone;
}

static int64_t instant(const char *text) {
    int64_t ms = 0;
    ck_assert_msg(timestamp_parse(text, strlen(text), &ms), "%s", text);
    return ms;
}

static int64_t day_of(const char *date) {
    int year, month, day;
    ck_assert(timestamp_parse_date(date, strlen(date), &year, &month, &day));
    return timestamp_days_from_civil(year, month, day);
}

/* Dates of the changes: the time zone database; lengths follow from them. */
static const struct {
    const char *zone, *date, *start;
    int64_t length_min;
} days[] = {
    {"Europe/Berlin", "2025-03-29", "2025-03-29T00:00:00+01:00", 24 * 60},
    {"Europe/Berlin", "2025-03-30", "2025-03-30T00:00:00+01:00", 23 * 60},
    {"Europe/Berlin", "2025-10-26", "2025-10-26T00:00:00+02:00", 25 * 60},
    {"Europe/Berlin", "2099-03-29", "2099-03-29T00:00:00+01:00", 23 * 60},
    {"Europe/Berlin", "2099-10-25", "2099-10-25T00:00:00+02:00", 25 * 60},
    {"America/Chicago", "2026-03-08", "2026-03-08T00:00:00-06:00", 23 * 60},
    {"America/Chicago", "2026-11-01", "2026-11-01T00:00:00-05:00", 25 * 60},
    {"America/Denver", "2026-03-08", "2026-03-08T00:00:00-07:00", 23 * 60},
    {"Australia/Lord_Howe", "2025-10-05", "2025-10-05T00:00:00+10:30", 23 * 60 + 30},
    {"Australia/Lord_Howe", "2026-04-05", "2026-04-05T00:00:00+11:00", 24 * 60 + 30},
    {"Asia/Kathmandu", "2026-03-29", "2026-03-29T00:00:00+05:45", 24 * 60},
    /* No midnight: the day begins at 01:00. */
    {"America/Sao_Paulo", "2018-11-04", "2018-11-04T01:00:00-02:00", 23 * 60},
    {"Africa/Cairo", "2024-04-26", "2024-04-26T01:00:00+03:00", 23 * 60},
    /* Back from midnight to 23:00: the day before has 25 hours. */
    {"America/Sao_Paulo", "2018-02-17", "2018-02-17T00:00:00-02:00", 25 * 60},
    {"America/Sao_Paulo", "2018-02-18", "2018-02-18T00:00:00-03:00", 24 * 60},
    /* Back from 00:01 to 23:01: midnight comes twice, the first counts. */
    {"America/St_Johns", "2005-10-30", "2005-10-30T00:00:00-02:30", 25 * 60},
    /* A day left out has no length, and the next one begins there. */
    {"Pacific/Apia", "2011-12-30", "2011-12-31T00:00:00+14:00", 0},
    {"Pacific/Apia", "2011-12-31", "2011-12-31T00:00:00+14:00", 24 * 60},
};

START_TEST(days_begin_and_last_as_the_clocks_say) {
    struct time_zone *zone = zone_of(days[_i].zone);
    int64_t day = day_of(days[_i].date);
    int64_t start = time_zone_day_start_ms(zone, day);
    ck_assert_int_eq(start, instant(days[_i].start));
    ck_assert_int_eq((time_zone_day_start_ms(zone, day + 1) - start) / 60000, days[_i].length_min);
    ck_assert_int_lt(time_zone_local_day(zone, start - 1), day);
    if (days[_i].length_min > 0)
        ck_assert_int_eq(time_zone_local_day(zone, start), day);
    time_zone_destroy(zone);
}
END_TEST

/* What a clock on a wall shows, and the first and last instant at which it does; NULL: never. */
static const struct {
    const char *zone, *wall, *first, *last;
} walls[] = {
    {"America/Denver", "2026-01-15T01:30:00", "2026-01-15T08:30:00Z", "2026-01-15T08:30:00Z"},
    {"America/Denver", "2026-07-15T01:30:00.25", "2026-07-15T07:30:00.25Z",
     "2026-07-15T07:30:00.25Z"},
    /* Set back at 02:00 summer time: 01:00 to 02:00 comes twice, and 02:00 itself once. */
    {"America/Denver", "2026-11-01T00:59:59.999", "2026-11-01T06:59:59.999Z",
     "2026-11-01T06:59:59.999Z"},
    {"America/Denver", "2026-11-01T01:00:00", "2026-11-01T07:00:00Z", "2026-11-01T08:00:00Z"},
    {"America/Denver", "2026-11-01T01:59:59.999", "2026-11-01T07:59:59.999Z",
     "2026-11-01T08:59:59.999Z"},
    {"America/Denver", "2026-11-01T02:00:00", "2026-11-01T09:00:00Z", "2026-11-01T09:00:00Z"},
    /* Set forward at 02:00: it is 03:00 at once. */
    {"America/Denver", "2026-03-08T01:59:59", "2026-03-08T08:59:59Z", "2026-03-08T08:59:59Z"},
    {"America/Denver", "2026-03-08T02:00:00", NULL, NULL},
    {"America/Denver", "2026-03-08T02:59:59", NULL, NULL},
    {"America/Denver", "2026-03-08T03:00:00", "2026-03-08T09:00:00Z", "2026-03-08T09:00:00Z"},
    {"Europe/Berlin", "2099-10-25T02:30:00", "2099-10-25T00:30:00Z", "2099-10-25T01:30:00Z"},
    {"Australia/Lord_Howe", "2026-04-05T01:45:00", "2026-04-04T14:45:00Z", "2026-04-04T15:15:00Z"},
    {"Pacific/Apia", "2011-12-30T12:00:00", NULL, NULL},
};

START_TEST(a_wall_clock_shows_a_time_never_once_or_twice) {
    struct time_zone *zone = zone_of(walls[_i].zone);
    int64_t wall_ms = 0, first_ms = -77, last_ms = -77;
    ck_assert(timestamp_parse_local(walls[_i].wall, strlen(walls[_i].wall), &wall_ms));
    bool found = time_zone_instants(zone, wall_ms, &first_ms, &last_ms);
    ck_assert_int_eq(found, walls[_i].first != NULL);
    ck_assert_int_eq(first_ms, found ? instant(walls[_i].first) : -77);
    ck_assert_int_eq(last_ms, found ? instant(walls[_i].last) : -77);
    time_zone_destroy(zone);
}
END_TEST

START_TEST(wall_clock_texts_are_those_of_the_place) {
    char text[40];
    struct time_zone *denver = zone_of("America/Denver"), *kathmandu = zone_of("Asia/Kathmandu");
    int64_t ms = instant("2026-03-12T14:15:59.999Z");
    ck_assert_str_eq(time_zone_format(text, sizeof(text), denver, ms), "2026-03-12 08:15 MDT");
    ck_assert_int_eq(time_zone_minute_of_day(denver, ms), 8 * 60 + 15);
    ck_assert_int_eq(time_zone_offset_s(denver, ms), -6 * 3600);
    ck_assert_str_eq(time_zone_format(text, sizeof(text), kathmandu, ms), "2026-03-12 20:00 +0545");
    ck_assert_str_eq(time_zone_name(denver), "America/Denver");
    ms = instant("2026-01-01T06:59:59.999Z");
    ck_assert_str_eq(time_zone_format(text, sizeof(text), denver, ms), "2025-12-31 23:59 MST");
    ck_assert_int_eq(time_zone_minute_of_day(denver, ms), 1439);
    ck_assert_int_eq(time_zone_minute_of_day(denver, ms + 1), 0);
    time_zone_destroy(denver);
    time_zone_destroy(kathmandu);
}
END_TEST

START_TEST(utc_has_no_offset_at_any_time) {
    struct time_zone *zone = time_zone_create_utc();
    static const int64_t times[] = {INT64_MIN, -1, 0, INT64_C(1773303300000), INT64_MAX};
    for (size_t i = 0; i < sizeof(times) / sizeof(times[0]); i++) {
        ck_assert_int_eq(time_zone_offset_s(zone, times[i]), 0);
        ck_assert_str_eq(time_zone_abbreviation(zone, times[i]), "UTC");
    }
    ck_assert_int_eq(time_zone_local_day(zone, -1), -1);
    ck_assert_int_eq(time_zone_day_start_ms(zone, -1), -DAY_MS);
    ck_assert_int_eq(time_zone_minute_of_day(zone, -1), 1439);
    time_zone_destroy(zone);
    time_zone_destroy(NULL);
}
END_TEST

START_TEST(extreme_instants_and_days_stay_defined) {
    static const char *const names[] = {"Europe/Berlin", "Asia/Kathmandu", "America/Sao_Paulo"};
    char text[40];
    for (size_t i = 0; i < sizeof(names) / sizeof(names[0]); i++) {
        struct time_zone *zone = zone_of(names[i]);
        time_zone_format(text, sizeof(text), zone, INT64_MIN);
        time_zone_format(text, sizeof(text), zone, INT64_MAX);
        ck_assert_int_le(time_zone_day_start_ms(zone, INT64_MIN), -INT64_C(9223372036000000000));
        ck_assert_int_ge(time_zone_day_start_ms(zone, INT64_MAX), INT64_C(9223372036000000000));
        time_zone_destroy(zone);
    }
    struct time_zone *berlin = zone_of("Europe/Berlin"); /* local mean time before 1893 */
    ck_assert_int_eq(time_zone_offset_s(berlin, instant("1800-06-01T00:00:00Z")), 53 * 60 + 28);
    ck_assert_str_eq(time_zone_abbreviation(berlin, INT64_MIN), "LMT");
    time_zone_destroy(berlin);
}
END_TEST

START_TEST(each_instant_lies_in_its_local_day) {
    static const char *const names[] = {"Europe/Berlin", "Australia/Lord_Howe", "Africa/Cairo",
                                        "America/St_Johns"};
    struct test_random random = {test_seed()};
    for (size_t i = 0; i < sizeof(names) / sizeof(names[0]); i++) {
        struct time_zone *zone = zone_of(names[i]);
        for (int k = 0; k < 20000; k++) {
            int64_t ms = (int64_t)(test_random_unit(&random) * 6.3e12) - INT64_C(2200000000000);
            int64_t day = time_zone_local_day(zone, ms);
            ck_assert_int_le(time_zone_day_start_ms(zone, day), ms);
            int64_t next = time_zone_day_start_ms(zone, day + 1);
            /* Only where a clock went back over midnight does a day's end lie after the next start:
               by two hours where it had been put forward by two (St John's, 1988; tz database). */
            ck_assert_int_gt(next + 2 * HOUR_MS, ms);
            int64_t local_ms = ms + time_zone_offset_s(zone, ms) * INT64_C(1000);
            ck_assert_int_eq(time_zone_minute_of_day(zone, ms),
                             (((local_ms / 60000) - (local_ms % 60000 < 0)) % 1440 + 1440) % 1440);
        }
        time_zone_destroy(zone);
    }
}
END_TEST

static const struct {
    const char *text;
    int good;
} rules[] = {
    {"UTC0", 1},
    {"CET-1CEST,M3.5.0,M10.5.0/3", 1},
    {"<+0545>-5:45", 1},
    {"<-02>2<-01>,M3.5.0/-1,M10.5.0/0", 1},
    {"IST-1GMT0,M10.5.0,M3.5.0/1", 1},
    {"XXX3EDT4,0/0,J365/23", 1},
    {"EST5EDT,J60/2:30:15,364", 1},
    {"EST5EDT,M3.2.0/167,M11.1.0/-167", 1},
    {"", 0},
    {"UTC", 0},
    {"UT0", 0},
    {"UTC25", 0},
    {"UTC0:60", 0},
    {"UTC0000", 0},
    {"UTC0 ", 0},
    {"<UTC0", 0},
    {"EST5EDT", 0},
    {"EST5EDT,M3.2.0", 0},
    {"EST5EDT,M3.2.0,M13.1.0", 0},
    {"EST5EDT,M3.2.0,M11.6.0", 0},
    {"EST5EDT,M3.2.0,M11.0.0", 0},
    {"EST5EDT,M3.2.0,M11.1.7", 0},
    {"EST5EDT,J0,J365", 0},
    {"EST5EDT,0,366", 0},
    {"EST5EDT,M3.2.0/168,M11.1.0", 0},
    {"EST5EDT,M3.2.0,M11.1.0,", 0},
    {"ABCDEFGHIJKLMNOPQRSTUVWXYZ5", 0},
};

START_TEST(rules_of_the_footer_are_read_or_refused) {
    struct time_zone_rule rule;
    ck_assert_int_eq(time_zone_rule_parse(&rule, rules[_i].text, strlen(rules[_i].text)),
                     rules[_i].good);
}
END_TEST

static int32_t rule_offset(const char *text, const char *when) {
    struct time_zone_rule rule;
    ck_assert(time_zone_rule_parse(&rule, text, strlen(text)));
    struct time_zone_period period = time_zone_rule_period(&rule, instant(when) / 1000);
    ck_assert(period.from_s <= instant(when) / 1000 && instant(when) / 1000 < period.until_s);
    return period.offset_s;
}

START_TEST(rules_of_days_of_the_year_count_as_posix_says) {
    /* J60 is 1 March in all years; 59, counted from 0, is 29 February in leap years. */
    const char *julian = "AAA0BBB,J60/0,J300/0", *counted = "AAA0BBB,59/0,299/0";
    ck_assert_int_eq(rule_offset(julian, "2024-02-29T23:59:59Z"), 0);
    ck_assert_int_eq(rule_offset(julian, "2024-03-01T00:00:00Z"), 3600);
    ck_assert_int_eq(rule_offset(julian, "2025-03-01T00:00:00Z"), 3600);
    ck_assert_int_eq(rule_offset(counted, "2024-02-28T23:59:59Z"), 0);
    ck_assert_int_eq(rule_offset(counted, "2024-02-29T00:00:00Z"), 3600);
    ck_assert_int_eq(rule_offset(counted, "2025-02-28T23:59:59Z"), 0);
    ck_assert_int_eq(rule_offset(counted, "2025-03-01T00:00:00Z"), 3600);
    /* RFC 9636 section 3.3.2: daylight time all year (example from memory) */
    const char *always = "EST5EDT,0/0,J365/25";
    ck_assert_int_eq(rule_offset(always, "2025-01-01T00:00:00Z"), -4 * 3600);
    ck_assert_int_eq(rule_offset(always, "2025-12-31T23:59:59Z"), -4 * 3600);
    ck_assert_int_eq(rule_offset(always, "2026-01-01T04:30:00Z"), -4 * 3600);
    ck_assert_int_eq(rule_offset(always, "2026-07-01T00:00:00Z"), -4 * 3600);
    /* Southern summer lies across the new year. */
    const char *south = "AEST-10AEDT,M10.1.0,M4.1.0/3";
    ck_assert_int_eq(rule_offset(south, "2026-01-01T00:00:00Z"), 11 * 3600);
    ck_assert_int_eq(rule_offset(south, "2026-07-01T00:00:00Z"), 10 * 3600);
}
END_TEST

/* A small file built by hand: version 1, two types, one transition. */
#define SMALL_BYTES (44 + 5 + 12 + 8)
static size_t small_file(uint8_t *bytes) {
    static const uint8_t tail[] = {0,   0,   0x0E, 0x10, 0,      /* transition at 3600 */
                                   0,   0,   0,    0,    0,   0, /* type 0: 0 s, "ABC" */
                                   0,   0,   0x1C, 0x20, 1,   4, /* type 1: 7200 s, "DEF" */
                                   'A', 'B', 'C',  0,    'D', 'E', 'F', 0};
    memset(bytes, 0, 44);
    memcpy(bytes, "TZif", 4);
    bytes[35] = 1;
    bytes[39] = 2;
    bytes[43] = 8;
    memcpy(bytes + 44, tail, sizeof(tail));
    bytes[44 + 4] = 1; /* the transition's type */
    return 44 + sizeof(tail);
}

START_TEST(a_file_of_the_first_version_is_read) {
    uint8_t bytes[SMALL_BYTES];
    ck_assert_uint_eq(small_file(bytes), SMALL_BYTES);
    struct time_zone *zone = time_zone_create("small", bytes, sizeof(bytes));
    ck_assert_ptr_nonnull(zone);
    ck_assert_int_eq(time_zone_offset_s(zone, 3599999), 0);
    ck_assert_int_eq(time_zone_offset_s(zone, 3600000), 7200);
    ck_assert_str_eq(time_zone_abbreviation(zone, INT64_MAX), "DEF");
    time_zone_destroy(zone);
}
END_TEST

static const struct {
    size_t at;
    uint8_t value;
} faults[] = {
    {0, 't'},   /* no such kind of file */
    {39, 0},    /* no types */
    {39, 1},    /* the parts do not fit together */
    {32, 255},  /* more transitions than bytes */
    {40, 255},  /* more letters than bytes */
    {31, 1},    /* a leap second and no room for it */
    {48, 2},    /* type of the transition does not exist */
    {49, 0x7F}, /* an offset of years */
    {54, 20},   /* abbreviation begins far beyond the letters */
    {54, 8},    /* abbreviation begins beyond the letters */
    {68, 'X'},  /* abbreviation has no end */
    {61, 7},    /* abbreviation with a control character */
    {4, '2'},   /* second block missing */
};

START_TEST(damaged_files_are_refused) {
    uint8_t bytes[SMALL_BYTES];
    small_file(bytes);
    bytes[faults[_i].at] = faults[_i].value;
    struct time_zone *zone = time_zone_create("damaged", bytes, sizeof(bytes));
    ck_assert_ptr_null(zone);
}
END_TEST

START_TEST(files_cut_anywhere_are_refused) {
    size_t length = 0;
    char *bytes = test_read_file("/usr/share/zoneinfo/Europe/Berlin", &length);
    for (size_t cut = 0; cut < length; cut++) {
        char *exact = malloc(cut + 1); /* so that the sanitizer sees a read beyond it */
        memcpy(exact, bytes, cut);
        struct time_zone *zone = time_zone_create("cut", exact, cut);
        ck_assert_ptr_null(zone);
        free(exact);
    }
    free(bytes);
}
END_TEST

START_TEST(files_with_random_damage_do_no_harm) {
    struct test_random random = {test_seed()};
    size_t length = 0;
    char *bytes = test_read_file("/usr/share/zoneinfo/America/Chicago", &length), text[40];
    int read = 0;
    for (int i = 0; i < 5000; i++) {
        char *damaged = malloc(length);
        memcpy(damaged, bytes, length);
        for (int k = 0; k < 1 + i % 8; k++)
            damaged[test_random_next(&random) % (i % 2 ? 100 : length)] =
                (char)test_random_next(&random);
        struct time_zone *zone = time_zone_create("damaged", damaged, length);
        free(damaged);
        if (!zone)
            continue;
        read++;
        int64_t ms = (int64_t)test_random_next(&random);
        time_zone_format(text, sizeof(text), zone, ms);
        time_zone_day_start_ms(zone, time_zone_local_day(zone, ms));
        time_zone_destroy(zone);
    }
    ck_assert_int_gt(read, 0);
    free(bytes);
}
END_TEST

#define ROWS(table) (int)(sizeof(table) / sizeof((table)[0]))

int main(void) {
    TCase *time_zone = tcase_create("time_zone");
    tcase_add_loop_test(time_zone, days_begin_and_last_as_the_clocks_say, 0, ROWS(days));
    tcase_add_loop_test(time_zone, a_wall_clock_shows_a_time_never_once_or_twice, 0, ROWS(walls));
    tcase_add_test(time_zone, wall_clock_texts_are_those_of_the_place);
    tcase_add_test(time_zone, utc_has_no_offset_at_any_time);
    tcase_add_test(time_zone, extreme_instants_and_days_stay_defined);
    tcase_add_test(time_zone, each_instant_lies_in_its_local_day);
    tcase_add_loop_test(time_zone, rules_of_the_footer_are_read_or_refused, 0, ROWS(rules));
    tcase_add_test(time_zone, rules_of_days_of_the_year_count_as_posix_says);
    tcase_add_test(time_zone, a_file_of_the_first_version_is_read);
    tcase_add_loop_test(time_zone, damaged_files_are_refused, 0, ROWS(faults));
    tcase_add_test(time_zone, files_cut_anywhere_are_refused);
    tcase_add_test(time_zone, files_with_random_damage_do_no_harm);
    return run_test_case(time_zone);
}
