/*
 * The page is written top down as a technician reads it: how it stands, what is wrong and what to
 * do, when somebody goes there, then the numbers: what each point says, what fan and ground say.
 * What can't be computed says why.
 */
#include "tool/show.h"

#include "measure/duration.h"
#include "tool/show_margin.h"
#include "tool/text.h"
#include "tool/values.h"
#include "words/text_buffer.h"

#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* A paragraph on standard output. */
#define say(...) show_say(stdout, __VA_ARGS__, NULL)
/* Without a label of its own. */
#define NO_LABEL PAGE_TEXT_COUNT

static const char *why_of(const struct ctl *ctl, const json_t *object) {
    const char *why = ctl_text_of(object, "why");
    return *why ? ctl_words_of(ctl, why) : ctl_words(ctl, PAGE_SHOW_KNOWN_LATER);
}

static bool is_radon(const json_t *point) {
    return strcmp(ctl_text_of(point, "quantity"), "radon") == 0;
}

/* ---- one point ---- */

static void show_last(const struct ctl *ctl, const json_t *point, const char *unit) {
    char value[CTL_VALUE_SIZE], time[CTL_VALUE_SIZE], then[CTL_VALUE_SIZE], from[CTL_VALUE_SIZE];
    char share[CTL_VALUE_SIZE];
    const json_t *last = json_object_get(point, "last");
    const json_t *baseline = json_object_get(point, "baseline");
    double now = ctl_number_of(last, "value"), before = ctl_number_of(baseline, "value");
    if (isnan(now))
        say(ctl, PAGE_SHOW_NOW, PAGE_SHOW_NO_READING, why_of(ctl, last ? last : point));
    else
        say(ctl, PAGE_SHOW_NOW, PAGE_SHOW_VALUE_AT, ctl_value_of(value, ctl, now, unit),
            ctl_time(time, ctl, json_object_get(last, "time")));
    if (isnan(before)) {
        say(ctl, PAGE_SHOW_THEN, PAGE_SHOW_NO_BASELINE, why_of(ctl, baseline));
        return;
    }
    ctl_percent(share, before != 0.0 ? now / before : NAN);
    bool shares = !isnan(now) && !is_radon(point);
    say(ctl, PAGE_SHOW_THEN, shares ? PAGE_SHOW_BASELINE_SHARE : PAGE_SHOW_BASELINE,
        ctl_value_of(then, ctl, before, unit),
        ctl_date(from, ctl, json_object_get(baseline, "from")), ctl_text_of(baseline, "by"), share);
}

static void show_by_hand(const struct ctl *ctl, const json_t *point, const char *unit) {
    char value[CTL_VALUE_SIZE], time[CTL_VALUE_SIZE];
    const json_t *due = json_object_get(point, "due");
    if (due)
        say(ctl, PAGE_SHOW_READING,
            json_is_string(due) ? PAGE_SHOW_PERSON_DUE : PAGE_SHOW_PERSON_NONE,
            json_is_string(due) ? ctl_date(time, ctl, due) : "");
    const json_t *list = json_object_get(point, "by_hand"), *item;
    size_t i;
    json_array_foreach(list, i, item)
        say(ctl, i == 0 ? PAGE_SHOW_BY_HAND : NO_LABEL, PAGE_SHOW_READ_BY,
            ctl_value(value, ctl, json_object_get(item, "value"), unit),
            ctl_time(time, ctl, json_object_get(item, "time")), ctl_text_of(item, "by"));
}

static enum page_text sureness(double p_value) {
    if (isnan(p_value))
        return PAGE_SHOW_UNCERTAIN;
    if (p_value < 0.01)
        return PAGE_SHOW_CLEAR;
    return p_value < 0.05 ? PAGE_SHOW_LIKELY : PAGE_SHOW_MAY_BE_CHANCE;
}

/* "p = 0.034", "p < 0.001", or that nothing is known of it. */
static const char *chance_text(const struct ctl *ctl, char text[16], double p_value) {
    if (isnan(p_value))
        return ctl_words(ctl, PAGE_SHOW_P_UNKNOWN);
    if (p_value < 0.001)
        return "p < 0.001";
    snprintf(text, 16, "p = %.2g", p_value);
    return text;
}

static void show_crossing(const struct ctl *ctl, const json_t *crosses, const char *unit) {
    char limit[CTL_VALUE_SIZE], date[CTL_VALUE_SIZE], earliest[CTL_VALUE_SIZE];
    char latest[CTL_VALUE_SIZE];
    const json_t *when = json_object_get(crosses, "date");
    if (!json_is_number(json_object_get(crosses, "limit")))
        return;
    if (!json_is_string(when)) {
        say(ctl, NO_LABEL, PAGE_SHOW_LIMIT_WHY,
            ctl_value(limit, ctl, json_object_get(crosses, "limit"), unit), why_of(ctl, crosses));
        return;
    }
    const json_t *late = json_object_get(crosses, "latest");
    say(ctl, NO_LABEL, PAGE_SHOW_GOES_ON,
        ctl_value(limit, ctl, json_object_get(crosses, "limit"), unit), ctl_date(date, ctl, when),
        ctl_date(earliest, ctl, json_object_get(crosses, "earliest")),
        json_is_string(late) ? ctl_date(latest, ctl, late)
                             : ctl_words(ctl, PAGE_SHOW_PERHAPS_NEVER));
}

static void show_trend(const struct ctl *ctl, const json_t *point, const char *key,
                       enum page_text title, const char *unit) {
    char slope[CTL_VALUE_SIZE], lower[CTL_VALUE_SIZE], upper[CTL_VALUE_SIZE];
    const json_t *trend = json_object_get(point, key);
    double per_year = ctl_number_of(trend, "per_year");
    if (!trend)
        return;
    if (isnan(per_year)) {
        say(ctl, title, PAGE_SHOW_NOT_COMPUTED, why_of(ctl, json_is_object(trend) ? trend : point));
        return;
    }
    double p_value = ctl_number_of(trend, "p_value");
    char chance[16];
    say(ctl, title,
        per_year < 0.0   ? PAGE_SHOW_FALLING
        : per_year > 0.0 ? PAGE_SHOW_RISING
                         : PAGE_SHOW_STEADY,
        ctl_difference_of(slope, ctl, fabs(per_year), unit),
        ctl_difference_of(lower, ctl, ctl_number_of(trend, "lower"), unit),
        ctl_difference_of(upper, ctl, ctl_number_of(trend, "upper"), unit),
        ctl_words(ctl, sureness(p_value)), chance_text(ctl, chance, p_value));
    show_crossing(ctl, json_object_get(trend, "crosses"), unit);
}

/* The words of IPCC guidance for probabilities (Mastrandrea et al. 2010, table 1). */
static enum page_text likelihood(double probability) {
    static const struct {
        double from;
        enum page_text words;
    } scale[] = {{0.99, PAGE_SHOW_VIRTUALLY_CERTAIN},
                 {0.90, PAGE_SHOW_VERY_LIKELY},
                 {0.66, PAGE_SHOW_LIKELY},
                 {0.33, PAGE_SHOW_AS_LIKELY},
                 {0.10, PAGE_SHOW_UNLIKELY},
                 {0.01, PAGE_SHOW_VERY_UNLIKELY}};
    for (size_t i = 0; i < sizeof scale / sizeof scale[0]; i++) {
        if (probability >= scale[i].from)
            return scale[i].words;
    }
    return PAGE_SHOW_EXCEPTIONAL;
}

static void show_average(const struct ctl *ctl, const json_t *average, const char *unit,
                         bool radon) {
    char mean[CTL_VALUE_SIZE], error[CTL_VALUE_SIZE], coverage[CTL_VALUE_SIZE];
    char first[CTL_VALUE_SIZE + 40];
    double value = ctl_number_of(average, "mean"), share = ctl_number_of(average, "coverage");
    double probability = ctl_number_of(average, "probability_above_action");
    double deviation = ctl_number_of(average, "standard_uncertainty");
    /* "since commissioning" is wider than its column. */
    const char *window = ctl_words_of(ctl, ctl_text_of(average, "window"));
    const char *blank = strchr(window, ' ');
    bool wide = blank && ctl_text_width(window) > 8;
    snprintf(first, sizeof first, "  %-8.*s ", wide ? (int)(blank - window) : 32, window);
    /* Only radon has an action level, so its lack needs no reason elsewhere. */
    const char *why = radon || isnan(deviation) ? ctl_text_of(average, "why") : "";
    char *odds = radon && !isnan(probability)
                     ? ctl_filled(ctl, PAGE_SHOW_ODDS, ctl_words(ctl, likelihood(probability)),
                                  ctl_words_of(ctl, ctl_chance(error, probability)), NULL)
                     : NULL;
    char plus_minus[2 * CTL_VALUE_SIZE + 8];
    ctl_value_of(mean, ctl, value, unit);
    snprintf(plus_minus, sizeof plus_minus, "%s%s%s", mean, isnan(deviation) ? "" : " ± ",
             isnan(deviation) ? "" : ctl_difference_of(error, ctl, deviation, unit));
    char *text = ctl_filled(ctl, PAGE_SHOW_MEAN, plus_minus, ctl_percent(coverage, share), NULL);
    ctl_text_say(stdout, first, SHOW_INDENT, "%s%s%s%s%s%s", wide ? blank + 1 : "",
                 wide ? ": " : "", text ? text : "", odds ? odds : "", *why ? "; " : "",
                 ctl_words_of(ctl, why));
    free(odds);
    free(text);
}

static bool has_mean(const json_t *average) {
    return !isnan(ctl_number_of(average, "mean"));
}

/* Windows without a mean for the same reason share a line; returns how many did. */
static size_t show_missing(const struct ctl *ctl, const json_t *averages, size_t at) {
    char windows[160] = "";
    const char *why = why_of(ctl, json_array_get(averages, at));
    size_t count = 0, used = 0;
    for (; at + count < json_array_size(averages); count++) {
        const json_t *average = json_array_get(averages, at + count);
        if (has_mean(average) || strcmp(why_of(ctl, average), why) != 0 || used > 100)
            break;
        int length = snprintf(windows + used, sizeof windows - used, "%s%.40s", used ? ", " : "",
                              ctl_words_of(ctl, ctl_text_of(average, "window")));
        used += length > 0 ? (size_t)length : 0;
    }
    say(ctl, PAGE_SHOW_MEANS, PAGE_SHOW_NO_MEANS, windows, why);
    return count;
}

static void show_averages(const struct ctl *ctl, const json_t *point, const char *unit) {
    const json_t *averages = json_object_get(point, "averages");
    for (size_t i = 0; i < json_array_size(averages);) {
        const json_t *average = json_array_get(averages, i);
        if (!has_mean(average)) {
            i += show_missing(ctl, averages, i);
            continue;
        }
        show_average(ctl, average, unit, is_radon(point));
        i++;
    }
}

/* What the readings say of a whole year. */
void ctl_show_year(FILE *to, const struct ctl *ctl, const json_t *point) {
    const char *unit = ctl_text_of(point, "unit");
    const json_t *year = json_object_get(point, "year");
    char mean[CTL_VALUE_SIZE], lower[CTL_VALUE_SIZE], upper[CTL_VALUE_SIZE], chance[CTL_VALUE_SIZE];
    if (!year)
        return;
    if (!has_mean(year)) {
        show_say(to, ctl, PAGE_SHOW_YEAR, PAGE_SHOW_YEAR_UNKNOWN, why_of(ctl, year), NULL);
        return;
    }
    show_say(to, ctl, PAGE_SHOW_YEAR, PAGE_SHOW_YEAR_IS,
             ctl_value(mean, ctl, json_object_get(year, "mean"), unit),
             ctl_value(lower, ctl, json_object_get(year, "lower"), unit),
             ctl_value(upper, ctl, json_object_get(year, "upper"), unit),
             ctl_words_of(ctl, ctl_chance(chance, ctl_number_of(year, "probability_above_action"))),
             CTL_COUNT(ctl_whole_of(year, "days")), ctl_words_of(ctl, ctl_text_of(year, "basis")),
             CTL_COUNT(ctl_whole_of(year, "quarters_covered")), NULL);
    if (*ctl_text_of(year, "caution"))
        ctl_text_say(to, SHOW_INDENT, SHOW_INDENT, "%s",
                     ctl_words_of(ctl, ctl_text_of(year, "caution")));
}

/* ---- ratios to commissioning ---- */

static void show_ratio_crossing(const struct ctl *ctl, const json_t *crosses) {
    char date[CTL_VALUE_SIZE], earliest[CTL_VALUE_SIZE], latest[CTL_VALUE_SIZE];
    const json_t *when = json_object_get(crosses, "date");
    const json_t *late = json_object_get(crosses, "latest");
    char limit[24];
    snprintf(limit, sizeof limit, "%.2f", ctl_number_of(crosses, "limit"));
    if (json_is_string(when))
        say(ctl, NO_LABEL, PAGE_SHOW_RATIO_GOES_ON, limit, ctl_date(date, ctl, when),
            ctl_date(earliest, ctl, json_object_get(crosses, "earliest")),
            json_is_string(late) ? ctl_date(latest, ctl, late)
                                 : ctl_words(ctl, PAGE_SHOW_PERHAPS_NEVER));
}

/* Since commissioning, or lately: falling, rising, steady. */
static const enum page_text ratio_trends[2][3] = {
    {PAGE_SHOW_FALLING, PAGE_SHOW_RISING, PAGE_SHOW_STEADY},
    {PAGE_SHOW_LATELY_FALLING, PAGE_SHOW_LATELY_RISING, PAGE_SHOW_LATELY_STEADY}};

static void show_ratio_trend(const struct ctl *ctl, const json_t *ratio, bool lately) {
    const char *key = lately ? "trend_recent" : "trend";
    const json_t *trend = json_object_get(ratio, key);
    double per_year = ctl_number_of(trend, "per_year");
    double p_value = ctl_number_of(trend, "p_value_cautious");
    char chance[16], rate[24], lower[24], upper[24];
    if (isnan(per_year))
        return;
    snprintf(rate, sizeof rate, "%.3f", fabs(per_year));
    snprintf(lower, sizeof lower, "%.3f", ctl_number_of(trend, "lower"));
    snprintf(upper, sizeof upper, "%.3f", ctl_number_of(trend, "upper"));
    say(ctl, NO_LABEL,
        ratio_trends[lately][per_year < 0.0   ? 0
                             : per_year > 0.0 ? 1
                                              : 2],
        rate, lower, upper, ctl_words(ctl, sureness(p_value)), chance_text(ctl, chance, p_value));
    if (per_year < 0.0)
        show_ratio_crossing(ctl, json_object_get(trend, "crosses"));
}

void ctl_show_ratio(FILE *to, const struct ctl *ctl, const json_t *object, const char *key,
                    enum page_text title, enum page_text meaning) {
    char text[24], low[24], high[24];
    double ratio = ctl_number_of(object, key);
    double lower = ctl_number_of(object, "lower"), upper = ctl_number_of(object, "upper");
    bool sure = !isnan(lower) && !isnan(upper);
    snprintf(text, sizeof text, "%.2f", ratio);
    snprintf(low, sizeof low, "%.2f", lower);
    snprintf(high, sizeof high, "%.2f", upper);
    if (isnan(ratio))
        show_say(to, ctl, title, PAGE_SHOW_NOT_COMPUTED, why_of(ctl, object), NULL);
    else
        show_say(to, ctl, title, sure ? PAGE_SHOW_RATIO : PAGE_SHOW_RATIO_ALONE,
                 ctl_words(ctl, meaning), text, low, high, NULL);
}

static void show_ratio(const struct ctl *ctl, const json_t *object, const char *key,
                       enum page_text title, enum page_text meaning) {
    ctl_show_ratio(stdout, ctl, object, key, title, meaning);
    show_ratio_trend(ctl, object, false);
    show_ratio_trend(ctl, object, true);
}

/* A point that sends too often. */
void ctl_show_busy(FILE *to, const struct ctl *ctl, const json_t *point, const char *indent) {
    const json_t *busy = json_object_get(point, "sends_too_often");
    char readings[24], expected[24], every[40];
    if (!*ctl_text_of(busy, "text"))
        return;
    snprintf(readings, sizeof readings, "%.0f", ctl_number_of(busy, "readings"));
    snprintf(expected, sizeof expected, "%.3g", ctl_number_of(busy, "expected"));
    duration_format(every, sizeof every,
                    (int64_t)round((double)DURATION_HOUR_MS / ctl_number_of(busy, "expected")));
    char *text =
        ctl_filled(ctl, PAGE_BUSY_POINT, ctl_text_of(point, "id"), readings, expected, every, NULL);
    ctl_text_say(to, indent, *indent ? indent : "  ", "%s", text ? text : "");
    free(text);
}

static void show_point(const struct ctl *asked, const json_t *point) {
    const char *unit = ctl_text_of(point, "unit"), *name = ctl_text_of(point, "name");
    const char *id = ctl_text_of(point, "id");
    const struct ctl of_point = ctl_for_quantity(asked, point), *ctl = &of_point;
    printf("\n");
    ctl_text_say(stdout, "", "  ", "%s (%s)%s%s", id,
                 ctl_quantity(ctl, ctl_text_of(point, "quantity")),
                 *name && strcmp(name, id) != 0 ? ": " : "", strcmp(name, id) != 0 ? name : "");
    show_last(ctl, point, unit);
    ctl_show_busy(stdout, ctl, point, SHOW_INDENT);
    show_by_hand(ctl, point, unit);
    show_trend(ctl, point, "trend", PAGE_SHOW_TREND, unit);
    show_trend(ctl, point, "trend_recent", PAGE_SHOW_LATELY, unit);
    if (json_object_get(point, "coupling"))
        show_ratio(ctl, json_object_get(point, "coupling"), "ratio", PAGE_SHOW_REACH,
                   PAGE_SHOW_SHARE_OF_RISER);
    show_averages(ctl, point, unit);
    ctl_show_year(stdout, ctl, point);
}

/* ---- the system ---- */

void ctl_show_head(FILE *to, const struct ctl *ctl, const json_t *system) {
    char time[CTL_VALUE_SIZE], until[CTL_VALUE_SIZE], label[SHOW_LABEL_SIZE];
    bool silent = strcmp(ctl_text_of(system, "status"), "silent") == 0;
    const json_t *since = json_object_get(system, silent ? "last_reading" : "since");
    const json_t *service = json_object_get(system, "out_of_service");
    const char *address = ctl_text_of(system, "address");
    const char *foundation = ctl_text_of(system, "foundation");
    ctl_text_say(to, "", "  ", "%s: %s", ctl_text_of(system, "id"), ctl_text_of(system, "name"));
    if (*address || *foundation)
        ctl_text_say(to, "", "  ", "%s%s%s", address, *address && *foundation ? "; " : "",
                     foundation);
    const char *status = ctl_words_of(ctl, ctl_text_of(system, "status"));
    char *since_text = json_is_string(since)
                           ? ctl_filled(ctl, silent ? PAGE_SHOW_SILENT_SINCE : PAGE_SHOW_SINCE,
                                        status, ctl_time(time, ctl, since), NULL)
                           : NULL;
    ctl_text_say(to, show_edge(label, ctl, PAGE_SHOW_STATUS), SHOW_INDENT, "%s",
                 since_text ? since_text : status);
    free(since_text);
    if (json_is_object(service))
        show_say(to, ctl, NO_LABEL, PAGE_SHOW_SERVICE,
                 ctl_time(until, ctl, json_object_get(service, "until")),
                 ctl_text_of(service, "by"), ctl_text_of(service, "why"), NULL);
}

static void show_list(FILE *to, const struct ctl *ctl, enum page_text title, const json_t *list) {
    char label[SHOW_LABEL_SIZE];
    const json_t *item;
    size_t i;
    json_array_foreach(list, i, item) {
        if (json_is_string(item))
            ctl_text_say(to, show_label(label, ctl, i == 0 ? title : NO_LABEL), SHOW_INDENT, "%s",
                         json_string_value(item));
    }
}

void ctl_show_visit(FILE *to, const struct ctl *ctl, const json_t *visit, bool lists) {
    char due[CTL_VALUE_SIZE], earliest[CTL_VALUE_SIZE], latest[CTL_VALUE_SIZE];
    char label[SHOW_LABEL_SIZE];
    const json_t *reasons = json_object_get(visit, "reasons"), *reason;
    const char *address = ctl_text_of(visit, "address");
    size_t i;
    ctl_text_say(to, "", "  ", "%s  %s%s%s", ctl_text_of(visit, "system"),
                 ctl_text_of(visit, "name"), *address ? ", " : "", address);
    show_say(to, ctl, PAGE_SHOW_DUE, PAGE_SHOW_VISIT_DUE,
             ctl_date(due, ctl, json_object_get(visit, "due")),
             ctl_date(earliest, ctl, json_object_get(visit, "earliest")),
             ctl_date(latest, ctl, json_object_get(visit, "latest")),
             ctl_words_of(ctl, ctl_text_of(visit, "priority")), NULL);
    json_array_foreach(reasons, i, reason)
        ctl_text_say(to, show_label(label, ctl, i == 0 ? PAGE_SHOW_WHY : NO_LABEL), SHOW_INDENT,
                     "%s", ctl_text_of(reason, "text"));
    if (!lists)
        return;
    show_list(to, ctl, PAGE_SHOW_CHECK, json_object_get(visit, "check"));
    show_list(to, ctl, PAGE_SHOW_BRING, json_object_get(visit, "bring"));
}

void ctl_add_part(const struct ctl *ctl, struct text_buffer *line, enum page_text text,
                  const char *value) {
    char *part = *value ? ctl_filled(ctl, text, value, NULL) : NULL;
    text_buffer_add(line, part ? part : "");
    free(part);
}

/* The fan that stands there now: the last of the list. */
static void show_equipment(const struct ctl *ctl, const json_t *list) {
    static const enum page_text parts[] = {PAGE_SERIAL, PAGE_INSTALLED, PAGE_WARRANTY};
    const json_t *fan = json_array_get(list, json_array_size(list) - 1);
    const char *model = ctl_text_of(fan, "model"), *serial = ctl_text_of(fan, "serial");
    const char *installed = ctl_text_of(fan, "installed");
    const char *warranty = ctl_text_of(fan, "warranty_until");
    const char *const values[] = {serial, installed, warranty};
    struct text_buffer line = {0};
    if (!*model && !*serial && !*installed)
        return;
    text_buffer_add(&line, *model ? model : ctl_words(ctl, PAGE_SHOW_MODEL_UNKNOWN));
    for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++)
        ctl_add_part(ctl, &line, parts[i], values[i]);
    char *text = text_buffer_take(&line);
    ctl_text_say(stdout, SHOW_INDENT, SHOW_INDENT, "%s", text ? text : "");
    free(text);
}

static void show_branch(const struct ctl *ctl, const json_t *branch, bool named) {
    if (named)
        ctl_text_say(stdout, "", "  ", "%s", ctl_text_of(branch, "id"));
    show_ratio(ctl, json_object_get(branch, "fan"), "speed_ratio", PAGE_SHOW_FAN, PAGE_SHOW_SPEED);
    show_equipment(ctl, json_object_get(branch, "equipment"));
    show_ratio(ctl, json_object_get(branch, "ground"), "resistance_ratio", PAGE_SHOW_GROUND,
               PAGE_SHOW_RESISTANCE);
}

void ctl_show_full(const struct ctl *ctl, const json_t *system) {
    json_t *points = json_object_get(system, "points"), *visits = json_object_get(system, "visits");
    json_t *branches = json_object_get(system, "branches"), *item;
    size_t i;
    ctl_show_head(stdout, ctl, system);
    ctl_show_wrong(stdout, ctl, system, SIZE_MAX);
    printf("\n%s\n",
           ctl_words(ctl, json_array_size(visits) ? PAGE_SHOW_VISITS : PAGE_SHOW_NO_VISIT));
    json_array_foreach(visits, i, item) ctl_show_visit(stdout, ctl, item, true);
    ctl_show_past(stdout, ctl, system);
    ctl_show_history(ctl, system);
    json_array_foreach(points, i, item) show_point(ctl, item);
    printf("\n%s\n", ctl_words(ctl, PAGE_SHOW_FAN_AND_GROUND));
    json_array_foreach(branches, i, item) show_branch(ctl, item, json_array_size(branches) > 1);
    if (json_array_size(branches) == 0) /* those of the first branch stand in the system as well */
        show_branch(ctl, system, false);
}
