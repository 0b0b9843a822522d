#include "api/back_draft.h"

#include "settings/test_holes.h"
#include "store/records.h"

#include <jansson.h>
#include <string.h>

/* Newest first: the first that was measured decides. */
static bool take_measured(void *context, const struct record_commissioning *record) {
    enum letter_text *text = context;
    if (strcmp(record->origin, "learned") == 0)
        return true;
    json_t *facts = json_loads(record->text, 0, NULL);
    const char *word = json_string_value(json_object_get(facts, "back_draft"));
    if (word && strcmp(word, back_draft_word(BACK_DRAFT_PASSED)) == 0)
        *text = LETTER_BACK_DRAFT_PASSED;
    else if (word && strcmp(word, back_draft_word(BACK_DRAFT_FAILED)) == 0)
        *text = LETTER_BACK_DRAFT_FAILED;
    else if (word)
        *text = LETTER_TEXT_COUNT;
    json_decref(facts);
    return false;
}

enum letter_text back_draft_text(const struct api *api, size_t system) {
    enum letter_text text = LETTER_BACK_DRAFT_NONE;
    struct store *store = pipeline_store(api->pipeline);
    if (store)
        record_commissioning_list(store, fleet_system_id(api->fleet, system), RECORD_NEWEST_FIRST,
                                  take_measured, &text);
    return text;
}
