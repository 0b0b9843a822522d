#include "measure/timestamp.h"
#include "test_support.h"

#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

static const struct {
    const char *text;
    int64_t ms;
} good[] = {
    /* RFC 3339 section 5.8; seconds since 1970 computed with Python's datetime */
    {"1985-04-12T23:20:50.52Z", INT64_C(482196050520)},
    {"1996-12-19T16:39:57-08:00", INT64_C(851042397000)},
    {"1996-12-20T00:39:57Z", INT64_C(851042397000)},
    {"1937-01-01T12:00:27.87+00:20", INT64_C(-1041337172130)},
    {"1990-12-31T23:59:60Z", INT64_C(662688000000)},
    {"1990-12-31T15:59:60-08:00", INT64_C(662688000000)},
    {"1970-01-01T00:00:00Z", 0},
    {"1970-01-01t00:00:00z", 0},
    {"1970-01-01 00:00:00Z", 0},
    {"1970-01-01T00:00:00-00:00", 0},
    {"1969-12-31T23:59:59.999Z", -1},
    {"1970-01-01T00:00:00.0019Z", 1},
    {"1970-01-01T00:00:00.0009Z", 0},
    {"1970-01-01T00:00:00.123456789012345678901234567890Z", 123},
    {"2024-02-29T00:00:00Z", INT64_C(1709164800000)},
    {"2000-02-29T00:00:00Z", INT64_C(951782400000)},
    {"2026-03-12T08:15:00-07:00", INT64_C(1773328500000)},
    {"0000-01-01T00:00:00Z", INT64_C(-62167219200000)},
    {"0000-01-01T00:00:00+23:59", INT64_C(-62167305540000)},
    {"9999-12-31T23:59:59.999Z", INT64_C(253402300799999)},
    {"9999-12-31T23:59:59.999-23:59", INT64_C(253402387139999)},
    {"2026-06-30T23:59:60.500Z", INT64_C(1782864000500)},
};

START_TEST(instants_are_read) {
    int64_t ms = -77;
    ck_assert_msg(timestamp_parse(good[_i].text, strlen(good[_i].text), &ms), "%s", good[_i].text);
    ck_assert_int_eq(ms, good[_i].ms);
}
END_TEST

static const char *const bad[] = {
    "",
    "2026-03-12",
    "2026-03-12T08:15:00",
    "2026-03-12T08:15Z",
    "2026-03-12T08:15:00+0700",
    "2026-03-12T08:15:00+07",
    "2026-03-12T08:15:00+24:00",
    "2026-03-12T08:15:00+07:60",
    "2026-03-12T08:15:00 Z",
    "2026-03-12T08:15:00Z ",
    " 2026-03-12T08:15:00Z",
    "2026-03-12T08:15:00ZZ",
    "2026-03-12T08:15:00.Z",
    "2026-03-12T08:15:00,5Z",
    "2026-03-12T24:00:00Z",
    "2026-03-12T08:60:00Z",
    "2026-03-12T08:15:61Z",
    "2026-03-12T08:15:60Z",
    "2026-03-12T23:59:60-08:00",
    "2100-02-29T00:00:00Z",
    "2023-02-29T00:00:00Z",
    "2026-04-31T00:00:00Z",
    "2026-00-01T00:00:00Z",
    "2026-13-01T00:00:00Z",
    "2026-01-00T00:00:00Z",
    "2026-01-32T00:00:00Z",
    "+026-01-01T00:00:00Z",
    "-001-01-01T00:00:00Z",
    "20260-1-01T00:00:00Z",
    "2026/03/12T08:15:00Z",
    "2026-03-12_08:15:00Z",
    "2026-03-12T08.15.00Z",
    "2026-03-12T 8:15:00Z",
    "2026-03-12T08:15:0 Z",
    "2026-03-12T08:15:00UTC",
    "20260312T081500Z000000",
    "1773328500",
};

START_TEST(all_else_is_refused) {
    int64_t ms = -77;
    ck_assert_msg(!timestamp_parse(bad[_i], strlen(bad[_i]), &ms), "%s", bad[_i]);
    ck_assert_int_eq(ms, -77);
}
END_TEST

START_TEST(times_without_an_offset_are_read_apart) {
    static const char *const refused[] = {"2026-03-12T08:15:00Z",   "2026-03-12T08:15:00-06:00",
                                          "2026-03-12T08:15",       "2026-03-12",
                                          "2026-03-12T08:15:60",    "2026-03-12T08:15:00.",
                                          "2026-03-12T08:15:00 ",   "2026-02-29T08:15:00",
                                          "2026-03-12T08:15:00.5+", ""};
    int64_t ms = -77;
    for (size_t i = 0; i < sizeof refused / sizeof refused[0]; i++)
        ck_assert_msg(!timestamp_parse_local(refused[i], strlen(refused[i]), &ms), "%s",
                      refused[i]);
    ck_assert_int_eq(ms, -77);
    ck_assert(timestamp_parse_local("1970-01-02T00:00:01.25", 22, &ms));
    ck_assert_int_eq(ms, 86401250);
    ck_assert(timestamp_parse_local("2026-01-15 08:30:00", 19, &ms));
    ck_assert_int_eq(ms, 1768465800000); /* date -u -d '2026-01-15 08:30:00' +%s */
}
END_TEST

START_TEST(each_cut_of_an_instant_is_refused) {
    const char *text = "2026-03-12T08:15:00.123-07:00";
    for (size_t length = 0; length < strlen(text); length++) {
        char *exact = malloc(length + 1); /* so that the sanitizer sees a read beyond it */
        memcpy(exact, text, length);
        int64_t ms = -77;
        ck_assert(!timestamp_parse(exact, length, &ms));
        free(exact);
    }
}
END_TEST

START_TEST(dates_are_read) {
    int year = 0, month = 0, day = 0;
    ck_assert(timestamp_parse_date("2026-03-12", 10, &year, &month, &day));
    ck_assert_int_eq(year, 2026);
    ck_assert_int_eq(month, 3);
    ck_assert_int_eq(day, 12);
    ck_assert(!timestamp_parse_date("2026-03-12T", 11, &year, &month, &day));
    ck_assert(!timestamp_parse_date("2026-3-12", 9, &year, &month, &day));
    ck_assert(!timestamp_parse_date("2025-02-29", 10, &year, &month, &day));
    ck_assert(!timestamp_parse_date("1900-02-29", 10, &year, &month, &day));
    ck_assert(timestamp_parse_date("2000-02-29", 10, &year, &month, &day));
    ck_assert_int_eq(day, 29);
}
END_TEST

static const struct {
    int64_t ms;
    const char *text;
} written[] = {
    {0, "1970-01-01T00:00:00Z"},
    {INT64_C(1773303300000), "2026-03-12T08:15:00Z"},
    {INT64_C(482196050520), "1985-04-12T23:20:50.520Z"},
    {-1, "1969-12-31T23:59:59.999Z"},
    {INT64_C(-62167219200000), "0000-01-01T00:00:00Z"},
    {INT64_C(253402300800000), "10000-01-01T00:00:00Z"},
    {INT64_MAX, "292278994-08-17T07:12:55.807Z"},
    {INT64_MIN, "-292275055-05-16T16:47:04.192Z"},
};

START_TEST(instants_are_written) {
    char text[32];
    ck_assert_str_eq(timestamp_format(text, sizeof(text), written[_i].ms), written[_i].text);
}
END_TEST

START_TEST(writing_and_reading_agree_and_so_does_gmtime) {
    struct test_random random = {test_seed()};
    char text[40], expected[40];
    for (int i = 0; i < 100000; i++) {
        int64_t ms = (int64_t)(test_random_unit(&random) * 315569520000000.0) -
                     INT64_C(62167219200000),
                again = 0;
        timestamp_format(text, sizeof(text), ms);
        ck_assert_msg(timestamp_parse(text, strlen(text), &again), "%s", text);
        ck_assert_int_eq(again, ms);
        time_t seconds = (time_t)((ms - ((ms % 1000) + 1000) % 1000) / 1000);
        struct tm tm;
        gmtime_r(&seconds, &tm);
        ck_assert_int_eq(timestamp_days_from_civil(tm.tm_year + 1900, tm.tm_mon + 1, tm.tm_mday),
                         (seconds - ((seconds % 86400) + 86400) % 86400) / 86400);
        snprintf(expected, sizeof(expected), "%04d-%02d-%02dT%02d:%02d:%02d", tm.tm_year + 1900,
                 tm.tm_mon + 1, tm.tm_mday, tm.tm_hour, tm.tm_min, tm.tm_sec);
        text[19] = '\0';
        ck_assert_str_eq(text, expected);
        expected[10] = '\0';
        ck_assert_str_eq(
            timestamp_format_day(text, sizeof(text), timestamp_floor(ms, INT64_C(86400000))),
            expected);
    }
}
END_TEST

START_TEST(days_and_civil_dates_are_inverse_for_all_years) {
    static const int years[] = {INT_MIN, INT_MIN + 1, -401, -400, -1, 0, 1, 1970, 2000, INT_MAX};
    for (size_t i = 0; i < sizeof(years) / sizeof(years[0]); i++) {
        int year = 0, month = 0, day = 0;
        timestamp_civil_from_days(timestamp_days_from_civil(years[i], 2, 28) + 2, &year, &month,
                                  &day);
        bool leap = years[i] % 4 == 0 && (years[i] % 100 != 0 || years[i] % 400 == 0);
        ck_assert_int_eq(year, years[i]);
        ck_assert_int_eq(month, 3);
        ck_assert_int_eq(day, leap ? 1 : 2);
    }
    int year_before = 1599, month_before = 12, day_before = 31;
    for (int64_t days = timestamp_days_from_civil(1600, 1, 1);
         days < timestamp_days_from_civil(2401, 1, 1); days++) {
        int year = 0, month = 0, day = 0;
        timestamp_civil_from_days(days, &year, &month, &day);
        ck_assert_int_eq(timestamp_days_from_civil(year, month, day), days);
        bool next_day = year == year_before && month == month_before && day == day_before + 1;
        bool next_month = year == year_before && month == month_before + 1 && day == 1;
        bool next_year = year == year_before + 1 && month == 1 && month_before == 12 && day == 1;
        ck_assert(next_day || next_month || next_year);
        year_before = year;
        month_before = month;
        day_before = day;
    }
}
END_TEST

#define ROWS(table) (int)(sizeof(table) / sizeof((table)[0]))

int main(void) {
    TCase *timestamp = tcase_create("timestamp");
    tcase_add_loop_test(timestamp, instants_are_read, 0, ROWS(good));
    tcase_add_loop_test(timestamp, all_else_is_refused, 0, ROWS(bad));
    tcase_add_test(timestamp, times_without_an_offset_are_read_apart);
    tcase_add_test(timestamp, each_cut_of_an_instant_is_refused);
    tcase_add_test(timestamp, dates_are_read);
    tcase_add_loop_test(timestamp, instants_are_written, 0, ROWS(written));
    tcase_add_test(timestamp, writing_and_reading_agree_and_so_does_gmtime);
    tcase_add_test(timestamp, days_and_civil_dates_are_inverse_for_all_years);
    return run_test_case(timestamp);
}
