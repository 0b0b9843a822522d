#include "measure/time_zone_rule.h"

#include "measure/timestamp.h"

#include <string.h>

#define DAY_S 86400

struct cursor {
    const char *p, *end;
};

static bool take(struct cursor *cursor, char wanted) {
    if (cursor->p == cursor->end || *cursor->p != wanted)
        return false;
    cursor->p++;
    return true;
}

static bool at_digit(const struct cursor *cursor) {
    return cursor->p < cursor->end && *cursor->p >= '0' && *cursor->p <= '9';
}

/** One to three digits within lowest..highest. */
static bool take_number(struct cursor *cursor, int lowest, int highest, int *number) {
    int value = 0, digits = 0;
    for (; digits < 3 && at_digit(cursor); digits++)
        value = value * 10 + (*cursor->p++ - '0');
    if (digits == 0 || at_digit(cursor) || value < lowest || value > highest)
        return false;
    *number = value;
    return true;
}

/** [+-]hh[:mm[:ss]] in seconds. */
static bool take_time(struct cursor *cursor, int highest_hour, int32_t *seconds) {
    bool negative = take(cursor, '-');
    if (!negative)
        take(cursor, '+');
    int hour, minute = 0, second = 0;
    if (!take_number(cursor, 0, highest_hour, &hour))
        return false;
    if (take(cursor, ':')) {
        if (!take_number(cursor, 0, 59, &minute))
            return false;
        if (take(cursor, ':') && !take_number(cursor, 0, 59, &second))
            return false;
    }
    *seconds = (negative ? -1 : 1) * (hour * 3600 + minute * 60 + second);
    return true;
}

static bool is_letter(char c) {
    return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z');
}

/** "CET", or "<+0545>" for names with digits and signs. At least three characters. */
static bool take_abbreviation(struct cursor *cursor, char name[TIME_ZONE_ABBREVIATION_SIZE]) {
    bool quoted = take(cursor, '<');
    size_t length = 0;
    for (; cursor->p < cursor->end; cursor->p++) {
        char c = *cursor->p;
        bool fits = is_letter(c) || (quoted && ((c >= '0' && c <= '9') || c == '+' || c == '-'));
        if (!fits)
            break;
        if (length + 1 == TIME_ZONE_ABBREVIATION_SIZE)
            return false;
        name[length++] = c;
    }
    name[length] = '\0';
    return length >= 3 && (!quoted || take(cursor, '>'));
}

/** ",M3.5.0/2": the day and, where it is not 02:00, the time. */
static bool take_change(struct cursor *cursor, struct time_zone_change *change) {
    bool good;
    if (!take(cursor, ','))
        return false;
    if (take(cursor, 'J')) {
        change->kind = DAY_OF_YEAR_FROM_1_NO_LEAP;
        good = take_number(cursor, 1, 365, &change->day);
    } else if (take(cursor, 'M')) {
        change->kind = DAY_OF_MONTH_WEEK;
        good = take_number(cursor, 1, 12, &change->month) && take(cursor, '.') &&
               take_number(cursor, 1, 5, &change->week) && take(cursor, '.') &&
               take_number(cursor, 0, 6, &change->day);
    } else {
        change->kind = DAY_OF_YEAR_FROM_0;
        good = take_number(cursor, 0, 365, &change->day);
    }
    change->time_s = 2 * 3600;
    return good && (!take(cursor, '/') || take_time(cursor, 167, &change->time_s));
}

bool time_zone_rule_parse(struct time_zone_rule *rule, const char *text, size_t length) {
    struct cursor cursor = {text, text + length};
    memset(rule, 0, sizeof(*rule));
    if (!take_abbreviation(&cursor, rule->standard) ||
        !take_time(&cursor, 24, &rule->standard_offset_s))
        return false;
    rule->standard_offset_s = -rule->standard_offset_s; /* POSIX counts west of Greenwich */
    if (cursor.p == cursor.end)
        return true;

    rule->has_daylight = true;
    if (!take_abbreviation(&cursor, rule->daylight))
        return false;
    rule->daylight_offset_s = rule->standard_offset_s + 3600;
    if (cursor.p < cursor.end && *cursor.p != ',') {
        if (!take_time(&cursor, 24, &rule->daylight_offset_s))
            return false;
        rule->daylight_offset_s = -rule->daylight_offset_s;
    }
    return take_change(&cursor, &rule->start) && take_change(&cursor, &rule->end) &&
           cursor.p == cursor.end;
}

static bool is_leap(int year) {
    return year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
}

/** Days since 1970 of the day that a change names in that year. */
static int64_t change_day(const struct time_zone_change *change, int year) {
    int64_t new_year = timestamp_days_from_civil(year, 1, 1);
    if (change->kind == DAY_OF_YEAR_FROM_0)
        return new_year + change->day;
    if (change->kind == DAY_OF_YEAR_FROM_1_NO_LEAP)
        return new_year + change->day - 1 + (change->day >= 60 && is_leap(year));

    int64_t first = timestamp_days_from_civil(year, change->month, 1);
    int64_t next_month = change->month == 12
                             ? timestamp_days_from_civil(year + 1, 1, 1)
                             : timestamp_days_from_civil(year, change->month + 1, 1);
    int first_weekday = (int)(((first + 4) % 7 + 7) % 7); /* 1970-01-01 was a Thursday */
    int64_t day = first + (change->day - first_weekday + 7) % 7 + 7 * (change->week - 1);
    return day < next_month ? day : day - 7;
}

static int64_t daylight_start_s(const struct time_zone_rule *rule, int year) {
    return change_day(&rule->start, year) * DAY_S + rule->start.time_s - rule->standard_offset_s;
}

static int64_t daylight_end_s(const struct time_zone_rule *rule, int year) {
    return change_day(&rule->end, year) * DAY_S + rule->end.time_s - rule->daylight_offset_s;
}

/** Takes one change into account: the latest not after the instant, and the first after it. */
static void consider(struct time_zone_period *period, bool *daylight, int64_t time_s,
                     int64_t change_s, bool to_daylight) {
    if (change_s <= time_s && change_s >= period->from_s) {
        /* Where an end and the next start fall together, the start is taken last and wins. */
        *daylight = to_daylight;
        period->from_s = change_s;
    }
    if (change_s > time_s && change_s < period->until_s)
        period->until_s = change_s;
}

struct time_zone_period time_zone_rule_period(const struct time_zone_rule *rule, int64_t time_s) {
    struct time_zone_period period = {INT64_MIN, INT64_MAX, rule->standard_offset_s,
                                      rule->standard};
    if (!rule->has_daylight)
        return period;
    int year, month, day;
    int64_t days = time_s / DAY_S - (time_s % DAY_S < 0);
    timestamp_civil_from_days(days, &year, &month, &day);
    bool daylight = false;
    for (int i = year - 1; i <= year + 1; i++) {
        consider(&period, &daylight, time_s, daylight_start_s(rule, i), true);
        consider(&period, &daylight, time_s, daylight_end_s(rule, i), false);
    }
    if (daylight) {
        period.offset_s = rule->daylight_offset_s;
        period.abbreviation = rule->daylight;
    }
    return period;
}
