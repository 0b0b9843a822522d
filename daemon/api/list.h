/*
 * api_list: an answer that is made row by row as the client takes it: a JSON array, or another
 * text. So neither its length nor a slow reader costs memory, and it takes no more than some
 * milliseconds of a turn.
 */
#ifndef DAEMON_API_LIST_H
#define DAEMON_API_LIST_H

#include "api/routes.h"

struct api_list;

/**
 * Begins a turn, in which all lists together work until a (monotonic) time and the row that is
 * under way then. Who has waited longest goes first.
 */
void api_list_turn(struct api_list_time *time, int64_t until_ms);

enum api_list_step { API_LIST_MORE, API_LIST_END, API_LIST_FAILED };

/** Where the rows come from. */
struct api_list_source {
    /**
     * Adds the next rows: a piece of work of a millisecond or so, perhaps without a row yet. Store,
     * monitor and fleet may be others than at the last step. API_LIST_FAILED: the store can't be
     * read, or memory is out.
     */
    enum api_list_step (*step)(void *context, struct api *api, struct api_list *list);
    void (*free)(void *context);
};

/** Adds a row (taken over) to a JSON array. */
void api_list_add(struct api_list *list, json_t *row);
/** Where a step adds its rows when the answer is a text of another type. */
struct text_buffer *api_list_text(struct api_list *list);

/** Answers with a JSON array of the rows; `context` is taken over. */
void api_list_answer(struct api_call *call, const struct api_list_source *source, void *context);
/** The same with a text of another type. */
void api_list_answer_text(struct api_call *call, const char *content_type,
                          const struct api_list_source *source, void *context);

#endif
