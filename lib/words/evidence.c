#include "words/evidence.h"

#include "diagnosis/diagnosis_claim.h"
#include "words/fill.h"
#include "words/wording_texts.h"

#include <math.h>
#include <stdio.h>

enum { TEXT_BYTES = 160 };

static enum dimension dimension_of(enum quantity quantity) {
    switch (quantity) {
    case QUANTITY_AIRFLOW:
        return DIMENSION_FLOW;
    case QUANTITY_FAN_POWER:
        return DIMENSION_POWER;
    case QUANTITY_RADON:
        return DIMENSION_RADON;
    default:
        return DIMENSION_PRESSURE;
    }
}

static const char *name_of(const struct wording_texts *texts, enum quantity quantity) {
    return quantity < QUANTITY_COUNT ? texts->quantities[quantity] : "";
}

/* "suction", or "pressure field at north hole". */
static void write_what(const struct wording_texts *texts, const struct diagnosis_fact *fact,
                       char text[TEXT_BYTES]) {
    struct text_buffer what = {0};
    const struct fill_value values[] = {{"quantity", name_of(texts, fact->quantity)},
                                        {"name", fact->name}};
    if (*fact->name)
        fill_text(&what, texts->quantity_at, values, 2);
    snprintf(text, TEXT_BYTES, "%s",
             what.bytes && !what.failed ? what.bytes : name_of(texts, fact->quantity));
    text_buffer_clear(&what);
}

static bool is_ratio(enum diagnosis_fact_kind kind) {
    return kind == FACT_RATIO || kind == FACT_RATIO_BEFORE || kind == FACT_JUMP ||
           kind == FACT_JUMP_BEFORE;
}

static bool is_of_neighbours(enum diagnosis_fact_kind kind) {
    return kind == FACT_OWN_FALL || kind == FACT_OWN_RISE || kind == FACT_SHARED_FALL ||
           kind == FACT_SHARED_RISE;
}

/* A number of the fact as its kind has it. */
static void write_value(const struct diagnosis_fact *fact, enum unit_system units, size_t which,
                        char text[TEXT_BYTES]) {
    double value = fact->values[which];
    if (is_ratio(fact->kind))
        unit_format(text, TEXT_BYTES, value, dimension_of(fact->quantity),
                    quantity_units(fact->quantity, units));
    else if (fact->kind == FACT_FROST)
        unit_format(text, TEXT_BYTES, value, DIMENSION_TEMPERATURE, units);
    else if (fact->kind == FACT_WATER)
        unit_format(text, TEXT_BYTES, value, DIMENSION_LENGTH, units);
    else if (is_of_neighbours(fact->kind))
        snprintf(text, TEXT_BYTES, "%+.0f %%", 100.0 * (exp(value) - 1.0));
    else if (fact->kind == FACT_ALSO || fact->kind == FACT_FADING)
        snprintf(text, TEXT_BYTES, "%.0f %%", 100.0 * value);
    else if (fact->kind == FACT_STACK)
        snprintf(text, TEXT_BYTES, "%.1f Pa", value);
    else if (fact->kind == FACT_AT_ONCE || fact->kind == FACT_SLOWLY)
        snprintf(text, TEXT_BYTES, "%.0f", value);
    else
        snprintf(text, TEXT_BYTES, "%.2f", value);
}

static const char *sentence_of(const struct wording_texts *texts,
                               const struct diagnosis_fact *fact) {
    const char *sentence =
        fact->kind == FACT_REASONING ? texts->reasoning[fact->cause] : texts->facts[fact->kind];
    return sentence ? sentence : "";
}

char *evidence_sentence(size_t language, enum unit_system units,
                        const struct diagnosis_fact *fact) {
    const struct wording_texts *texts = wording_languages[language].texts;
    char what[TEXT_BYTES], percent[16], days[16], houses[16], numbers[3][TEXT_BYTES];
    struct text_buffer out = {0};
    int month = fact->count >= 1 && fact->count <= 12 ? fact->count : 1;
    write_what(texts, fact, what);
    for (size_t i = 0; i < 3; i++)
        write_value(fact, units, i, numbers[i]);
    snprintf(percent, sizeof percent, "%.0f %%", fabs(100.0 * fact->values[0] / fact->values[1]));
    snprintf(days, sizeof days, "%d", fact->days);
    snprintf(houses, sizeof houses, "%d", fact->count);
    const struct fill_value values[] = {
        {"what", what},
        {"quantity", name_of(texts, fact->quantity)},
        {"one", numbers[0]},
        {"two", numbers[1]},
        {"three", numbers[2]},
        {"percent", percent},
        {"method", texts->methods[fact->method]},
        {"month", texts->months[month - 1]},
        {"cause", texts->causes[fact->cause]},
        {"other", texts->causes[fact->other]},
        {"declared", fact->declared ? fact->declared->spelling : ""},
        {"sent", fact->sent ? fact->sent->spelling : ""},
        {"days", days},
        {"houses", houses},
        {"region", fact->name},
        {"weather", fact->quantity == QUANTITY_RADON ? texts->weather_radon : texts->weather},
    };
    fill_text(&out, sentence_of(texts, fact), values, sizeof values / sizeof values[0]);
    return text_buffer_take(&out);
}

const char *evidence_item(size_t language, enum visit_item item) {
    return wording_languages[language].texts->items[item];
}

const char *evidence_claim_text(char text[EVIDENCE_CLAIM_BYTES], size_t language,
                                const char *claim) {
    const struct wording_texts *texts = wording_languages[language].texts;
    enum diagnosis_cause causes[DIAGNOSIS_CAUSES_MAX];
    size_t count = diagnosis_claim_causes(claim, causes), length = 0;
    for (size_t i = 0; i < count && length < EVIDENCE_CLAIM_BYTES; i++)
        length += (size_t)snprintf(text + length, EVIDENCE_CLAIM_BYTES - length, "%s%s%s%s",
                                   i > 0 ? "; " : "", i > 0 ? texts->or_cause : "",
                                   i > 0 ? ": " : "", texts->causes[causes[i]]);
    return count > 0 ? text : claim;
}
