/*
 * Lists of alarms, newest raised first: the open ones out of memory, the history out of the store.
 * Both go on from a place in that order, so that what is raised or ends meanwhile disturbs nothing.
 */
#include "api/list.h"
#include "pipeline/alarm_rows.h"
#include "tell/alarm_details.h"

#include <stdlib.h>
#include <string.h>

enum { ROWS_A_STEP = 16, OPEN_AT_ONCE = 512 };

/* ---- one alarm ---- */

static void add_people(json_t *json, const struct alarm *alarm) {
    if (alarm->acknowledged.time_ms != TIMESTAMP_NONE)
        json_object_set_new(json, "acknowledged",
                            json_pack("{s:o,s:s?,s:s?}", "time",
                                      api_time(alarm->acknowledged.time_ms), "by",
                                      alarm->acknowledged.by, "note", alarm->acknowledged.note));
    if (alarm->shelved.until_ms != TIMESTAMP_NONE)
        json_object_set_new(json, "shelved",
                            json_pack("{s:o,s:s?,s:s?}", "until", api_time(alarm->shelved.until_ms),
                                      "by", alarm->shelved.by, "why", alarm->shelved.why));
}

json_t *api_alarm_json(const struct api *api, const struct alarm *alarm, size_t language) {
    json_t *json = announce_alarm_object(api->fleet, alarm, language);
    const struct alarm *cause =
        alarm->suppressed ? alarm_book_cause(pipeline_alarms(api->pipeline), alarm) : NULL;
    if (!json)
        return NULL;
    add_people(json, alarm);
    api_zone(json, api, alarm->system);
    if (cause)
        json_object_set_new(json, "explained_by", json_integer(cause->id));
    return json;
}

static json_t *no_diagnosis(void) {
    return json_pack("{s:n,s:n,s:[],s:s}", "cause", "confidence", "evidence", "why",
                     "no cause was looked for");
}

/* A stored row of an occurrence that may belong to a system no longer in the settings. */
static json_t *row_json(const struct api *api, const struct record_alarm *row) {
    enum unit_system units = api->fleet->settings->units;
    struct alarm_details details;
    alarm_details_open(&details, row->details, (struct wording_reader){WORDING_ENGLISH, units});
    const json_t *cause = json_object_get(details.root, "cause");
    json_t *json =
        json_pack("{s:I,s:s,s:s?,s:s,s:s,s:s,s:o,s:o,s:o,s:o,s:o,s:s?}", "id", (json_int_t)row->id,
                  "system", row->system, "point", *row->point ? row->point : NULL, "condition",
                  row->condition, "priority", row->priority, "state", row->state, "since",
                  api_time(row->since_ms), "raised", api_time(row->raised_ms), "returned",
                  api_time(row->returned_ms), "value", api_number(row->value), "setpoint",
                  api_number(row->setpoint), "unit", *row->unit ? row->unit : NULL);
    json_object_set_new(json, "diagnosis", cause ? json_incref(details.root) : no_diagnosis());
    json_object_set_new(
        details.root, "evidence",
        api_texts(details.explained.evidence.items, details.explained.evidence.count));
    json_object_del(details.root, "check"); /* they stand beside it */
    json_object_del(details.root, "bring");
    json_object_set_new(json, "check",
                        api_texts(details.explained.check.items, details.explained.check.count));
    json_object_set_new(json, "bring",
                        api_texts(details.explained.bring.items, details.explained.bring.count));
    alarm_details_close(&details);
    if (row->note)
        json_object_set_new(json, "note", json_string(row->note));
    json_object_set_new(json, "text", json_null());
    api_zone(json, api, *row->system ? fleet_find_system(api->fleet, row->system) : FLEET_NONE);
    return json;
}

/* ---- a list that is being made ---- */

/* A place in the order. */
struct place {
    int64_t raised_ms, id;
};

struct alarm_list {
    char *system; /* its id, for the fleet may change; NULL: all */
    bool all;
    int64_t since_ms;
    int64_t left;                    /* rows still to come; -1: no limit */
    struct place last;               /* of the row before; id 0: none */
    struct place open[OPEN_AT_ONCE]; /* the next ones, without `all` */
    size_t open_count, open_at;
};

static bool is_newer(const struct place *a, const struct place *b) {
    return a->raised_ms != b->raised_ms ? a->raised_ms > b->raised_ms : a->id > b->id;
}

static void free_list(void *context) {
    struct alarm_list *list = context;
    free(list->system);
    free(list);
}

/* Who takes the alarms of the list, and stops it by false. */
struct taker {
    bool (*take)(void *context, const struct record_alarm *row, const struct alarm *open);
    void *context;
};

static bool hand_out(struct alarm_list *list, const struct taker *taker,
                     const struct record_alarm *row, const struct alarm *open) {
    bool goes_on = taker->take(taker->context, row, open);
    if (list->left > 0)
        list->left--;
    return goes_on && list->left != 0;
}

/* ---- the open ones ---- */

/* Keeps the newest ones behind the last row, in order. */
static void consider(struct alarm_list *list, const struct alarm *alarm) {
    const struct place place = {alarm->raised_ms, alarm->id};
    if (!alarm_open(alarm) || (list->last.id && !is_newer(&list->last, &place)) ||
        (list->since_ms != TIMESTAMP_NONE && alarm->raised_ms < list->since_ms))
        return;
    size_t at = list->open_count;
    while (at > 0 && is_newer(&place, &list->open[at - 1]))
        at--;
    if (at == OPEN_AT_ONCE)
        return;
    size_t behind = list->open_count - at;
    if (list->open_count == OPEN_AT_ONCE)
        behind--;
    else
        list->open_count++;
    memmove(list->open + at + 1, list->open + at, behind * sizeof place);
    list->open[at] = place;
}

static void gather_open(struct alarm_list *list, struct api *api) {
    const struct alarm_book *book = pipeline_alarms(api->pipeline);
    size_t system = list->system ? fleet_find_system(api->fleet, list->system) : FLEET_NONE;
    list->open_count = list->open_at = 0;
    if (!list->system) {
        for (size_t i = alarm_book_count(book); i > 0; i--)
            consider(list, alarm_book_at(book, i - 1));
    } else if (system != FLEET_NONE) {
        for (const struct alarm *alarm = alarm_book_of_system(book, system); alarm;
             alarm = alarm->next_of_system)
            consider(list, alarm);
    }
}

static enum api_list_step step_open(struct alarm_list *list, struct api *api,
                                    const struct taker *taker) {
    const struct alarm_book *book = pipeline_alarms(api->pipeline);
    if (list->open_at == list->open_count)
        gather_open(list, api);
    for (size_t i = 0; i < ROWS_A_STEP && list->open_at < list->open_count; i++) {
        list->last = list->open[list->open_at++];
        const struct alarm *alarm = alarm_book_find(book, list->last.id);
        if (!alarm || !alarm_open(alarm))
            continue;
        const struct record_alarm row = alarm_row_of(api->fleet, alarm);
        if (!hand_out(list, taker, &row, alarm))
            return API_LIST_END;
    }
    bool was_last = list->open_at == list->open_count && list->open_count < OPEN_AT_ONCE;
    return was_last ? API_LIST_END : API_LIST_MORE;
}

/* ---- the history ---- */

struct history_step {
    struct alarm_list *list;
    struct api *api;
    const struct taker *taker;
    size_t read;
    bool over;
};

static bool stood_since(const struct record_alarm *row, int64_t since_ms) {
    return since_ms == TIMESTAMP_NONE || row->raised_ms >= since_ms ||
           row->returned_ms == TIMESTAMP_NONE || row->returned_ms >= since_ms;
}

static bool take_row(void *context, const struct record_alarm *row) {
    struct history_step *step = context;
    struct alarm_book *book = pipeline_alarms(step->api->pipeline);
    const struct alarm *open = row->open ? alarm_book_find(book, row->id) : NULL;
    step->read++;
    step->list->last = (struct place){row->raised_ms, row->id};
    if (!stood_since(row, step->list->since_ms))
        return true;
    const struct record_alarm now = open ? alarm_row_of(step->api->fleet, open) : *row;
    step->over = !hand_out(step->list, step->taker, &now, open);
    return !step->over;
}

/* `since` is asked here and not of the store, which would look through years in one go. */
static enum api_list_step step_history(struct alarm_list *list, struct api *api,
                                       const struct taker *taker) {
    struct store *store = pipeline_store(api->pipeline);
    struct history_step step = {list, api, taker, 0, false};
    const struct record_alarm_filter filter = {.system = list->system,
                                               .since_ms = TIMESTAMP_NONE,
                                               .limit = ROWS_A_STEP,
                                               .before_id = list->last.id,
                                               .before_raised_ms = list->last.raised_ms};
    if (!store || record_alarm_list(store, &filter, take_row, &step) != STORE_OK)
        return API_LIST_FAILED;
    return step.read < ROWS_A_STEP || step.over ? API_LIST_END : API_LIST_MORE;
}

static enum api_list_step step(struct alarm_list *list, struct api *api,
                               const struct taker *taker) {
    return list->all ? step_history(list, api, taker) : step_open(list, api, taker);
}

/* ---- asking for one ---- */

static bool note_place(void *context, const struct record_alarm *row) {
    *(struct place *)context = (struct place){row->raised_ms, row->id};
    return true;
}

static enum store_status find_place(const struct api *api, int64_t id, struct place *place) {
    struct store *store = pipeline_store(api->pipeline);
    const struct alarm *open = alarm_book_find(pipeline_alarms(api->pipeline), id);
    if (open)
        *place = (struct place){open->raised_ms, open->id};
    if (open)
        return STORE_OK;
    return store ? record_alarm_get(store, id, note_place, place) : STORE_FAILING;
}

static struct alarm_list *begin_list(const struct api *api, const struct api_alarm_choice *choice,
                                     const struct place *before) {
    struct alarm_list *list = calloc(1, sizeof *list);
    if (!list)
        return NULL;
    list->all = choice->all;
    list->since_ms = choice->since_ms;
    list->left = choice->limit ? choice->limit : -1;
    list->last = *before;
    if (choice->system == FLEET_NONE)
        return list;
    list->system = strdup(fleet_system_id(api->fleet, choice->system));
    if (list->system)
        return list;
    free(list);
    return NULL;
}

bool api_alarms_each(struct api *api, const struct api_alarm_choice *choice,
                     bool (*take)(void *context, const struct record_alarm *row,
                                  const struct alarm *open),
                     void *context) {
    struct place before = {0};
    const struct taker taker = {take, context};
    enum api_list_step result = API_LIST_FAILED;
    struct alarm_list *list =
        !choice->before || find_place(api, choice->before, &before) == STORE_OK
            ? begin_list(api, choice, &before)
            : NULL;
    if (!list)
        return false;
    do
        result = step(list, api, &taker);
    while (result == API_LIST_MORE);
    free_list(list);
    return result == API_LIST_END;
}

/* ---- as JSON ---- */

struct rows_of_answer {
    const struct api *api;
    struct api_list *rows;
};

static bool add_row(void *context, const struct record_alarm *row, const struct alarm *open) {
    const struct rows_of_answer *answer = context;
    api_list_add(answer->rows, open ? api_alarm_json(answer->api, open, WORDING_ENGLISH)
                                    : row_json(answer->api, row));
    return true;
}

static enum api_list_step step_answer(void *context, struct api *api, struct api_list *rows) {
    struct rows_of_answer answer = {api, rows};
    return step(context, api, &(const struct taker){add_row, &answer});
}

static bool choose_since(struct api_call *call, struct api_alarm_choice *choice) {
    const char *since = web_query(call->request, "since");
    struct time_zone *utc = time_zone_create_utc();
    const struct time_zone *zone =
        choice->system == FLEET_NONE ? utc : call->api->fleet->systems[choice->system].zone;
    bool good = !since || api_instant(call, "since", since, zone, false, &choice->since_ms);
    time_zone_destroy(utc);
    return good;
}

static bool choose(struct api_call *call, struct api_alarm_choice *choice, struct place *before) {
    const char *system = web_query(call->request, "system");
    choice->all = web_query(call->request, "all") != NULL;
    if (system && (choice->system = api_system(call, system)) == FLEET_NONE)
        return false;
    if (!choose_since(call, choice) || !api_count(call, "limit", INT32_MAX, &choice->limit) ||
        !api_count(call, "before", INT64_MAX, &choice->before))
        return false;
    enum store_status status =
        choice->before ? find_place(call->api, choice->before, before) : STORE_OK;
    if (status == STORE_NOT_FOUND)
        api_error(call, 404, "before: there is no alarm %lld; see: subslabctl alarms --all",
                  (long long)choice->before);
    else if (status != STORE_OK && api_store(call))
        api_error(call, 503, "the store can't be read: %s",
                  store_error(pipeline_store(call->api->pipeline)));
    return status == STORE_OK;
}

void api_alarms_list(struct api_call *call) {
    struct api_alarm_choice choice = {.system = FLEET_NONE, .since_ms = TIMESTAMP_NONE};
    struct place before = {0};
    static const struct api_list_source source = {step_answer, free_list};
    if (choose(call, &choice, &before))
        api_list_answer(call, &source, begin_list(call->api, &choice, &before));
}
