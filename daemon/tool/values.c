#include "tool/values.h"

#include "measure/decimal.h"
#include "measure/quantity.h"
#include "measure/timestamp.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const char nothing[] = "–";

const char *ctl_text_of(const json_t *object, const char *key) {
    const json_t *member = json_object_get(object, key);
    return json_is_string(member) ? json_string_value(member) : "";
}

double ctl_number_of(const json_t *object, const char *key) {
    const json_t *member = json_object_get(object, key);
    return json_is_number(member) ? json_number_value(member) : NAN;
}

static char *put(char *text, const char *what) {
    snprintf(text, CTL_VALUE_SIZE, "%s", what);
    return text;
}

char *ctl_value_of(char *text, const struct ctl *ctl, double si, const char *unit) {
    const struct unit *known = unit && *unit ? unit_find(unit, strlen(unit)) : NULL;
    if (!isfinite(si))
        return put(text, nothing);
    if (known)
        return unit_format(text, CTL_VALUE_SIZE, unit_to_si(known, si), known->dimension,
                           ctl->units);
    size_t length = decimal_write_short(text, CTL_VALUE_SIZE, si);
    if (unit && *unit && length < CTL_VALUE_SIZE)
        snprintf(text + length, CTL_VALUE_SIZE - length, " %s", unit);
    return text;
}

char *ctl_value(char *text, const struct ctl *ctl, const json_t *number, const char *unit) {
    return ctl_value_of(text, ctl, json_is_number(number) ? json_number_value(number) : NAN, unit);
}

struct ctl ctl_for_quantity(const struct ctl *ctl, const json_t *object) {
    struct ctl shown = *ctl;
    enum quantity quantity;
    if (quantity_find(ctl_text_of(object, "quantity"), &quantity))
        shown.units = quantity_units(quantity, ctl->units);
    return shown;
}

char *ctl_difference_of(char *text, const struct ctl *ctl, double si, const char *unit) {
    const struct unit *known = unit && *unit ? unit_find(unit, strlen(unit)) : NULL;
    if (!known || known->dimension != DIMENSION_TEMPERATURE)
        return ctl_value_of(text, ctl, si, unit);
    const struct unit *shown = unit_shown(known->dimension, ctl->units);
    double difference = si / shown->scale;
    if (!isfinite(difference))
        return put(text, nothing);
    size_t length = decimal_write_short(text, CTL_VALUE_SIZE, difference);
    if (length < CTL_VALUE_SIZE)
        snprintf(text + length, CTL_VALUE_SIZE - length, " %s", shown->spelling);
    return text;
}

char *ctl_percent(char *text, double share) {
    if (!isfinite(share))
        return put(text, nothing);
    snprintf(text, CTL_VALUE_SIZE, "%.0f %%", 100.0 * share);
    return text;
}

static char *shorten(char *text, const json_t *time, size_t keep) {
    int64_t time_ms = 0;
    const char *written = json_is_string(time) ? json_string_value(time) : "";
    if (!*written)
        return put(text, nothing);
    if (!timestamp_parse(written, strlen(written), &time_ms))
        return put(text, written);
    timestamp_format(text, CTL_VALUE_SIZE, time_ms);
    text[keep] = '\0';
    if (keep > 10)
        text[10] = ' ';
    return text;
}

char *ctl_time(char *text, const json_t *time) {
    return shorten(text, time, 16);
}

char *ctl_date(char *text, const json_t *time) {
    return shorten(text, time, 10);
}
