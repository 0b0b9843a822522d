#include "tool/values.h"

#include "host/clock.h"
#include "host/fleet_files.h"
#include "measure/decimal.h"
#include "measure/duration.h"
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

long long ctl_whole_of(const json_t *object, const char *key) {
    return (long long)json_integer_value(json_object_get(object, key));
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
    snprintf(text, CTL_VALUE_SIZE, "%.0f %%", round(100.0 * share) + 0.0); /* never "-0 %" */
    return text;
}

char *ctl_chance(char *text, double probability) {
    if (!isfinite(probability))
        return put(text, nothing);
    if (probability < 0.01)
        return put(text, "under 1 %");
    return probability > 0.99 ? put(text, "over 99 %") : ctl_percent(text, probability);
}

/* ---- times ---- */

void ctl_use_zone(struct ctl *ctl, const char *name) {
    if (ctl->zone && strcmp(time_zone_name(ctl->zone), name) == 0)
        return;
    time_zone_destroy(ctl->zone);
    ctl->zone = *name ? fleet_files_zone(name) : NULL;
    if (!ctl->zone)
        ctl->zone = time_zone_create_utc();
}

static char *local(char *text, const struct ctl *ctl, const json_t *time, bool day_alone) {
    int64_t time_ms = 0;
    const char *written = json_is_string(time) ? json_string_value(time) : "";
    if (!*written)
        return put(text, nothing);
    if (!timestamp_parse(written, strlen(written), &time_ms))
        return put(text, written);
    if (ctl->zone) {
        time_zone_format(text, CTL_VALUE_SIZE, ctl->zone, time_ms);
    } else {
        timestamp_format(text, CTL_VALUE_SIZE, time_ms);
        memcpy(text + 10, " ", 1);
        memcpy(text + 16, " UTC", 5);
    }
    if (day_alone)
        text[10] = '\0';
    return text;
}

char *ctl_time(char *text, const struct ctl *ctl, const json_t *time) {
    return local(text, ctl, time, false);
}

char *ctl_date(char *text, const struct ctl *ctl, const json_t *time) {
    return local(text, ctl, time, true);
}

char *ctl_age(char *text, const json_t *time) {
    int64_t time_ms = 0;
    const char *written = json_is_string(time) ? json_string_value(time) : "";
    if (!timestamp_parse(written, strlen(written), &time_ms))
        return put(text, "never");
    int64_t age_ms = clock_wall_ms() - time_ms;
    if (age_ms < DURATION_MINUTE_MS)
        return put(text, "now");
    duration_format(text, CTL_VALUE_SIZE, age_ms);
    char *unit = strchr(text, ' '), *second_part = unit ? strchr(unit + 1, ' ') : NULL;
    if (second_part)
        *second_part = '\0';
    return text;
}
