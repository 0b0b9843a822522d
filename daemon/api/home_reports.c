#include "api/home_reports.h"

#include "api/routes.h"
#include "measure/duration.h"

#include <math.h>

enum { MOST_A_DAY = 10, LISTED_MOST = 20 };

const char home_reports_by[] = "homeowner";

bool home_reports_may(struct api *api, size_t system) {
    int64_t count = 0;
    struct store *store = pipeline_store(api->pipeline);
    return store &&
           record_home_report_count(store, fleet_system_id(api->fleet, system),
                                    api->now_ms - DURATION_DAY_MS, &count) == STORE_OK &&
           count < MOST_A_DAY;
}

/* ---- keeping and telling ---- */

static bool add(struct api *api, const struct announce_home_report *told, const char *branch) {
    const struct record_home_report row = {.system = fleet_system_id(api->fleet, told->system),
                                           .sent_ms = api->now_ms,
                                           .time_ms = told->time_ms,
                                           .kind = home_report_word(told->kind),
                                           .branch = branch,
                                           .value = told->value,
                                           .note = told->note};
    return pipeline_note(api->pipeline,
                         record_home_report_add(pipeline_store(api->pipeline), &row));
}

static enum home_kept add_and_tell(struct api *api, const struct announce_home_report *told,
                                   const char *branch) {
    if (add(api, told, branch))
        pipeline_note(api->pipeline,
                      announce_home_report(pipeline_announce(api->pipeline), told, api->now_ms));
    return HOME_KEPT;
}

/* ---- the U-tube ---- */

struct home_gauge home_gauge_of(const struct fleet *fleet, size_t system, size_t branch) {
    const struct fleet_system *owner = &fleet->systems[system];
    struct home_gauge gauge = {branch, FLEET_NONE, FLEET_NONE};
    for (size_t i = owner->first_point + owner->point_count; i-- > owner->first_point;) {
        const struct point_description *about = fleet->points[i].description;
        if (about->quantity != QUANTITY_SUCTION || about->branch != branch)
            continue;
        gauge.point = i;
        if (about->by_hand)
            gauge.by_hand = i;
    }
    if (gauge.by_hand != FLEET_NONE)
        gauge.point = gauge.by_hand;
    return gauge;
}

/* As a reading of a point that people read it is judged, so nobody need be told of it besides. */
enum home_kept home_reports_u_tube(struct api *api, size_t system, const struct home_gauge *gauge,
                                   double pa, int64_t time_ms) {
    const struct system_description *about = api->fleet->systems[system].description;
    const char *branch = about->branch_count > 1 ? about->branches[gauge->branch].id : NULL;
    const struct point_baseline *baseline = api_baseline(api, gauge->point);
    struct announce_home_report told = {.system = system,
                                        .kind = HOME_REPORT_U_TUBE,
                                        .time_ms = time_ms,
                                        .dimension = DIMENSION_PRESSURE,
                                        .value = pa,
                                        .baseline = baseline ? baseline->value : NAN};
    struct reading reading = {.time_ms = time_ms, .value = pa};
    if (!pipeline_begin(api->pipeline))
        return HOME_KEPT_NOT;
    if (gauge->by_hand == FLEET_NONE)
        return add_and_tell(api, &told, branch);
    enum pipeline_taken taken = api_take_by_hand(api, gauge->by_hand, &reading, home_reports_by);
    if (taken == PIPELINE_CONFLICT)
        return HOME_KEPT_CONFLICT;
    told.time_ms = reading.time_ms;
    if (taken != PIPELINE_FAILED)
        add(api, &told, branch);
    return HOME_KEPT;
}

enum home_kept home_reports_test(struct api *api, size_t system, struct record_radon_test *test) {
    const struct announce_home_report told = {.system = system,
                                              .kind = HOME_REPORT_RADON_TEST,
                                              .time_ms = test->to_ms,
                                              .dimension = DIMENSION_RADON,
                                              .value = test->value_bq_m3,
                                              .baseline = NAN};
    if (radon_test_stands(api, system, test))
        return HOME_KEPT;
    if (!pipeline_begin(api->pipeline))
        return HOME_KEPT_NOT;
    test->by = home_reports_by;
    return pipeline_note(api->pipeline, radon_test_keep(api, system, test))
               ? add_and_tell(api, &told, NULL)
               : HOME_KEPT_NOT;
}

enum home_kept home_reports_fan(struct api *api, size_t system, enum home_report kind,
                                const char *note) {
    const struct announce_home_report told = {.system = system,
                                              .kind = kind,
                                              .time_ms = api->now_ms,
                                              .value = NAN,
                                              .baseline = NAN,
                                              .note = note && *note ? note : NULL};
    return pipeline_begin(api->pipeline) ? add_and_tell(api, &told, NULL) : HOME_KEPT_NOT;
}

/* ---- the list ---- */

static bool add_row(void *context, const struct record_home_report *report) {
    enum home_report kind;
    const char *quantity = NULL, *unit = NULL;
    if (home_report_find(report->kind, &kind) && isfinite(report->value)) {
        bool tube = kind == HOME_REPORT_U_TUBE;
        quantity = quantity_info(tube ? QUANTITY_SUCTION : QUANTITY_RADON)->name;
        unit = unit_si_word(tube ? DIMENSION_PRESSURE : DIMENSION_RADON);
    }
    json_array_append_new(
        context, json_pack("{s:s, s:o, s:o, s:s?, s:o, s:s?, s:s?, s:s?}", "kind", report->kind,
                           "sent", api_time(report->sent_ms), "time", api_time(report->time_ms),
                           "branch", report->branch, "value", api_number(report->value), "unit",
                           unit, "quantity", quantity, "note", report->note));
    return true;
}

json_t *home_reports_json(struct api *api, size_t system) {
    json_t *list = json_array();
    struct store *store = pipeline_store(api->pipeline);
    if (store)
        record_home_report_newest(store, fleet_system_id(api->fleet, system), LISTED_MOST, add_row,
                                  list);
    return list;
}
