/*
 * Messages out (deliveries, tests) and messages not taken (unclaimed, refused).
 */
#include "api/list.h"
#include "api/unclaimed.h"

#include <stdlib.h>
#include <string.h>

enum { ROWS_A_STEP = 16 };

static json_t *delivery_json(const struct outbox_message *message) {
    static const char *const states[] = {"waiting", "sent", "failed"};
    bool waits = message->state == OUTBOX_WAITING;
    return json_pack("{s:s,s:s,s:s,s:s,s:s,s:i,s:o,s:s?,s:o,s:o}", "id", message->id, "contact",
                     message->contact, "system", message->system, "type", message->type, "state",
                     states[message->state], "tries", message->tries, "next_try",
                     waits ? api_time(message->not_before_ms) : json_null(), "last_answer",
                     message->last_answer, "created", api_time(message->created_ms), "done",
                     message->done_ms ? api_time(message->done_ms) : json_null());
}

static void one_delivery(struct api_call *call, struct store *store) {
    struct outbox_message *message = NULL;
    enum store_status status = outbox_find(store, call->parts[1], &message);
    if (status == STORE_OK)
        api_json(call, 200, delivery_json(message));
    else if (status == STORE_NOT_FOUND)
        api_error(call, 404, "there is no delivery %s; see: subslabctl deliveries", call->parts[1]);
    else
        api_error(call, 503, "the store can't be read: %s", store_error(store));
    outbox_message_free(message);
}

/* ---- the list, newest first ---- */

struct delivery_list {
    bool failed;  /* only these */
    int64_t last; /* row of the one before; 0: none */
    int64_t left; /* rows still to come; -1: no limit */
};

static enum api_list_step step_list(void *context, struct api *api, struct api_list *rows) {
    struct delivery_list *list = context;
    struct outbox_message *messages[ROWS_A_STEP];
    struct store *store = pipeline_store(api->pipeline);
    size_t count = 0, most = ROWS_A_STEP;
    if (list->left >= 0 && list->left < ROWS_A_STEP)
        most = (size_t)list->left;
    if (!store || outbox_list(store, list->failed, list->last, messages, most, &count) != STORE_OK)
        return API_LIST_FAILED;
    for (size_t i = 0; i < count; i++) {
        api_list_add(rows, delivery_json(messages[i]));
        list->last = messages[i]->row;
        outbox_message_free(messages[i]);
    }
    if (list->left > 0)
        list->left -= (int64_t)count;
    return count < most || list->left == 0 ? API_LIST_END : API_LIST_MORE;
}

/* The row of the delivery that is named as `before`; 0 without one. False after an error. */
static bool find_before(struct api_call *call, struct store *store, int64_t *row) {
    const char *id = web_query(call->request, "before");
    struct outbox_message *message = NULL;
    enum store_status status = id ? outbox_find(store, id, &message) : STORE_OK;
    *row = message ? message->row : 0;
    outbox_message_free(message);
    if (status == STORE_NOT_FOUND)
        api_error(call, 404, "before: there is no delivery \"%s\"; see: subslabctl deliveries", id);
    else if (status != STORE_OK)
        api_error(call, 503, "the store can't be read: %s", store_error(store));
    return status == STORE_OK;
}

static void list_deliveries(struct api_call *call, struct store *store) {
    static const struct api_list_source source = {step_list, free};
    int64_t limit = 0, before = 0;
    if (!api_count(call, "limit", INT32_MAX, &limit) || !find_before(call, store, &before))
        return;
    struct delivery_list *list = calloc(1, sizeof *list);
    if (list)
        *list = (struct delivery_list){.failed = web_query(call->request, "failed") != NULL,
                                       .last = before,
                                       .left = limit ? limit : -1};
    api_list_answer(call, &source, list);
}

void api_deliveries(struct api_call *call) {
    struct store *store = api_store(call);
    if (store && call->parts[1])
        one_delivery(call, store);
    else if (store)
        list_deliveries(call, store);
}

/* ---- by hand ---- */

/* Asked for by hand, even a contact that answered 410 is tried once more. */
static void resume_contact(struct api *api, const char *id) {
    struct outbox_message *message = NULL;
    if (outbox_find(pipeline_store(api->pipeline), id, &message) == STORE_OK)
        dispatch_resume(api->dispatch, message->contact);
    outbox_message_free(message);
}

void api_delivery_again(struct api_call *call) {
    struct api *api = call->api;
    if (!pipeline_begin(api->pipeline)) {
        api_commit(call);
        return;
    }
    enum store_status status =
        outbox_again(pipeline_store(api->pipeline), call->parts[1], api->now_ms);
    if (status == STORE_NOT_FOUND) {
        api_error(call, 404, "there is no delivery %s; see: subslabctl deliveries", call->parts[1]);
        return;
    }
    pipeline_note(api->pipeline, status);
    if (status == STORE_OK)
        resume_contact(api, call->parts[1]);
    if (api_commit(call))
        one_delivery(call, pipeline_store(api->pipeline));
}

void api_test_alert(struct api_call *call) {
    struct api *api = call->api;
    const struct settings_contact *contact = fleet_contact(api->fleet, call->parts[1]);
    char id[40] = "";
    if (!contact) {
        api_error(call, 404, "there is no contact \"%s\" in the settings", call->parts[1]);
        return;
    }
    if (pipeline_begin(api->pipeline)) {
        pipeline_note(api->pipeline,
                      announce_test(pipeline_announce(api->pipeline), contact, api->now_ms, id));
        dispatch_resume(api->dispatch, contact->id);
    }
    if (api_commit(call))
        api_json(call, 200, json_pack("{s:s}", "id", id));
}

/* ---- messages not taken ---- */

/* Bytes from outside as printable ASCII; the rest as \\xNN. */
static json_t *example_json(const void *bytes, size_t length) {
    static const char digits[] = "0123456789abcdef";
    const unsigned char *from = bytes;
    char *text = malloc(4 * length + 1), *to = text;
    if (!text)
        return json_null();
    for (size_t i = 0; i < length; i++) {
        if (from[i] >= 0x20 && from[i] < 0x7f) {
            *to++ = (char)from[i];
            continue;
        }
        *to++ = '\\';
        *to++ = 'x';
        *to++ = digits[from[i] >> 4];
        *to++ = digits[from[i] & 15];
    }
    json_t *json = json_stringn(text, (size_t)(to - text));
    free(text);
    return json;
}

static json_t *row_json(const struct record_refused *row) {
    size_t length =
        row->example_length < RECORD_EXAMPLE_BYTES ? row->example_length : RECORD_EXAMPLE_BYTES;
    return json_pack("{s:s,s:I,s:o,s:o,s:o}", "topic", row->topic, "count", (json_int_t)row->count,
                     "first", api_time(row->first_ms), "last", api_time(row->last_ms), "example",
                     example_json(row->example, length));
}

static bool add_refused(void *context, const struct record_refused *row) {
    json_t *json = row_json(row);
    json_object_set_new(json, "reason", json_string(row->reason));
    json_array_append_new(context, json);
    return true;
}

/* A number of a message, and what it may be; null where nothing tells. */
static json_t *proposal_json(const struct proposal *one) {
    return json_pack("{s:o,s:s?,s:s?,s:s*,s:s*,s:s*}", "value", api_number(one->value), "quantity",
                     one->known ? quantity_info(one->quantity)->name : NULL, "unit",
                     one->known ? one->unit->spelling : NULL, "pointer",
                     *one->value_pointer ? one->value_pointer : NULL, "time_pointer",
                     *one->time_pointer ? one->time_pointer : NULL, "senml_name",
                     *one->senml_name ? one->senml_name : NULL);
}

static bool add_unclaimed(void *context, const struct unclaimed_topic *topic) {
    json_t *json = row_json(topic->row), *values = json_array();
    for (size_t i = 0; i < topic->proposal_count; i++)
        json_array_append_new(values, proposal_json(&topic->proposals[i]));
    json_object_set_new(
        json, "every",
        json_string(proposal_every(topic->row->count, topic->row->first_ms, topic->row->last_ms)));
    json_object_set_new(json, "values", values);
    json_array_append_new(context, json);
    return true;
}

static void answer_rows(struct api_call *call, json_t *list, bool read) {
    if (read) {
        api_json(call, 200, list);
        return;
    }
    json_decref(list);
    api_error(call, 503, "the store can't be read: %s",
              store_error(pipeline_store(call->api->pipeline)));
}

void api_unclaimed(struct api_call *call) {
    json_t *list = api_store(call) ? json_array() : NULL;
    if (list)
        answer_rows(call, list, unclaimed_each(call->api, add_unclaimed, list));
}

void api_refused(struct api_call *call) {
    struct store *store = api_store(call);
    json_t *list = store ? json_array() : NULL;
    if (list)
        answer_rows(call, list, record_refused_list(store, add_refused, list) == STORE_OK);
}
