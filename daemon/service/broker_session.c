#include "service/broker_session.h"

#include <jansson.h>
#include <stdlib.h>
#include <string.h>

enum { NOTE_SIZE = 16384 }; /* of more filters than fit none is left behind */
static const char note_name[] = "broker session";

bool broker_session_known(struct store *store) {
    char note[NOTE_SIZE];
    return record_note_get(store, note_name, note, sizeof note) == STORE_OK;
}

static bool is_subscribed(const struct settings_broker *broker, const char *filter) {
    for (size_t i = 0; i < broker->subscribe_count; i++) {
        if (strcmp(broker->subscribe[i], filter) == 0)
            return true;
    }
    return false;
}

void broker_session_leave_former(struct store *store, const struct settings_broker *broker,
                                 struct intake *intake) {
    char note[NOTE_SIZE];
    if (record_note_get(store, note_name, note, sizeof note) != STORE_OK)
        return;
    json_t *former = json_loads(note, 0, NULL); /* earlier versions wrote a word */
    for (size_t i = 0; i < json_array_size(former); i++) {
        const char *filter = json_string_value(json_array_get(former, i));
        if (filter && !is_subscribed(broker, filter))
            intake_leave(intake, filter);
    }
    json_decref(former);
}

static char *filters_text(const struct settings_broker *broker) {
    json_t *list = json_array();
    for (size_t i = 0; i < broker->subscribe_count; i++)
        json_array_append_new(list, json_string(broker->subscribe[i]));
    char *text = json_dumps(list, JSON_COMPACT);
    json_decref(list);
    return text;
}

void broker_session_granted(struct pipeline *pipeline, const struct settings_broker *broker) {
    char note[NOTE_SIZE] = "";
    struct store *store = pipeline_store(pipeline);
    char *text = filters_text(broker);
    if (!text)
        return;
    bool same =
        record_note_get(store, note_name, note, sizeof note) == STORE_OK && strcmp(note, text) == 0;
    if (!same && pipeline_begin(pipeline)) {
        pipeline_note(pipeline, record_note_put(store, note_name, text));
    }
    free(text);
}
