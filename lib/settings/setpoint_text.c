#include "settings/setpoint_text.h"

#include "settings/key_table.h"

#include "measure/duration.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum setpoint_form setpoint_text_form(const struct condition_info *info) {
    switch (info->setpoint.kind) {
    case SETPOINT_OF_BASELINE:
        return FORM_OF_BASELINE;
    case SETPOINT_VALUE:
        return FORM_VALUE;
    case SETPOINT_OF_ACTION_LEVEL:
        return FORM_OF_ACTION_LEVEL;
    case SETPOINT_DURATION:
        return FORM_SPAN;
    case SETPOINT_FRACTION:
        return FORM_FRACTION;
    case SETPOINT_OF_DRAFT: /* nobody sets the weather */
    case SETPOINT_NONE:
        break;
    }
    /* No default does not mean no setpoint: a water level has its own in every sump. */
    if (info->measure == MEASURE_VALUE && info->quantities)
        return FORM_VALUE;
    if (info->measure == MEASURE_AGE || info->measure == MEASURE_UNCHANGED)
        return FORM_SPAN;
    return FORM_NONE;
}

/*
 * The one dimension that a value for this condition has here; false when there are several. A
 * battery may be in % or in V: above its point a value is in %, see condition_settings_finish.
 */
static bool value_dimension(const struct setpoint_text *context, enum dimension *dimension) {
    if (context->of_point) {
        *dimension = context->dimension;
        return true;
    }
    bool found = false;
    for (int q = 0; q < QUANTITY_COUNT; q++) {
        if (!(context->info->quantities & (UINT32_C(1) << q)))
            continue;
        enum dimension other = quantity_info((enum quantity)q)->dimension;
        if (found && other != *dimension)
            return false;
        *dimension = other;
        found = true;
    }
    return found;
}

/* What is allowed, as the end of an error. */
const char *setpoint_text_allowed(const struct setpoint_text *context, char *text, size_t size) {
    enum dimension dimension = DIMENSION_PRESSURE;
    bool value = value_dimension(context, &dimension);
    const char *word = value ? unit_si_word(dimension) : "";
    const char *side =
        context->info->side == SIDE_BELOW ? "above 0 % and below 100 %" : "above 100 % to 1000 %";
    switch (context->form) {
    case FORM_OF_BASELINE:
    case FORM_OF_ACTION_LEVEL:
        snprintf(text, size, "%s of %s%s%s", side,
                 context->form == FORM_OF_BASELINE ? "baseline" : "the action level",
                 value ? ", or a possible value with a unit of the kind " : "", word);
        break;
    case FORM_VALUE:
        snprintf(text, size, "%s%s",
                 value ? "a possible value with a unit of the kind " : "a value at the point only",
                 word);
        break;
    case FORM_SPAN:
        snprintf(text, size, "a span from 1 s to 3 y, such as 45 min");
        break;
    case FORM_FRACTION:
        snprintf(text, size, "a fraction above 0 and below 1, such as 0.90 or 90 %%");
        break;
    case FORM_NONE:
        snprintf(text, size, "no setpoint here");
        break;
    }
    return text;
}

static bool is_quantity_plausible(const struct setpoint_text *context, enum dimension dimension,
                                  double si) {
    for (int q = 0; q < QUANTITY_COUNT; q++) {
        bool judged = context->of_point ? (enum quantity)q == context->quantity
                                        : (context->info->quantities & (UINT32_C(1) << q)) != 0;
        if (judged && quantity_plausible((enum quantity)q, dimension, si))
            return true;
    }
    return false;
}

static bool parse_relative(const struct setpoint_text *context, double fraction,
                           struct setpoint *setpoint) {
    bool good = context->info->side == SIDE_BELOW ? fraction > 0.0 && fraction < 1.0
                                                  : fraction > 1.0 && fraction <= 10.0;
    if (good)
        *setpoint = (struct setpoint){context->form == FORM_OF_BASELINE ? SETPOINT_OF_BASELINE
                                                                        : SETPOINT_OF_ACTION_LEVEL,
                                      fraction};
    return good;
}

static bool parse_fraction(const char *text, double *fraction) {
    return (key_percent_parse(text, fraction) || key_number_parse(text, fraction)) &&
           *fraction > 0.0 && *fraction < 1.0;
}

bool setpoint_text_parse(const struct setpoint_text *context, const char *text,
                         struct setpoint *setpoint) {
    double number = 0.0;
    int64_t span_ms = 0;
    enum dimension dimension = DIMENSION_PRESSURE;
    switch (context->form) {
    case FORM_OF_BASELINE:
    case FORM_OF_ACTION_LEVEL:
        if (key_percent_parse(text, &number))
            return parse_relative(context, number, setpoint);
        /* fall through */
    case FORM_VALUE:
        if (!value_dimension(context, &dimension) ||
            unit_parse(text, dimension, &number) != UNIT_OK ||
            !is_quantity_plausible(context, dimension, number))
            return false;
        *setpoint = (struct setpoint){SETPOINT_VALUE, number};
        return true;
    case FORM_SPAN:
        if (!duration_parse(text, &span_ms) || span_ms < DURATION_SECOND_MS ||
            span_ms > 3 * DURATION_YEAR_MS)
            return false;
        *setpoint = (struct setpoint){SETPOINT_DURATION, (double)span_ms};
        return true;
    case FORM_FRACTION:
        if (!parse_fraction(text, &number))
            return false;
        *setpoint = (struct setpoint){SETPOINT_FRACTION, number};
        return true;
    case FORM_NONE:
        break;
    }
    return false;
}

/* A deadband is a difference: its unit's scale counts, not its zero. */
static bool parse_difference(const struct setpoint_text *context, const char *text,
                             double *difference) {
    enum dimension dimension = DIMENSION_PRESSURE;
    const char *end = NULL;
    double number = 0.0;
    if (!value_dimension(context, &dimension) ||
        unit_parse_number(text, strlen(text), &number, &end) != UNIT_OK)
        return false;
    end += strspn(end, " ");
    size_t length = strlen(end);
    while (length > 0 && end[length - 1] == ' ')
        length--;
    const struct unit *unit = unit_find(end, length);
    if (!unit || unit->dimension != dimension)
        return false;
    *difference = unit_difference_to_si(unit, number);
    return isfinite(*difference) && *difference > 0.0;
}

bool setpoint_text_parse_deadband(const struct setpoint_text *context, const char *text,
                                  struct setpoint *deadband) {
    double number = 0.0;
    bool of_baseline = context->form == FORM_OF_BASELINE;
    if ((of_baseline || context->form == FORM_OF_ACTION_LEVEL) &&
        key_percent_parse(text, &number)) {
        if (number <= 0.0 || number >= 1.0)
            return false;
        *deadband = (struct setpoint){of_baseline ? SETPOINT_OF_BASELINE : SETPOINT_OF_ACTION_LEVEL,
                                      number};
        return true;
    }
    if (context->form == FORM_FRACTION && parse_fraction(text, &number)) {
        *deadband = (struct setpoint){SETPOINT_FRACTION, number};
        return true;
    }
    if (context->form == FORM_FRACTION || context->form == FORM_SPAN ||
        context->form == FORM_NONE || !parse_difference(context, text, &number))
        return false;
    *deadband = (struct setpoint){SETPOINT_VALUE, number};
    return true;
}

const char *setpoint_text_allowed_deadband(const struct setpoint_text *context) {
    switch (context->form) {
    case FORM_OF_BASELINE:
        return "above 0 % and below 100 % of baseline, or a difference with a unit";
    case FORM_OF_ACTION_LEVEL:
        return "above 0 % and below 100 % of the action level, or a difference with a unit";
    case FORM_VALUE:
        return "a difference above 0 with a unit";
    case FORM_FRACTION:
        return "a fraction above 0 and below 1";
    default:
        return "no deadband here";
    }
}
