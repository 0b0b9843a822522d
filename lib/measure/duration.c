#include "measure/duration.h"

#include "measure/decimal.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#define WEEK_MS (7 * DURATION_DAY_MS)
#define SPAN_MAX_MS 9.2e18 /* below INT64_MAX */

/* "m" is left out: minute, month and metre all claim it. */
static const struct {
    const char *word;
    int64_t ms;
} words[] = {
    {"ms", 1},
    {"s", DURATION_SECOND_MS},
    {"min", DURATION_MINUTE_MS},
    {"h", DURATION_HOUR_MS},
    {"d", DURATION_DAY_MS},
    {"w", WEEK_MS},
    {"y", DURATION_YEAR_MS},
    {"sec", DURATION_SECOND_MS},
    {"second", DURATION_SECOND_MS},
    {"seconds", DURATION_SECOND_MS},
    {"mins", DURATION_MINUTE_MS},
    {"minute", DURATION_MINUTE_MS},
    {"minutes", DURATION_MINUTE_MS},
    {"hour", DURATION_HOUR_MS},
    {"hours", DURATION_HOUR_MS},
    {"day", DURATION_DAY_MS},
    {"days", DURATION_DAY_MS},
    {"week", WEEK_MS},
    {"weeks", WEEK_MS},
    {"year", DURATION_YEAR_MS},
    {"years", DURATION_YEAR_MS},
};

static const char *skip_blanks(const char *text) {
    while (*text == ' ' || *text == '\t')
        text++;
    return text;
}

/** Milliseconds of the word of that length, or 0. */
static int64_t word_ms(const char *word, size_t length) {
    for (size_t i = 0; i < sizeof(words) / sizeof(words[0]); i++)
        if (strlen(words[i].word) == length && memcmp(words[i].word, word, length) == 0)
            return words[i].ms;
    return 0;
}

bool duration_parse(const char *text, int64_t *span_ms) {
    double sum_ms = 0.0;
    int64_t previous_ms = INT64_MAX;
    text = skip_blanks(text);
    do { /* "1 h 30 min": parts from the largest to the smallest */
        double number = 0.0;
        size_t used = decimal_read(text, strlen(text), &number);
        if (used == 0 || number < 0.0)
            return false;
        text = skip_blanks(text + used);
        size_t length = strspn(text, "abcdefghijklmnopqrstuvwxyz");
        int64_t part_ms = word_ms(text, length);
        if (part_ms == 0 || part_ms >= previous_ms)
            return false;
        previous_ms = part_ms;
        sum_ms += number * (double)part_ms;
        text = skip_blanks(text + length);
    } while (*text);
    if (!(sum_ms <= SPAN_MAX_MS))
        return false;
    *span_ms = llround(sum_ms);
    return true;
}

/** "1 h 30 min": count of the larger unit and the rest, rounded to the smaller one. */
static char *format_parts(char *text, size_t size, int64_t span_ms, int64_t large_ms,
                          const char *large, int64_t small_ms, const char *small) {
    int64_t parts = (span_ms + small_ms / 2) / small_ms;
    int64_t per_large = large_ms / small_ms;
    if (parts % per_large == 0)
        snprintf(text, size, "%" PRId64 " %s", parts / per_large, large);
    else
        snprintf(text, size, "%" PRId64 " %s %" PRId64 " %s", parts / per_large, large,
                 parts % per_large, small);
    return text;
}

static char *format_years(char *text, size_t size, int64_t span_ms) {
    const int64_t tenth_ms = DURATION_YEAR_MS / 10;
    int64_t tenths = span_ms / tenth_ms + (span_ms % tenth_ms >= tenth_ms / 2);
    if (tenths % 10 == 0)
        snprintf(text, size, "%" PRId64 " y", tenths / 10);
    else
        snprintf(text, size, "%" PRId64 ".%" PRId64 " y", tenths / 10, tenths % 10);
    return text;
}

/* From this span on, the row's two units are used; each begins where rounding fills its unit. */
static const struct {
    int64_t from_ms, large_ms, small_ms;
    const char *large, *small;
} steps[] = {
    {DURATION_DAY_MS - DURATION_MINUTE_MS / 2, DURATION_DAY_MS, DURATION_HOUR_MS, "d", "h"},
    {DURATION_HOUR_MS - DURATION_SECOND_MS / 2, DURATION_HOUR_MS, DURATION_MINUTE_MS, "h", "min"},
    {DURATION_MINUTE_MS, DURATION_MINUTE_MS, DURATION_SECOND_MS, "min", "s"},
    {DURATION_SECOND_MS, DURATION_SECOND_MS, 1, "s", "ms"},
};

char *duration_format(char *text, size_t size, int64_t span_ms) {
    if (size == 0)
        return text;
    if (span_ms < 0) { /* no span, but a caller's difference may be: show it with its sign */
        snprintf(text, size, "-");
        duration_format(text + 1, size - 1, span_ms == INT64_MIN ? INT64_MAX : -span_ms);
        return text;
    }
    if (span_ms >= DURATION_YEAR_MS - DURATION_DAY_MS)
        return format_years(text, size, span_ms);
    for (size_t i = 0; i < sizeof(steps) / sizeof(steps[0]); i++)
        if (span_ms >= steps[i].from_ms)
            return format_parts(text, size, span_ms, steps[i].large_ms, steps[i].large,
                                steps[i].small_ms, steps[i].small);
    snprintf(text, size, "%" PRId64 " ms", span_ms);
    return text;
}
