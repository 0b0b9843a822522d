/*
 * What is known of an alarm in numbers, and its cause.
 */
#include "words/wording_writer.h"

#include "diagnosis/diagnosis_claim.h"
#include "measure/duration.h"
#include "words/fill.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static bool present(const char *text) {
    return text && *text;
}

/* No chance short of certainty is told as 100 %, none above nothing as 0 %. */
static const char *chance_text(const struct wording_texts *texts, double chance, char *text,
                               size_t size) {
    double percent = 100.0 * chance;
    if (percent > 99.5 && chance < 1.0)
        return texts->over_99;
    if (percent > 0.0 && percent < 0.5)
        return texts->under_1;
    snprintf(text, size, "%.0f %%", percent);
    return text;
}

static const char *number_text(const struct wording_writer *writer, double number, char *text,
                               size_t size) {
    const struct wording_facts *facts = writer->facts;
    switch (facts->value_kind) {
    case WORDING_VALUE_RATIO:
        snprintf(text, size, "%.2f", number);
        return text;
    case WORDING_VALUE_PROBABILITY:
        return chance_text(writer->texts, number, text, size);
    case WORDING_VALUE_SHARE:
        snprintf(text, size, "%.0f %%", 100.0 * number);
        return text;
    case WORDING_VALUE_DURATION:
        return duration_format(text, size, number < 9e18 ? (int64_t)number : INT64_MAX);
    case WORDING_VALUE_MEASURED:
        break;
    }
    return unit_format(text, size, number, facts->dimension,
                       quantity_units(facts->quantity, facts->units));
}

static const char *value_label(const struct wording_writer *writer) {
    switch (writer->facts->value_kind) {
    case WORDING_VALUE_RATIO:
        return writer->texts->ratio;
    case WORDING_VALUE_PROBABILITY:
        return writer->texts->probability;
    case WORDING_VALUE_SHARE:
        return writer->texts->share;
    case WORDING_VALUE_DURATION:
        return condition_info(writer->facts->condition)->measure == MEASURE_DAILY
                   ? writer->texts->time_left /* a trend's, until its limit */
                   : writer->texts->lasted;
    case WORDING_VALUE_MEASURED:
        break;
    }
    return writer->texts->value;
}

void wording_writer_numbers(struct wording_writer *writer) {
    const struct wording_facts *facts = writer->facts;
    char text[80];
    if (!isfinite(facts->value))
        return;
    text_buffer_format(&writer->out, "%s: %s", value_label(writer),
                       number_text(writer, facts->value, text, sizeof text));
    if (isfinite(facts->setpoint) && !present(facts->mixup.sent_unit))
        text_buffer_format(&writer->out, "; %s %s", writer->texts->limit,
                           number_text(writer, facts->setpoint, text, sizeof text));
    if (isfinite(facts->baseline) && facts->value_kind == WORDING_VALUE_MEASURED) {
        text_buffer_format(&writer->out, "; %s %s", writer->texts->baseline,
                           number_text(writer, facts->baseline, text, sizeof text));
        if (facts->baseline > 0.0 && facts->value >= 0.0)
            text_buffer_format(&writer->out, " (%.0f %%)", 100.0 * facts->value / facts->baseline);
    }
    text_buffer_add(&writer->out, "\n");
}

void wording_writer_other_unit(struct wording_writer *writer) {
    const struct wording_facts *facts = writer->facts;
    char text[80];
    if (!present(facts->mixup.sent_unit) || !isfinite(facts->setpoint))
        return;
    text_buffer_format(&writer->out, "%s: ", writer->texts->unit);
    wording_writer_filled(writer, writer->texts->unit_sent);
    text_buffer_format(&writer->out, " %s\n",
                       number_text(writer, facts->setpoint, text, sizeof text));
}

static char *radon_text(const struct wording_facts *facts, double bq_m3, char text[80]) {
    return unit_format(text, 80, bq_m3, DIMENSION_RADON, facts->units);
}

/* What a verdict on radon is from, and what it says of a year. */
static void add_year(struct wording_writer *writer) {
    const struct wording_facts *facts = writer->facts;
    const struct wording_texts *texts = writer->texts;
    const struct explanation *explained = &facts->explained;
    char mean[80], lower[80], upper[80], days[24];
    if (explained->mean_days <= 0 || !isfinite(explained->mean_bq_m3))
        return;
    snprintf(days, sizeof days, "%d", explained->mean_days);
    text_buffer_format(&writer->out, "%s: %s ",
                       explained->since_repair ? texts->mean_since_repair : texts->mean_so_far,
                       radon_text(facts, explained->mean_bq_m3, mean));
    fill_text(&writer->out, texts->over_days, &(struct fill_value){"days", days}, 1);
    text_buffer_add(&writer->out, "\n");
    if (!isfinite(explained->year_lower_bq_m3) || !isfinite(explained->year_upper_bq_m3))
        return;
    const struct fill_value values[] = {
        {"lower", radon_text(facts, explained->year_lower_bq_m3, lower)},
        {"upper", radon_text(facts, explained->year_upper_bq_m3, upper)}};
    text_buffer_format(&writer->out, "%s: ", texts->year_of);
    fill_text(&writer->out, texts->year_between, values, 2);
    text_buffer_add(&writer->out, "\n");
}

void wording_writer_mean(struct wording_writer *writer) {
    const struct wording_facts *facts = writer->facts;
    bool of_level = facts->condition == CONDITION_RADON_HIGH ||
                    facts->condition == CONDITION_RADON_ABOVE_ACTION;
    char text[80];
    add_year(writer);
    if (of_level && isfinite(facts->action_level_bq_m3) && facts->action_level_bq_m3 > 0.0)
        text_buffer_format(&writer->out, "%s: %s\n", writer->texts->action_level,
                           radon_text(facts, facts->action_level_bq_m3, text));
}

void wording_writer_plain_radon(struct wording_writer *writer) {
    const struct wording_facts *facts = writer->facts;
    char text[80];
    if (facts->dimension != DIMENSION_RADON || facts->value_kind != WORDING_VALUE_MEASURED ||
        facts->quantity != QUANTITY_RADON || !isfinite(facts->value))
        return;
    text_buffer_format(&writer->out, "%s: %s\n", writer->texts->measured,
                       unit_format(text, sizeof text, facts->value, DIMENSION_RADON, facts->units));
}

void wording_writer_cause(struct wording_writer *writer) {
    const struct wording_facts *facts = writer->facts;
    const char *cause = facts->explained.cause;
    if (!present(cause) || strcmp(cause, diagnosis_cause_word(CAUSE_NONE)) == 0)
        return;
    enum diagnosis_cause causes[DIAGNOSIS_CAUSES_MAX];
    size_t count = diagnosis_claim_causes(cause, causes);
    text_buffer_format(&writer->out, "%s: ", writer->texts->cause);
    fill_clean(&writer->out, count > 0 ? writer->texts->causes[causes[0]] : cause);
    for (size_t i = 1; i < count; i++) {
        text_buffer_format(&writer->out, ", %s ", writer->texts->or_cause);
        fill_clean(&writer->out, writer->texts->causes[causes[i]]);
    }
    bool undecided = count == 1 && causes[0] == CAUSE_UNDECIDED;
    if (isfinite(facts->explained.confidence) && !undecided) {
        enum wording_grade grade = facts->explained.confidence >= 0.75  ? WORDING_LIKELY
                                   : facts->explained.confidence >= 0.4 ? WORDING_POSSIBLE
                                                                        : WORDING_UNCERTAIN;
        text_buffer_format(&writer->out, " (%s, %.0f %%)", writer->texts->confident[grade],
                           100.0 * facts->explained.confidence);
    }
    text_buffer_add(&writer->out, "\n");
}
