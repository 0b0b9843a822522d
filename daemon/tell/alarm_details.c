#include "tell/alarm_details.h"

#include "tell/fact_json.h"
#include "words/evidence.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static double number_of(const json_t *object, const char *name) {
    const json_t *number = json_object_get(object, name);
    return json_is_number(number) ? json_number_value(number) : NAN;
}

/* What an earlier build kept as a sentence stays that sentence. */
static void read_evidence(struct alarm_details *details, struct wording_reader reader) {
    struct text_list *list = &details->explained.evidence;
    size_t i;
    json_t *item;
    list->items = details->evidence_items;
    json_array_foreach(json_object_get(details->root, "evidence"), i, item) {
        struct diagnosis_fact fact;
        if (list->count == ALARM_DETAILS_LIST_MOST)
            return;
        char *sentence = json_is_string(item) ? strdup(json_string_value(item))
                         : fact_json_read(item, &fact)
                             ? evidence_sentence(reader.language, reader.units, &fact)
                             : NULL;
        if (!sentence)
            continue;
        details->sentences[list->count] = sentence;
        details->evidence_items[list->count++] = sentence;
    }
}

static struct text_list items_of(const json_t *root, const char *name, size_t language,
                                 const char **items) {
    struct text_list list = {items, 0};
    size_t i;
    json_t *item;
    json_array_foreach(json_object_get(root, name), i, item) {
        if (list.count == ALARM_DETAILS_LIST_MOST || !json_is_string(item))
            continue;
        enum visit_item known = visit_item_find(json_string_value(item));
        items[list.count++] =
            known == VISIT_NONE ? json_string_value(item) : evidence_item(language, known);
    }
    return list;
}

void alarm_details_open(struct alarm_details *details, const char *text,
                        struct wording_reader reader) {
    *details = (struct alarm_details){.explained = explanation_none()};
    struct explanation *explained = &details->explained;
    if (!text)
        return;
    details->root = json_loads(text, 0, NULL);
    explained->cause = json_string_value(json_object_get(details->root, "cause"));
    explained->confidence = number_of(details->root, "confidence");
    explained->frost = json_is_true(json_object_get(details->root, "frost"));
    const json_t *year = json_object_get(details->root, "year");
    if (json_is_object(year)) {
        explained->mean_bq_m3 = number_of(year, "mean");
        explained->year_lower_bq_m3 = number_of(year, "lower");
        explained->year_upper_bq_m3 = number_of(year, "upper");
        explained->mean_days = (int)json_integer_value(json_object_get(year, "days"));
        explained->since_repair = json_is_true(json_object_get(year, "repair"));
    }
    read_evidence(details, reader);
    explained->check = items_of(details->root, "check", reader.language, details->check_items);
    explained->bring = items_of(details->root, "bring", reader.language, details->bring_items);
}

void alarm_details_close(struct alarm_details *details) {
    for (size_t i = 0; i < ALARM_DETAILS_LIST_MOST; i++)
        free(details->sentences[i]);
    json_decref(details->root);
    *details = (struct alarm_details){.root = NULL};
}
