#include "api/radon_test_entry.h"

#include "api/answer.h"
#include "measure/duration.h"
#include "measure/quantity.h"
#include "settings/key_table.h"

#include <string.h>

/*
 * A short test takes 2 to 90 days, a long one more: US EPA 402/K-12/002, A Citizen's Guide to Radon
 * (2016), and 402-R-92-003, Protocols (1993); the 90 days from memory. Two days by the calendar may
 * have 47 hours, ninety an hour more than their number.
 */
static const int64_t least_ms = 47 * DURATION_HOUR_MS;
static const int64_t short_most_ms = 90 * DURATION_DAY_MS + DURATION_HOUR_MS;
static const int64_t longest_ms = 400 * DURATION_DAY_MS;
static const double usual_uncertainty = 0.10;

const char *const radon_test_field_names[RADON_TEST_FIELDS] = {
    [RADON_TEST_FROM] = "from",   [RADON_TEST_TO] = "to",
    [RADON_TEST_VALUE] = "value", [RADON_TEST_UNCERTAINTY] = "uncertainty",
    [RADON_TEST_PLACE] = "place", [RADON_TEST_DEVICE] = "device",
    [RADON_TEST_KIND] = "kind",   [RADON_TEST_CLOSED_HOUSE] = "closed_house",
};

/* The text of a field, or NULL. */
static const char *given(const struct radon_test_entry *entry, enum radon_test_field field) {
    const char *text = entry->fields[field];
    return text && *text ? text : NULL;
}

static enum radon_test_wrong read_value(const char *text, double *bq_m3) {
    if (unit_parse(text, DIMENSION_RADON, bq_m3) != UNIT_OK)
        return RADON_TEST_NO_VALUE;
    return quantity_plausible(QUANTITY_RADON, DIMENSION_RADON, *bq_m3) ? RADON_TEST_RIGHT
                                                                       : RADON_TEST_IMPOSSIBLE;
}

static enum radon_test_wrong read_uncertainty(const char *text, double *relative) {
    *relative = usual_uncertainty;
    return !text || (key_percent_parse(text, relative) && *relative > 0.0 && *relative <= 1.0)
               ? RADON_TEST_RIGHT
               : RADON_TEST_NO_UNCERTAINTY;
}

static void check_span(const struct record_radon_test *test, int64_t now_ms,
                       enum radon_test_wrong wrong[RADON_TEST_FIELDS]) {
    if (wrong[RADON_TEST_TO] == RADON_TEST_RIGHT && test->to_ms > now_ms)
        wrong[RADON_TEST_TO] = RADON_TEST_AHEAD;
    if (wrong[RADON_TEST_FROM] != RADON_TEST_RIGHT || wrong[RADON_TEST_TO] != RADON_TEST_RIGHT)
        return;
    if (test->from_ms >= test->to_ms)
        wrong[RADON_TEST_FROM] = RADON_TEST_TURNED;
    else if (test->to_ms - test->from_ms < least_ms)
        wrong[RADON_TEST_FROM] = RADON_TEST_BRIEF;
    else if (test->to_ms - test->from_ms > longest_ms)
        wrong[RADON_TEST_FROM] = RADON_TEST_LONG;
}

/* Its days say of which kind it is; who says another is told so. */
static enum radon_test_wrong read_kind(const char *text, bool days_known,
                                       struct record_radon_test *test) {
    test->kind = test->to_ms - test->from_ms <= short_most_ms ? "short" : "long";
    if (!text)
        return RADON_TEST_RIGHT;
    if (strcmp(text, "short") != 0 && strcmp(text, "long") != 0)
        return RADON_TEST_NO_WORD;
    return !days_known || strcmp(text, test->kind) == 0 ? RADON_TEST_RIGHT
           : *text == 's'                               ? RADON_TEST_NOT_SHORT
                                                        : RADON_TEST_NOT_LONG;
}

static enum radon_test_wrong read_closed_house(const char *text, enum record_answer *closed) {
    *closed = !text ? RECORD_UNKNOWN : strcmp(text, "yes") == 0 ? RECORD_YES : RECORD_NO;
    return !text || *closed == RECORD_YES || strcmp(text, "no") == 0 ? RADON_TEST_RIGHT
                                                                     : RADON_TEST_NO_WORD;
}

bool radon_test_entry_read(const struct radon_test_entry *entry, const struct time_zone *zone,
                           int64_t now_ms, struct record_radon_test *test,
                           enum radon_test_wrong wrong[RADON_TEST_FIELDS]) {
    static const enum radon_test_field needed[] = {RADON_TEST_FROM, RADON_TEST_TO, RADON_TEST_VALUE,
                                                   RADON_TEST_PLACE, RADON_TEST_DEVICE};
    const char *texts[RADON_TEST_FIELDS];
    bool good = true;
    for (int i = 0; i < RADON_TEST_FIELDS; i++) {
        texts[i] = given(entry, (enum radon_test_field)i);
        wrong[i] = RADON_TEST_RIGHT;
    }
    for (size_t i = 0; i < sizeof needed / sizeof needed[0]; i++)
        wrong[needed[i]] = texts[needed[i]] ? RADON_TEST_RIGHT : RADON_TEST_MISSING;
    if (texts[RADON_TEST_VALUE])
        wrong[RADON_TEST_VALUE] = read_value(texts[RADON_TEST_VALUE], &test->value_bq_m3);
    wrong[RADON_TEST_UNCERTAINTY] =
        read_uncertainty(texts[RADON_TEST_UNCERTAINTY], &test->uncertainty_relative);
    if (texts[RADON_TEST_FROM] && !api_time_read(texts[RADON_TEST_FROM], zone, &test->from_ms))
        wrong[RADON_TEST_FROM] = RADON_TEST_NO_TIME;
    if (texts[RADON_TEST_TO] && !api_time_read(texts[RADON_TEST_TO], zone, &test->to_ms))
        wrong[RADON_TEST_TO] = RADON_TEST_NO_TIME;
    check_span(test, now_ms, wrong);
    wrong[RADON_TEST_KIND] = read_kind(texts[RADON_TEST_KIND],
                                       wrong[RADON_TEST_FROM] == RADON_TEST_RIGHT &&
                                           wrong[RADON_TEST_TO] == RADON_TEST_RIGHT,
                                       test);
    wrong[RADON_TEST_CLOSED_HOUSE] =
        read_closed_house(texts[RADON_TEST_CLOSED_HOUSE], &test->closed_house);
    test->place = texts[RADON_TEST_PLACE];
    test->device = texts[RADON_TEST_DEVICE];
    for (int i = 0; i < RADON_TEST_FIELDS; i++)
        good &= wrong[i] == RADON_TEST_RIGHT;
    return good;
}
