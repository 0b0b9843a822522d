#include "measure/payload_value.h"

#include <math.h>
#include <strings.h>

bool payload_is_blank(char c) {
    return c == ' ' || c == '\t' || c == '\n' || c == '\r';
}

bool payload_value_names_no_number(const char *text, size_t length) {
    static const struct {
        const char *word;
        size_t length;
    } words[] = {{"nan", 3}, {"inf", 3}, {"infinity", 8}};
    if (length > 0 && (*text == '+' || *text == '-')) {
        text++;
        length--;
    }
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++)
        if (length == words[i].length && strncasecmp(text, words[i].word, length) == 0)
            return true;
    return false;
}

enum refusal payload_value_parse(const char *text, size_t length, double *value) {
    while (length > 0 && payload_is_blank(*text)) {
        text++;
        length--;
    }
    while (length > 0 && payload_is_blank(text[length - 1]))
        length--;
    double number;
    const char *end = text;
    enum unit_status status = unit_parse_number(text, length, &number, &end);
    if (status == UNIT_NOT_FINITE || payload_value_names_no_number(text, length))
        return REFUSAL_NOT_FINITE;
    if (status != UNIT_OK || end != text + length)
        return REFUSAL_NOT_A_NUMBER;
    *value = number;
    return REFUSAL_NONE;
}

enum refusal payload_value_to_si(const struct payload_binding *binding, const struct unit *stated,
                                 double value, double *si, bool *converted) {
    const struct unit *sensor = binding->unit;
    bool other_unit = false;
    if (stated) {
        if (stated->dimension != sensor->dimension)
            return REFUSAL_WRONG_UNIT;
        other_unit = stated->scale != sensor->scale || stated->offset != sensor->offset;
    }
    bool adjusted = binding->scale != 1.0 || binding->offset != 0.0;
    double result;
    if (other_unit && !adjusted) {
        result = unit_to_si(stated, value); /* not by way of the sensor's unit: rounds once less */
    } else {
        if (other_unit)
            value = unit_from_si(sensor, unit_to_si(stated, value));
        result = unit_to_si(sensor, value * binding->scale + binding->offset);
    }
    if (!isfinite(result))
        return REFUSAL_NOT_FINITE;
    *si = result + 0.0; /* -0 + 0 is 0 */
    *converted = other_unit;
    bool plausible = quantity_plausible(binding->quantity, sensor->dimension, result);
    return plausible ? REFUSAL_NONE : REFUSAL_OUT_OF_RANGE;
}
