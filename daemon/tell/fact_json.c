#include "tell/fact_json.h"

#include "diagnosis/diagnosis_claim.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static json_t *number_json(double number) {
    return isfinite(number) ? json_real(number) : json_null();
}

json_t *fact_json(const struct diagnosis_fact *fact) {
    const char *quantity =
        fact->quantity < QUANTITY_COUNT ? quantity_info(fact->quantity)->name : NULL;
    bool has_causes = fact->cause != CAUSE_NONE, has_units = fact->declared && fact->sent;
    return json_pack(
        "{s:s, s:[ooo], s:s*, s:s*, s:o*, s:o*, s:o*, s:o*}", "says",
        diagnosis_fact_word(fact->kind), "values", number_json(fact->values[0]),
        number_json(fact->values[1]), number_json(fact->values[2]), "quantity", quantity, "name",
        *fact->name ? fact->name : NULL, "counts",
        fact->days || fact->count ? json_pack("[ii]", fact->days, fact->count) : NULL, "method",
        fact->kind == FACT_SPEED ? json_integer((json_int_t)fact->method) : NULL, "causes",
        has_causes ? json_pack("[ss]", diagnosis_cause_word(fact->cause),
                               diagnosis_cause_word(fact->other))
                   : NULL,
        "units",
        has_units ? json_pack("[ss]", fact->declared->spelling, fact->sent->spelling) : NULL);
}

static double number_at(const json_t *json, const char *name, size_t index) {
    const json_t *number = json_array_get(json_object_get(json, name), index);
    return json_is_number(number) ? json_number_value(number) : NAN;
}

static const char *text_at(const json_t *json, const char *name, size_t index) {
    const char *text = json_string_value(json_array_get(json_object_get(json, name), index));
    return text ? text : "";
}

static enum diagnosis_cause cause_at(const json_t *json, size_t index) {
    enum diagnosis_cause causes[DIAGNOSIS_CAUSES_MAX];
    return diagnosis_claim_causes(text_at(json, "causes", index), causes) == 1 ? causes[0]
                                                                               : CAUSE_NONE;
}

static const struct unit *unit_at(const json_t *json, size_t index) {
    const char *word = text_at(json, "units", index);
    return *word ? unit_find(word, strlen(word)) : NULL;
}

static int count_at(const json_t *json, size_t index) {
    return (int)json_integer_value(json_array_get(json_object_get(json, "counts"), index));
}

bool fact_json_read(const json_t *json, struct diagnosis_fact *fact) {
    const char *says = json_string_value(json_object_get(json, "says"));
    const char *quantity = json_string_value(json_object_get(json, "quantity"));
    const char *name = json_string_value(json_object_get(json, "name"));
    json_int_t method = json_integer_value(json_object_get(json, "method"));
    *fact = (struct diagnosis_fact){.kind = says ? diagnosis_fact_find(says) : FACT_COUNT,
                                    .quantity = QUANTITY_COUNT,
                                    .days = count_at(json, 0),
                                    .count = count_at(json, 1),
                                    .cause = cause_at(json, 0),
                                    .other = cause_at(json, 1),
                                    .declared = unit_at(json, 0),
                                    .sent = unit_at(json, 1)};
    if (fact->kind == FACT_COUNT || method < 0 || method >= FAN_METHOD_COUNT ||
        (quantity && !quantity_find(quantity, &fact->quantity)))
        return false;
    fact->method = (enum fan_method)method;
    snprintf(fact->name, sizeof fact->name, "%s", name ? name : "");
    for (size_t i = 0; i < 3; i++)
        fact->values[i] = number_at(json, "values", i);
    return true;
}
