#include "api/list.h"

#include "host/clock.h"
#include "words/text_buffer.h"

#include <stdlib.h>
#include <string.h>

enum { PART_BYTES = 16 * 1024 };

struct api_list {
    struct api *api;
    const struct api_list_source *source;
    void *context;
    const char *end;         /* of the text, behind the last row */
    struct text_buffer text; /* made and not yet taken by the client, */
    size_t taken;            /* but for so much of it */
    bool begun;              /* there was a row */
    uint64_t served;         /* turn in which it went on last, or began */
    enum api_list_step step;
};

static void end_list(void *context) {
    struct api_list *list = context;
    list->source->free(list->context);
    text_buffer_clear(&list->text);
    free(list);
}

void api_list_add(struct api_list *list, json_t *row) {
    char *text = row ? json_dumps(row, JSON_COMPACT) : NULL;
    json_decref(row);
    if (list->begun)
        text_buffer_add(&list->text, ",");
    list->begun = true;
    if (text)
        text_buffer_add(&list->text, text);
    else
        list->text.failed = true;
    free(text);
}

struct text_buffer *api_list_text(struct api_list *list) {
    return &list->text;
}

static void step(struct api_list *list) {
    list->step = list->source->step(list->context, list->api, list);
    if (list->text.failed)
        list->step = API_LIST_FAILED;
}

/* ---- whose turn it is ---- */

void api_list_turn(struct api_list_time *time, int64_t until_ms) {
    time->until_ms = until_ms;
    time->turn++;
    time->due = time->due_next;
    time->due_next = UINT64_MAX;
}

static bool has_time(const struct api_list_time *time) {
    return time->until_ms == 0 || clock_monotonic_ms() < time->until_ms;
}

/* Else it waits, and is remembered for the next turn. */
static bool may_go(struct api_list *list) {
    struct api_list_time *time = &list->api->lists;
    if (list->served <= time->due && has_time(time)) {
        list->served = time->turn;
        return true;
    }
    if (list->served < time->due_next)
        time->due_next = list->served;
    return false;
}

/* The next part, or nothing yet. */
static void make_part(struct api_list *list) {
    if (!may_go(list))
        return;
    do
        step(list);
    while (list->step == API_LIST_MORE && list->text.length < PART_BYTES &&
           has_time(&list->api->lists));
    if (list->step == API_LIST_END)
        text_buffer_add(&list->text, list->end);
}

static ssize_t next_bytes(void *context, char *buffer, size_t size) {
    struct api_list *list = context;
    if (list->taken == list->text.length && list->step == API_LIST_MORE) {
        list->taken = list->text.length = 0;
        make_part(list);
    }
    if (list->step == API_LIST_FAILED || list->text.failed)
        return WEB_STREAM_BROKEN;
    size_t length = list->text.length - list->taken;
    if (length == 0)
        return list->step == API_LIST_END ? WEB_STREAM_END : 0;
    length = length < size ? length : size;
    memcpy(buffer, list->text.bytes + list->taken, length);
    list->taken += length;
    return (ssize_t)length;
}

static struct api_list *begin_list(struct api *api, const struct api_list_source *source,
                                   void *context) {
    struct api_list *list = context ? calloc(1, sizeof *list) : NULL;
    if (list)
        *list = (struct api_list){
            .api = api, .source = source, .context = context, .end = "", .served = api->lists.turn};
    else if (context)
        source->free(context);
    return list;
}

static void say_failed(struct api_call *call, const struct api_list *list) {
    struct store *store = pipeline_store(call->api->pipeline);
    if (!list || list->text.failed)
        api_error(call, 503, "out of memory; ask for fewer with limit=N");
    else
        api_error(call, 503, "the store can't be read: %s",
                  store ? store_error(store) : call->api->store_why);
}

static void answer(struct api_call *call, const char *content_type, struct api_list *list) {
    if (list)
        make_part(list);
    if (list && list->step == API_LIST_MORE) {
        call->answer->status = 200;
        call->answer->content_type = content_type;
        call->answer->stream = (struct web_stream){next_bytes, end_list, list};
        return;
    }
    if (list && list->step == API_LIST_END)
        api_text(call, 200, content_type, text_buffer_take(&list->text));
    else
        say_failed(call, list);
    if (list)
        end_list(list);
}

void api_list_answer(struct api_call *call, const struct api_list_source *source, void *context) {
    struct api_list *list = begin_list(call->api, source, context);
    if (list) {
        text_buffer_add(&list->text, "[");
        list->end = "]";
    }
    answer(call, "application/json", list);
}

void api_list_answer_text(struct api_call *call, const char *content_type,
                          const struct api_list_source *source, void *context) {
    answer(call, content_type, begin_list(call->api, source, context));
}
