/*
 * What is wrong with one system. Alarms of one likely cause stand together, for one visit mends
 * them all: its evidence and lists are said once. Alarms that another one explains are named there.
 */
#include "alarm/condition.h"
#include "measure/duration.h"
#include "tool/show.h"
#include "tool/show_margin.h"
#include "tool/text.h"
#include "tool/values.h"
#include "words/evidence.h"
#include "words/wording.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { ALARMS_MOST = 64, TEXTS_MOST = 64 };

struct wrong {
    FILE *to;
    const struct ctl *ctl;
    const json_t *system;
    size_t most; /* of each list */
    const json_t
        *alarms[ALARMS_MOST]; /* by priority, then the oldest first; suppressed ones last */
    size_t count;
};

static bool is_over(const json_t *alarm) {
    return json_is_string(json_object_get(alarm, "returned"));
}

static bool is_suppressed(const json_t *alarm) {
    return strcmp(ctl_text_of(alarm, "state"), "suppressed by design") == 0;
}

static const char *cause_of(const json_t *alarm) {
    const char *cause = ctl_text_of(json_object_get(alarm, "diagnosis"), "cause");
    return strcmp(cause, "none") == 0 ? "" : cause;
}

/* ---- order ---- */

static int urgency(const json_t *alarm) {
    enum priority priority = PRIORITY_LOW;
    if (is_suppressed(alarm))
        return -1;
    priority_find(ctl_text_of(alarm, "priority"), &priority);
    return (int)priority;
}

static bool is_before(const json_t *one, const json_t *other) {
    if (urgency(one) != urgency(other))
        return urgency(one) > urgency(other);
    return strcmp(ctl_text_of(one, "raised"), ctl_text_of(other, "raised")) < 0;
}

static void order(struct wrong *wrong) {
    const json_t *list = json_object_get(wrong->system, "alarms"), *alarm;
    size_t i;
    json_array_foreach(list, i, alarm) {
        if (wrong->count == ALARMS_MOST)
            break;
        size_t at = wrong->count++;
        for (; at > 0 && is_before(alarm, wrong->alarms[at - 1]); at--)
            wrong->alarms[at] = wrong->alarms[at - 1];
        wrong->alarms[at] = alarm;
    }
}

/* ---- one alarm ---- */

/* The tool with the units of what the alarm's point measures. */
static struct ctl units_of(const struct wrong *wrong, const json_t *alarm) {
    const json_t *points = json_object_get(wrong->system, "points"), *point;
    size_t i;
    json_array_foreach(points, i, point) {
        if (strcmp(ctl_text_of(point, "id"), ctl_text_of(alarm, "point")) == 0)
            return ctl_for_quantity(wrong->ctl, point);
    }
    return *wrong->ctl;
}

static char *chance_text(char *text, const struct ctl *ctl, double probability) {
    char english[CTL_VALUE_SIZE];
    snprintf(text, CTL_VALUE_SIZE, "%s", ctl_words_of(ctl, ctl_chance(english, probability)));
    return text;
}

static char *value_text(char *text, const struct ctl *ctl, const json_t *alarm, const char *key) {
    const char *unit = ctl_text_of(alarm, "unit"), *condition = ctl_text_of(alarm, "condition");
    double value = ctl_number_of(alarm, key);
    if (strcmp(unit, "ms") == 0)
        return duration_format(text, CTL_VALUE_SIZE, (int64_t)value);
    if (strcmp(condition, "radon-above-action") == 0)
        return chance_text(text, ctl, value);
    if (*unit)
        return ctl_value_of(text, ctl, value, unit);
    snprintf(text, CTL_VALUE_SIZE, "%.2f", value);
    return text;
}

static void show_numbers(const struct wrong *wrong, const json_t *alarm) {
    char value[CTL_VALUE_SIZE], limit[CTL_VALUE_SIZE];
    const struct ctl shown = units_of(wrong, alarm);
    const char *condition = ctl_text_of(alarm, "condition");
    if (isnan(ctl_number_of(alarm, "value")))
        return;
    value_text(value, &shown, alarm, "value");
    if (isnan(ctl_number_of(alarm, "setpoint")))
        ctl_text_say(wrong->to, SHOW_INDENT, SHOW_INDENT, "%s", value);
    else
        show_say(wrong->to, wrong->ctl, PAGE_TEXT_COUNT,
                 strcmp(condition, "sensor-implausible") == 0 /* its setpoint is the one before */
                     ? PAGE_SHOW_BEFORE
                     : strcmp(condition, "radon-above-action") == 0 ? PAGE_SHOW_LIMIT_YEAR
                                                                    : PAGE_SHOW_LIMIT,
                 value, value_text(limit, &shown, alarm, "setpoint"), NULL);
}

/* "suction-low at riser"; the caller frees. */
static char *name_of(const struct ctl *ctl, const json_t *alarm) {
    const char *condition = ctl_condition(ctl, ctl_text_of(alarm, "condition"));
    const char *point = ctl_text_of(alarm, "point");
    return *point ? ctl_filled(ctl, PAGE_SHOW_AT_POINT, condition, point, NULL) : strdup(condition);
}

static void show_alarm(const struct wrong *wrong, const json_t *alarm) {
    char since[CTL_VALUE_SIZE], raised[CTL_VALUE_SIZE], first[32];
    const json_t *began = json_object_get(alarm, "since");
    const json_t *told = json_object_get(alarm, "raised");
    snprintf(first, sizeof first, "  %-8lld ", ctl_whole_of(alarm, "id"));
    bool later = json_is_string(began) && !json_equal(began, told);
    char *name = name_of(wrong->ctl, alarm);
    char *text =
        ctl_filled(wrong->ctl, later ? PAGE_SHOW_ALARM_RAISED : PAGE_SHOW_ALARM, name ? name : "",
                   ctl_words_of(wrong->ctl, ctl_text_of(alarm, "priority")),
                   ctl_words_of(wrong->ctl, ctl_text_of(alarm, "state")),
                   ctl_time(since, wrong->ctl, json_is_string(began) ? began : told),
                   later ? ctl_time(raised, wrong->ctl, told) : "", NULL);
    ctl_text_say(wrong->to, first, SHOW_INDENT, "%s", text ? text : "");
    free(text);
    free(name);
    show_numbers(wrong, alarm);
}

/* ---- what belongs to a cause ---- */

/* The same cause, told of both; an alarm without a cause stands alone. */
static bool belongs(const struct wrong *wrong, size_t first, size_t i) {
    const json_t *alarm = wrong->alarms[i];
    return i == first || (!is_suppressed(alarm) && *cause_of(alarm) &&
                          strcmp(cause_of(alarm), cause_of(wrong->alarms[first])) == 0);
}

static bool is_among(const char *const *texts, size_t count, const char *text) {
    for (size_t i = 0; i < count; i++) {
        if (strcmp(texts[i], text) == 0)
            return true;
    }
    return false;
}

/* Of a list of texts; those behind the first `most` are counted. */
static void show_texts(const struct wrong *wrong, enum page_text title, const char *const *texts,
                       size_t count) {
    char label[SHOW_LABEL_SIZE];
    for (size_t i = 0; i < count && i < wrong->most; i++)
        ctl_text_say(wrong->to, show_label(label, wrong->ctl, i == 0 ? title : PAGE_TEXT_COUNT),
                     SHOW_INDENT, "%s", texts[i]);
    if (count > wrong->most)
        show_say(wrong->to, wrong->ctl, PAGE_TEXT_COUNT, PAGE_SHOW_MORE,
                 CTL_COUNT(count - wrong->most), NULL);
}

static size_t add_texts(const json_t *list, const char **texts, size_t count) {
    const json_t *item;
    size_t n;
    json_array_foreach(list, n, item) {
        const char *text = json_string_value(item);
        if (text && count < TEXTS_MOST && !is_among(texts, count, text))
            texts[count++] = text;
    }
    return count;
}

/* A list of all alarms of a cause, each text once. */
static void show_list(const struct wrong *wrong, size_t first, enum page_text title,
                      const char *key) {
    const char *texts[TEXTS_MOST];
    size_t count = 0;
    for (size_t i = first; i < wrong->count; i++) {
        if (belongs(wrong, first, i) && !is_over(wrong->alarms[i]))
            count = add_texts(json_object_get(wrong->alarms[i], key), texts, count);
    }
    show_texts(wrong, title, texts, count);
}

/* Of the first that stands: what is over asks for nothing more than it does alone. */
static void show_do(const struct wrong *wrong, size_t first) {
    char label[SHOW_LABEL_SIZE];
    size_t at = first;
    for (size_t i = wrong->count; i-- > first;)
        if (belongs(wrong, first, i) && !is_over(wrong->alarms[i]))
            at = i;
    const json_t *alarm = wrong->alarms[at];
    struct explanation explained = explanation_none();
    enum condition condition;
    if (!condition_find(ctl_text_of(alarm, "condition"), &condition))
        return;
    explained.cause = cause_of(alarm);
    ctl_text_say(wrong->to, show_label(label, wrong->ctl, PAGE_SHOW_DO), SHOW_INDENT, "%s",
                 wording_do(wrong->ctl->language, condition, &explained, is_over(alarm)));
}

/* Of the most urgent alarm alone: the others say the same of other days. */
static void show_evidence(const struct wrong *wrong, size_t first) {
    const char *texts[TEXTS_MOST];
    const json_t *diagnosis = json_object_get(wrong->alarms[first], "diagnosis");
    show_texts(wrong, PAGE_SHOW_BECAUSE, texts,
               add_texts(json_object_get(diagnosis, "evidence"), texts, 0));
}

/* Does an alarm of this cause explain that suppressed one? Without a word of it, the first does. */
static bool explains(const struct wrong *wrong, size_t first, const json_t *suppressed) {
    const json_t *by = json_object_get(suppressed, "explained_by");
    if (!json_is_integer(by))
        return first == 0;
    for (size_t i = first; i < wrong->count; i++) {
        if (belongs(wrong, first, i) &&
            json_integer_value(by) == ctl_whole_of(wrong->alarms[i], "id"))
            return true;
    }
    return false;
}

static void show_explained(const struct wrong *wrong, size_t first) {
    char names[1024] = "", label[SHOW_LABEL_SIZE];
    size_t used = 0;
    for (size_t i = first; i < wrong->count && used + 120 < sizeof names; i++) {
        const json_t *alarm = wrong->alarms[i];
        if (!is_suppressed(alarm) || !explains(wrong, first, alarm))
            continue;
        char *name = name_of(wrong->ctl, alarm);
        int length = snprintf(names + used, sizeof names - used, "%s%lld %.90s", used ? ", " : "",
                              ctl_whole_of(alarm, "id"), name ? name : "");
        free(name);
        used += length > 0 ? (size_t)length : 0;
    }
    if (used)
        ctl_text_say(wrong->to, show_label(label, wrong->ctl, PAGE_SHOW_EXPLAINS), SHOW_INDENT,
                     "%s", names);
}

static void show_cause(const struct wrong *wrong, size_t first) {
    char room[EVIDENCE_CLAIM_BYTES], chance[CTL_VALUE_SIZE];
    const json_t *diagnosis = json_object_get(wrong->alarms[first], "diagnosis");
    const char *cause = cause_of(wrong->alarms[first]);
    bool sure = !isnan(ctl_number_of(diagnosis, "confidence")) && strcmp(cause, "undecided") != 0;
    const char *claim = evidence_claim_text(room, wrong->ctl->language, cause);
    ctl_chance(chance, ctl_number_of(diagnosis, "confidence"));
    char *text = sure ? ctl_filled(wrong->ctl, PAGE_SHOW_CONFIDENCE, claim,
                                   ctl_words_of(wrong->ctl, chance), NULL)
                      : NULL;
    if (*cause)
        ctl_text_say(wrong->to, "", "  ", "%s", text ? text : claim);
    free(text);
    for (size_t i = first; i < wrong->count; i++) {
        if (belongs(wrong, first, i))
            show_alarm(wrong, wrong->alarms[i]);
    }
    show_explained(wrong, first);
    show_do(wrong, first);
    show_evidence(wrong, first);
    show_list(wrong, first, PAGE_SHOW_CHECK, "check");
    show_list(wrong, first, PAGE_SHOW_BRING, "bring");
}

static bool was_shown(const struct wrong *wrong, size_t i) {
    for (size_t first = 0; first < i; first++) {
        if (!is_suppressed(wrong->alarms[first]) && belongs(wrong, first, i))
            return true;
    }
    return false;
}

void ctl_show_wrong(FILE *to, const struct ctl *ctl, const json_t *system, size_t most) {
    struct wrong wrong = {.to = to, .ctl = ctl, .system = system, .most = most};
    order(&wrong);
    fprintf(to, "\n%s\n", ctl_words(ctl, wrong.count ? PAGE_SHOW_WRONG : PAGE_SHOW_NO_ALARMS));
    for (size_t i = 0; i < wrong.count; i++) {
        if (!is_suppressed(wrong.alarms[i]) && !was_shown(&wrong, i))
            show_cause(&wrong, i);
    }
    if (wrong.count && is_suppressed(wrong.alarms[0])) /* explained by one of the whole fleet */
        ctl_text_say(to, "", "  ", "%s", ctl_words(ctl, PAGE_SHOW_BY_FLEET));
}
