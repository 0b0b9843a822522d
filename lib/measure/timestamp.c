/*
 * RFC 3339 section 5.6 read byte by byte, since every reading that has a time of its own comes
 * through here. The calendar is counted in days from 1 March of year 0, where the leap day is the
 * last day of a year and each 400 years have 146097 days.
 */
#include "measure/timestamp.h"

#include <stdio.h>

#define DAYS_PER_400_YEARS 146097
#define DAYS_TO_1970 719468 /* 0000-03-01 to 1970-01-01 */
#define DAY_MS INT64_C(86400000)

int64_t timestamp_floor(int64_t a, int64_t b) {
    return a / b - (a % b < 0);
}

int64_t timestamp_days_from_civil(int year, int month, int day) {
    int64_t from_march = (int64_t)year - (month <= 2);
    int64_t era = timestamp_floor(from_march, 400);
    int64_t year_of_era = from_march - era * 400;
    int64_t day_of_year = (153 * ((month + 9) % 12) + 2) / 5 + day - 1;
    int64_t day_of_era = year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_year;
    return era * DAYS_PER_400_YEARS + day_of_era - DAYS_TO_1970;
}

void timestamp_civil_from_days(int64_t days, int *year, int *month, int *day) {
    days += DAYS_TO_1970;
    int64_t era = timestamp_floor(days, DAYS_PER_400_YEARS);
    int64_t day_of_era = days - era * DAYS_PER_400_YEARS;
    int64_t year_of_era =
        (day_of_era - day_of_era / 1460 + day_of_era / 36524 - day_of_era / 146096) / 365;
    int64_t day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    int64_t month_from_march = (5 * day_of_year + 2) / 153;
    *day = (int)(day_of_year - (153 * month_from_march + 2) / 5 + 1);
    *month = (int)(month_from_march < 10 ? month_from_march + 3 : month_from_march - 9);
    *year = (int)(year_of_era + era * 400 + (*month <= 2));
}

/** Two digits at p, or -1. */
static int two_digits(const char *p) {
    unsigned tens = (unsigned char)p[0] - (unsigned)'0', ones = (unsigned char)p[1] - (unsigned)'0';
    return tens > 9 || ones > 9 ? -1 : (int)(tens * 10 + ones);
}

static int days_in_month(int year, int month) {
    static const int days[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    bool leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
    return days[month - 1] + (month == 2 && leap);
}

bool timestamp_parse_date(const char *text, size_t length, int *year, int *month, int *day) {
    if (length != 10 || text[4] != '-' || text[7] != '-')
        return false;
    int century = two_digits(text), rest = two_digits(text + 2);
    int month_read = two_digits(text + 5), day_read = two_digits(text + 8);
    if (century < 0 || rest < 0 || month_read < 1 || month_read > 12 || day_read < 1 ||
        day_read > days_in_month(century * 100 + rest, month_read))
        return false;
    *year = century * 100 + rest;
    *month = month_read;
    *day = day_read;
    return true;
}

/** "." and digits: milliseconds, further digits cut. Returns behind it, NULL without a digit. */
static const char *parse_fraction(const char *p, const char *end, int *ms) {
    *ms = 0;
    if (p == end || *p != '.')
        return p;
    p++;
    const char *first = p;
    int place = 100;
    for (; p < end && *p >= '0' && *p <= '9'; p++) {
        *ms += (*p - '0') * place;
        place /= 10;
    }
    return p == first ? NULL : p;
}

/** "Z" or "+hh:mm" up to the end of the text, in minutes. */
static bool parse_offset(const char *p, const char *end, int *offset_min) {
    if (end - p == 1 && (*p == 'Z' || *p == 'z')) {
        *offset_min = 0;
        return true;
    }
    if (end - p != 6 || (*p != '+' && *p != '-') || p[3] != ':')
        return false;
    int hours = two_digits(p + 1), minutes = two_digits(p + 4);
    if (hours < 0 || hours > 23 || minutes < 0 || minutes > 59)
        return false;
    *offset_min = (*p == '-' ? -1 : 1) * (hours * 60 + minutes);
    return true;
}

/** What stands before the offset. Returns behind it, NULL when it is no such time. */
static const char *parse_wall(const char *text, size_t length, int64_t *minutes, int *second,
                              int *ms) {
    int year, month, day;
    if (length < 19 || !timestamp_parse_date(text, 10, &year, &month, &day))
        return NULL;
    /* The blank is the one other separator that section 5.6 names. */
    if ((text[10] != 'T' && text[10] != 't' && text[10] != ' ') || text[13] != ':' ||
        text[16] != ':')
        return NULL;
    int hour = two_digits(text + 11), minute = two_digits(text + 14);
    *second = two_digits(text + 17);
    if (hour < 0 || hour > 23 || minute < 0 || minute > 59 || *second < 0 || *second > 60)
        return NULL;
    *minutes = timestamp_days_from_civil(year, month, day) * 1440 + hour * 60 + minute;
    return parse_fraction(text + 19, text + length, ms);
}

bool timestamp_parse(const char *text, size_t length, int64_t *time_ms) {
    int64_t minutes;
    int second, ms, offset_min;
    const char *p = parse_wall(text, length, &minutes, &second, &ms);
    if (!p || !parse_offset(p, text + length, &offset_min))
        return false;
    minutes -= offset_min;
    /* A leap second ends a day of UTC and nothing else (section 5.7). */
    if (second == 60 && minutes - timestamp_floor(minutes, 1440) * 1440 != 1439)
        return false;
    *time_ms = (minutes * 60 + second) * 1000 + ms;
    return true;
}

bool timestamp_parse_local(const char *text, size_t length, int64_t *local_ms) {
    int64_t minutes;
    int second, ms;
    const char *p = parse_wall(text, length, &minutes, &second, &ms);
    if (!p || p != text + length || second == 60)
        return false;
    *local_ms = (minutes * 60 + second) * 1000 + ms;
    return true;
}

char *timestamp_format(char *text, size_t size, int64_t time_ms) {
    int64_t days = timestamp_floor(time_ms, DAY_MS);
    int of_day = (int)(time_ms % DAY_MS + (time_ms % DAY_MS < 0 ? DAY_MS : 0));
    int year, month, day;
    timestamp_civil_from_days(days, &year, &month, &day);
    int second = of_day / 1000, ms = of_day % 1000;
    int hour = second / 3600, minute = second / 60 % 60;
    second %= 60;
    if (ms)
        snprintf(text, size, "%04d-%02d-%02dT%02d:%02d:%02d.%03dZ", year, month, day, hour, minute,
                 second, ms);
    else
        snprintf(text, size, "%04d-%02d-%02dT%02d:%02d:%02dZ", year, month, day, hour, minute,
                 second);
    return text;
}

char *timestamp_format_day(char *text, size_t size, int64_t day) {
    int year, month, of_month;
    timestamp_civil_from_days(day, &year, &month, &of_month);
    snprintf(text, size, "%04d-%02d-%02d", year, month, of_month);
    return text;
}
