/* Against the rules of RFC 5545; an independent parser reads the text in tests/reference. */
#include "words/calendar.h"

#include "measure/timestamp.h"
#include "test_support.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const int64_t now_ms = INT64_C(869000400000); /* 1997-07-15T21:00:00Z */

static struct calendar_event plain_event(void) {
    return (struct calendar_event){.uid = "one@example",
                                   .summary = "Visit",
                                   .all_day = true,
                                   .start_day = 20543, /* 2026-03-31 */
                                   .end_day = 20544,
                                   .created_ms = TIMESTAMP_NONE};
}

/* A whole calendar with one event or none. The caller frees. */
static char *calendar_with(const struct calendar_event *event, const char *name) {
    struct text_buffer text = {0};
    calendar_begin(&text, name);
    if (event)
        calendar_add_event(&text, event, now_ms);
    calendar_end(&text);
    char *taken = text_buffer_take(&text);
    ck_assert_ptr_nonnull(taken);
    return taken;
}

static char *rendered(const struct calendar_event *event) {
    return calendar_with(event, NULL);
}

static char *event_of_visit(const struct visit *visit, int64_t at_ms) {
    struct text_buffer text = {0};
    calendar_add_visit(&text, visit, "subslabd", at_ms);
    char *taken = text_buffer_take(&text);
    ck_assert_ptr_nonnull(taken);
    return taken;
}

/* Takes the folds out (RFC 5545, 3.1) and checks every line on the way. The caller frees. */
static char *unfolded(const char *text) {
    char *plain = malloc(strlen(text) + 1), *to = plain;
    ck_assert_ptr_nonnull(plain);
    size_t line = 0;
    for (const char *at = text; *at; at++) {
        if (at[0] == '\r') {
            ck_assert_int_eq(at[1], '\n');
            ck_assert_uint_le(line, 75);
            line = 0;
            bool folded = at[2] == ' ';
            if (folded) { /* the fold must not stand inside a character */
                ck_assert((((unsigned char)at[3]) & 0xC0u) != 0x80u);
                at += 2;
                line = 1;
                continue;
            }
            *to++ = '\n';
            at++;
            continue;
        }
        ck_assert_int_ne(at[0], '\n'); /* no bare line feed */
        *to++ = *at;
        line++;
    }
    *to = '\0';
    return plain;
}

static void expect_line(const struct calendar_event *event, const char *line) {
    char *text = rendered(event), *plain = unfolded(text);
    size_t size = strlen(line) + 3;
    char *wanted = malloc(size);
    ck_assert_ptr_nonnull(wanted);
    snprintf(wanted, size, "\n%s\n", line);
    ck_assert_msg(strstr(plain, wanted) != NULL, "no line %s in %s", line, plain);
    free(wanted);
    free(plain);
    free(text);
}

START_TEST(a_whole_calendar) {
    struct calendar_event event = plain_event();
    event.sequence = 3;
    event.priority = 1;
    char *text = calendar_with(&event, "Visits");
    ck_assert_str_eq(text,
                     "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//subslabd//visits//EN\r\n"
                     "CALSCALE:GREGORIAN\r\nNAME:Visits\r\nBEGIN:VEVENT\r\nUID:one@example\r\n"
                     "DTSTAMP:19970715T210000Z\r\nSEQUENCE:3\r\n"
                     "DTSTART;VALUE=DATE:20260331\r\nDTEND;VALUE=DATE:20260401\r\n"
                     "TRANSP:TRANSPARENT\r\nSUMMARY:Visit\r\nPRIORITY:1\r\nEND:VEVENT\r\n"
                     "END:VCALENDAR\r\n");
    free(text);
    text = calendar_with(NULL, NULL);
    ck_assert_ptr_nonnull(strstr(text, "END:VCALENDAR\r\n"));
    ck_assert_ptr_null(strstr(text, "VEVENT"));
    free(text);
}
END_TEST

/* RFC 5545, 3.3.11. */
START_TEST(text_is_escaped) {
    struct calendar_event event = plain_event();
    event.summary = "a, b; c\\d\ne";
    expect_line(&event, "SUMMARY:a\\, b\\; c\\\\d\\ne");
    event.summary = "a\r\nb\rc\td\x01\x7F";
    expect_line(&event, "SUMMARY:a\\nb\\nc\td");
    event.summary = "bad \xFF byte";
    expect_line(&event, "SUMMARY:bad \xEF\xBF\xBD byte");
    event.summary = "x\r\nEND:VEVENT\r\nBEGIN:VEVENT"; /* no way to smuggle lines in */
    expect_line(&event, "SUMMARY:x\\nEND:VEVENT\\nBEGIN:VEVENT");
}
END_TEST

/* RFC 5545, 3.1: `SUMMARY:` and 60 times "é", 128 octets. */
START_TEST(long_lines_are_folded_between_characters) {
    static const char *const characters[] = {"a", "\xC3\xA9", "\xE6\x97\xA5", "\xF0\x9F\x8F\xA0"};
    for (size_t kind = 0; kind < 4; kind++)
        for (int length = 1; length < 150; length++) {
            char line[700] = "SUMMARY:";
            size_t used = strlen(line);
            for (int i = 0; i < length; i++) {
                const char *character = characters[i % 7 == 3 ? 0 : kind];
                memcpy(line + used, character, strlen(character));
                used += strlen(character);
            }
            line[used] = '\0';
            struct calendar_event event = plain_event();
            event.summary = line + strlen("SUMMARY:");
            expect_line(&event, line);
        }
}
END_TEST

START_TEST(instants_are_utc) {
    struct calendar_event event = plain_event();
    event.all_day = false;
    event.start_ms = INT64_C(1772092800000); /* 2026-02-26T08:00:00Z */
    event.end_ms = event.start_ms + 5400000;
    event.created_ms = -1; /* one ms before 1970 */
    expect_line(&event, "DTSTART:20260226T080000Z");
    expect_line(&event, "DTEND:20260226T093000Z");
    expect_line(&event, "CREATED:19691231T235959Z");
}
END_TEST

START_TEST(sequence_never_falls) {
    unsigned before = 0;
    for (int64_t time_ms = INT64_C(1500000000000); time_ms < INT64_C(9000000000000);
         time_ms += INT64_C(86400000000)) {
        unsigned sequence = calendar_sequence(time_ms);
        ck_assert_uint_ge(sequence, before);
        before = sequence;
    }
    ck_assert_uint_gt(before, 0);
}
END_TEST

START_TEST(visits_become_events) {
    struct visit_alarm alarm = {
        .condition = CONDITION_FAN_STOPPED, .priority = PRIORITY_HIGH, .raised_ms = now_ms};
    struct visit_baseline baseline = {"suction", "riser gauge", 274.0, DIMENSION_PRESSURE,
                                      QUANTITY_SUCTION};
    struct visit_input input = {.system = "birch-lane-12",
                                .name = "12 Birch Lane",
                                .address = "12 Birch Lane, back door",
                                .alarms = &alarm,
                                .alarm_count = 1,
                                .baseline = &baseline,
                                .baseline_count = 1,
                                .reader = {WORDING_ENGLISH, UNIT_SYSTEM_US},
                                .counted_ms = TIMESTAMP_NONE,
                                .last_visit_ms = TIMESTAMP_NONE,
                                .changed_ms = INT64_C(1577836860000)};
    struct visit visit;
    ck_assert(visit_plan(&input, now_ms, &visit));
    char *text = event_of_visit(&visit, now_ms);
    char *plain = unfolded(text);
    ck_assert_ptr_nonnull(strstr(plain, "\nUID:birch-lane-12-first@subslabd\n"));
    ck_assert_ptr_nonnull(strstr(plain, "\nDTSTART;VALUE=DATE:19970717\n"));
    ck_assert_ptr_nonnull(strstr(plain, "\nSUMMARY:Visit 12 Birch Lane: fan stopped\n"));
    ck_assert_ptr_nonnull(strstr(plain, "\nLOCATION:12 Birch Lane\\, back door\n"));
    ck_assert_ptr_nonnull(strstr(plain, "\nSEQUENCE:1\n"));
    ck_assert_ptr_nonnull(strstr(plain, "- riser gauge: 1.1 inH2O"));
    ck_assert_ptr_nonnull(strstr(plain, "Last visit: none recorded"));
    free(plain);
    free(text);
}
END_TEST

/* 02:00 UTC is still the evening before in Denver: the day to plan for is that of the place. */
START_TEST(days_are_those_of_the_place) {
    size_t length = 0;
    char *bytes = test_read_file("/usr/share/zoneinfo/America/Denver", &length);
    struct time_zone *zone = time_zone_create("America/Denver", bytes, length);
    free(bytes);
    ck_assert_ptr_nonnull(zone);
    struct visit_date date = {CONDITION_RETEST_DUE, INT64_C(1772071200000), NULL};
    struct visit_input input = {.system = "birch-lane-12",
                                .zone = zone,
                                .dates = &date, /* 2026-02-26T02:00:00Z */
                                .date_count = 1,
                                .last_visit_ms = TIMESTAMP_NONE,
                                .changed_ms = TIMESTAMP_NONE};
    struct visit visit;
    ck_assert(visit_plan(&input, date.due_ms, &visit));
    char *text = event_of_visit(&visit, date.due_ms);
    ck_assert_ptr_nonnull(strstr(text, "DTSTART;VALUE=DATE:20260225\r\n"));
    free(text);
    time_zone_destroy(zone);
}
END_TEST

int main(void) {
    TCase *calendar = tcase_create("calendar");
    tcase_add_test(calendar, a_whole_calendar);
    tcase_add_test(calendar, text_is_escaped);
    tcase_add_test(calendar, long_lines_are_folded_between_characters);
    tcase_add_test(calendar, instants_are_utc);
    tcase_add_test(calendar, sequence_never_falls);
    tcase_add_test(calendar, visits_become_events);
    tcase_add_test(calendar, days_are_those_of_the_place);
    return run_test_case(calendar);
}
