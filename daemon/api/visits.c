/*
 * Visits as JSON and as a calendar: of one system, of all, and those on record.
 */
#include "api/visits.h"

#include "api/list.h"
#include "api/replaced.h"
#include "api/visit_queue.h"
#include "words/calendar.h"
#include "words/wording_texts.h"

#include <stdlib.h>
#include <string.h>

/* ---- one ---- */

static json_t *reasons_json(const struct visit *visit) {
    json_t *list = json_array();
    for (size_t i = 0; i < visit->reason_count; i++)
        json_array_append_new(list, json_pack("{s:s, s:s}", "condition",
                                              condition_info(visit->reasons[i].condition)->name,
                                              "text", visit->reasons[i].text));
    return list;
}

static json_t *baseline_json(const struct visit *visit) {
    json_t *object = json_object();
    for (size_t i = 0; i < visit->baseline_count; i++)
        json_object_set_new(object, visit->baseline[i].point,
                            json_pack("{s:o, s:s}", "value", api_number(visit->baseline[i].value),
                                      "unit", unit_si_word(visit->baseline[i].dimension)));
    return object;
}

static json_t *visit_json(struct api *api, const struct planned_visit *plan) {
    const struct visit *visit = planned_visit_of(plan);
    json_t *json = json_pack(
        "{s:s, s:s, s:s, s:s?, s:o, s:o, s:o, s:o, s:s, s:o, s:o, s:o, s:o}", "id", visit->id,
        "system", visit->system, "name", visit->name, "address", visit->address, "reasons",
        reasons_json(visit), "due", api_time(visit->due_ms), "earliest",
        api_time(visit->earliest_ms), "latest", api_time(visit->latest_ms), "priority",
        priority_word(visit->priority), "check", api_texts(visit->check, visit->check_count),
        "bring", api_texts(visit->bring, visit->bring_count), "baseline", baseline_json(visit),
        "last_visit", api_visits_last(api, planned_visit_system(plan)));
    api_zone(json, api, planned_visit_system(plan));
    return json;
}

/* English, and the fleet's units. */
static struct wording_reader usual_reader(const struct api *api) {
    return (struct wording_reader){WORDING_ENGLISH, api->fleet->settings->units};
}

json_t *api_visits_of_system(struct api *api, size_t system, size_t language) {
    bool failed = false;
    struct wording_reader reader = usual_reader(api);
    reader.language = language;
    struct planned_visit *plan = planned_visit_make(api, system, reader, &failed);
    json_t *list = json_array();
    if (plan)
        json_array_append_new(list, visit_json(api, plan));
    planned_visit_free(plan);
    return list;
}

int64_t api_visits_due_ms(const struct api *api, size_t system) {
    struct visit_place place;
    bool failed = false;
    return planned_visit_place(api, system, &place, &failed) ? place.due_ms : TIMESTAMP_NONE;
}

/* ---- all ---- */

struct visit_list {
    struct visit_queue *queue;
    int64_t left; /* visits still to come; -1: no limit */
    struct wording_reader reader;
    bool as_calendar, begun;
};

static void free_list(void *context) {
    struct visit_list *list = context;
    visit_queue_destroy(list->queue);
    free(list);
}

static void add_visit(const struct visit_list *list, struct api *api, struct api_list *rows,
                      const struct planned_visit *plan) {
    if (list->as_calendar)
        calendar_add_visit(api_list_text(rows), planned_visit_of(plan),
                           api->fleet->settings->broker.client_id, api->now_ms);
    else
        api_list_add(rows, visit_json(api, plan));
}

/* One visit a step. */
static enum api_list_step step_visits(struct visit_list *list, struct api *api,
                                      struct api_list *rows) {
    bool failed = false;
    enum visit_queue_state state = visit_queue_place(list->queue, api);
    if (state == VISIT_QUEUE_PLACING)
        return API_LIST_MORE;
    struct planned_visit *plan = state == VISIT_QUEUE_IN_ORDER && list->left != 0
                                     ? visit_queue_take(list->queue, api, &failed)
                                     : NULL;
    if (plan)
        add_visit(list, api, rows, plan);
    if (plan && list->left > 0)
        list->left--;
    planned_visit_free(plan);
    if (state == VISIT_QUEUE_FAILED || failed)
        return API_LIST_FAILED;
    return plan && list->left != 0 ? API_LIST_MORE : API_LIST_END;
}

static enum api_list_step step_list(void *context, struct api *api, struct api_list *rows) {
    struct visit_list *list = context;
    if (list->as_calendar && !list->begun)
        calendar_begin(api_list_text(rows),
                       wording_languages[list->reader.language].texts->calendar.name);
    list->begun = true;
    enum api_list_step step = step_visits(list, api, rows);
    if (list->as_calendar && step == API_LIST_END)
        calendar_end(api_list_text(rows));
    return step;
}

static const struct api_list_source visit_source = {step_list, free_list};

static struct visit_list *begin_list(const struct visit_place *behind, int64_t limit,
                                     struct wording_reader reader, bool as_calendar) {
    struct visit_list *list = calloc(1, sizeof *list);
    struct visit_queue *queue = list ? visit_queue_create(behind, reader) : NULL;
    if (queue) {
        *list = (struct visit_list){.queue = queue,
                                    .left = limit ? limit : -1,
                                    .reader = reader,
                                    .as_calendar = as_calendar};
        return list;
    }
    free(list);
    return NULL;
}

/* The system of a visit's id, "SYSTEM-first" or "SYSTEM-after-SECONDS" (visit.h). */
static size_t system_of(const struct fleet *fleet, const char *id) {
    static const char first[] = "-first", after[] = "-after-";
    char system[VISIT_ID_BYTES];
    size_t length = strlen(id), cut = length;
    if (length >= strlen(first) && strcmp(id + length - strlen(first), first) == 0)
        cut = length - strlen(first);
    else
        for (const char *at = id; (at = strstr(at, after)); at++)
            cut = (size_t)(at - id);
    if (cut == length || cut >= sizeof system)
        return FLEET_NONE;
    memcpy(system, id, cut);
    system[cut] = '\0';
    return fleet_find_system(fleet, system);
}

/* Where the visit of this id stands; false when there is none such. */
static bool find_place(const struct api *api, const char *id, struct visit_place *place) {
    bool failed = false;
    size_t system = system_of(api->fleet, id);
    struct planned_visit *plan =
        system == FLEET_NONE ? NULL : planned_visit_make(api, system, usual_reader(api), &failed);
    bool found = plan && strcmp(planned_visit_of(plan)->id, id) == 0;
    if (found)
        *place = visit_place_of(planned_visit_of(plan));
    planned_visit_free(plan);
    return found;
}

static bool read_reader(struct api_call *call, struct wording_reader *reader) {
    *reader = usual_reader(call->api);
    return api_language(call, &reader->language);
}

void api_visits_list(struct api_call *call) {
    struct wording_reader reader;
    const char *before = web_query(call->request, "before");
    struct visit_place place;
    int64_t limit = 0;
    if (!api_store(call) || !api_count(call, "limit", INT32_MAX, &limit) ||
        !read_reader(call, &reader))
        return;
    if (before && !find_place(call->api, before, &place))
        api_error(call, 404, "before: there is no visit \"%s\" now; see: subslabctl visits",
                  before);
    else
        api_list_answer(call, &visit_source,
                        begin_list(before ? &place : NULL, limit, reader, false));
}

void api_visits_calendar(struct api_call *call) {
    struct wording_reader reader;
    if (api_store(call) && read_reader(call, &reader))
        api_list_answer_text(call, "text/calendar; charset=utf-8", &visit_source,
                             begin_list(NULL, 0, reader, true));
}

/* ---- visits on record ---- */

struct past {
    const struct api *api;
    size_t system;
    json_t *list;
};

/* What stood there before each fan that was put in. */
static void add_replaced(const struct past *past, const struct record_visit *visit, json_t *fans) {
    json_t *fan;
    size_t i;
    json_array_foreach(fans, i, fan) {
        struct replaced_fan before;
        if (replaced_fan(past->api, past->system, fan, visit->on_ms, &before))
            json_object_set_new(
                fan, "replaced",
                json_pack("{s:s?, s:s?}", "model", before.model, "serial", before.serial));
    }
}

static bool add_record(void *context, const struct record_visit *visit) {
    const struct past *past = context;
    json_t *json = json_pack("{s:o, s:s?, s:s?, s:s?}", "on", api_time(visit->on_ms), "by",
                             visit->by, "found", visit->found, "did", visit->did);
    json_t *facts = visit->text ? json_loads(visit->text, 0, NULL) : NULL;
    add_replaced(past, visit, json_object_get(facts, "equipment"));
    if (json_is_object(facts))
        json_object_set(json, "facts", facts);
    json_decref(facts);
    json_array_append_new(past->list, json);
    return true;
}

static json_t *records_json(struct api *api, size_t system, enum record_order order,
                            bool (*add)(void *context, const struct record_visit *visit)) {
    struct past past = {api, system, json_array()};
    struct store *store = pipeline_store(api->pipeline);
    if (store)
        record_visit_list(store, fleet_system_id(api->fleet, system), order, add, &past);
    return past.list;
}

json_t *api_visits_past(struct api *api, size_t system) {
    return records_json(api, system, RECORD_OLDEST_FIRST, add_record);
}

static bool add_one(void *context, const struct record_visit *visit) {
    add_record(context, visit);
    return false;
}

json_t *api_visits_last(struct api *api, size_t system) {
    json_t *list = records_json(api, system, RECORD_NEWEST_FIRST, add_one);
    json_t *last = json_array_size(list) ? json_incref(json_array_get(list, 0)) : json_null();
    json_decref(list);
    return last;
}
