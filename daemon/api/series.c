/*
 * Readings in bulk: import of CSV, and pages of readings for export and charts.
 */
#include "api/routes.h"
#include "host/csv_readings.h"
#include "measure/array.h"
#include "measure/payload.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { ERRORS_SHOWN = 100, PAGE_DEFAULT = 10000, PAGE_MOST = 50000 };

/* ---- import ---- */

struct imported {
    struct pipeline_row *rows;
    size_t count;
};

struct import_count {
    json_int_t taken, same, bad;
    json_t *errors;
};

static void add_error(struct import_count *count, const char *text) {
    count->bad++;
    if (json_array_size(count->errors) < ERRORS_SHOWN)
        json_array_append_new(count->errors, json_string(text));
}

static bool keep_row(struct imported *imported, const struct csv_reading *row) {
    struct pipeline_row *rows = array_room(imported->rows, imported->count, sizeof *rows);
    if (!rows)
        return false;
    imported->rows = rows;
    rows[imported->count++] =
        (struct pipeline_row){row->point, {row->time_ms, row->value}, row->line, PIPELINE_FAILED};
    return true;
}

static void count_rows(const struct imported *imported, const char *file,
                       struct import_count *count) {
    char text[300];
    for (size_t i = 0; i < imported->count; i++) {
        const struct pipeline_row *row = &imported->rows[i];
        count->taken += row->taken == PIPELINE_NEW;
        count->same += row->taken == PIPELINE_SAME;
        if (row->taken != PIPELINE_CONFLICT)
            continue;
        snprintf(text, sizeof text, "%s:%lld: another value is stored for this time", file,
                 (long long)row->line);
        add_error(count, text);
    }
}

/* Next line without its ending; NULL at the end. */
static char *next_line(char **rest, char *end, size_t *length) {
    char *line = *rest;
    if (line >= end)
        return NULL;
    char *stop = memchr(line, '\n', (size_t)(end - line));
    *rest = stop ? stop + 1 : end;
    *length = (size_t)((stop ? stop : end) - line);
    if (*length && line[*length - 1] == '\r')
        --*length;
    return line;
}

static const char *time_refusal(const struct api *api, const struct csv_reading *row) {
    int64_t keep_ms = api->fleet->points[row->point].description->binding.keep_ms;
    if (row->time_ms > api->now_ms + PAYLOAD_FUTURE_MS)
        return "the time is in the future";
    if (row->time_ms < api->now_ms - keep_ms)
        return "older than readings are kept (store.keep_readings)";
    return NULL;
}

static bool read_line(struct api *api, struct csv_readings *rows, char *text, size_t length,
                      const char *file, int64_t line, struct imported *imported,
                      struct import_count *count) {
    struct csv_reading row = {0};
    char why[300], report[700];
    enum refusal refusal = csv_readings_read(rows, text, length, &row, why, sizeof why);
    const char *time_why = refusal == REFUSAL_NONE ? time_refusal(api, &row) : NULL;
    if (row.line == 0)
        row.line = line;
    if (refusal == REFUSAL_NONE && !time_why)
        return keep_row(imported, &row);
    snprintf(report, sizeof report, "%s:%lld: %s", file, (long long)row.line,
             time_why ? time_why : why);
    add_error(count, report);
    return true;
}

static bool read_rows(struct api_call *call, const char *file, int64_t line,
                      struct imported *imported, struct import_count *count) {
    size_t size = call->request->body_length, length = 0;
    struct csv_readings *rows = csv_readings_create(call->api->fleet);
    char why[300] = "a header line is missing", *bytes = malloc(size + 1), *rest = bytes;
    bool good = rows && bytes;
    if (good) {
        memcpy(bytes, call->request->body, size);
        bytes[size] = '\0';
        char *header = next_line(&rest, bytes + size, &length);
        if (!header || !csv_readings_header(rows, header, length, why, sizeof why)) {
            api_error(call, 400, "%s:1: %s", file, why);
            good = false;
        }
    }
    for (char *text; good && (text = next_line(&rest, bytes + size, &length)); line++)
        good = length == 0 || read_line(call->api, rows, text, length, file, line, imported, count);
    if (!good && !call->answer->status)
        api_error(call, 503, "out of memory; nothing of this part was taken");
    csv_readings_destroy(rows);
    free(bytes);
    return good;
}

void api_import(struct api_call *call) {
    const char *file = web_query(call->request, "file"), *line = web_query(call->request, "line");
    struct imported imported = {0};
    struct import_count count = {.errors = json_array()};
    if (!file)
        file = "import";
    if (read_rows(call, file, line ? strtoll(line, NULL, 10) : 2, &imported, &count)) {
        pipeline_import(call->api->pipeline, imported.rows, imported.count, call->api->now_ms);
        count_rows(&imported, file, &count);
        if (imported.count > 0)
            upkeep_history_came(call->api->upkeep, call->api->now_ms);
        if (api_commit(call))
            api_json(call, 200,
                     json_pack("{s:I,s:I,s:I,s:O}", "taken", count.taken, "same", count.same, "bad",
                               count.bad, "errors", count.errors));
    }
    json_decref(count.errors);
    free(imported.rows);
}

/* ---- readings ---- */

struct row_page {
    size_t system, first, last;        /* points */
    int64_t from_ms, to_ms, cursor_ms; /* cursor: where the first point begins */
    size_t limit;
};

static json_t *reading_json(const struct fleet *fleet, size_t point,
                            const struct reading *reading) {
    const struct point_description *description = fleet->points[point].description;
    return json_pack("{s:o,s:s,s:f,s:s}", "time", api_time(reading->time_ms), "point",
                     description->id, "value", reading->value, "unit",
                     unit_si_word(description->binding.unit->dimension));
}

/* A page goes point by point; the cursor names where the next one begins: "POINT TIME". Only the
   first point goes on from the cursor; the others begin at `from`. "damaged": a day is left out. */
static void answer_page(struct api_call *call, struct store *store, const struct row_page *page) {
    json_t *list = json_array(), *next = json_null();
    struct reading *readings = malloc(page->limit * sizeof *readings);
    size_t left = page->limit;
    uint64_t met = series_damage_met(store);
    enum store_status status = readings ? STORE_OK : STORE_OUT_OF_MEMORY;
    for (size_t point = page->first; point <= page->last && status == STORE_OK && left; point++) {
        size_t count = 0;
        int64_t from_ms = point == page->first ? page->cursor_ms : page->from_ms;
        status = series_read(store, pipeline_key(call->api->pipeline, point), from_ms, page->to_ms,
                             readings, left, &count);
        for (size_t i = 0; i < count && status == STORE_OK; i++)
            json_array_append_new(list, reading_json(call->api->fleet, point, &readings[i]));
        left -= count;
        if (left == 0)
            next = json_sprintf("%s %lld", fleet_point_id(call->api->fleet, point),
                                (long long)readings[count - 1].time_ms + 1);
    }
    free(readings);
    if (status == STORE_OK) {
        api_json(call, 200,
                 json_pack("{s:o,s:o,s:b}", "readings", list, "next", next, "damaged",
                           series_damage_met(store) != met));
        return;
    }
    json_decref(list);
    json_decref(next);
    api_error(call, 503, "the store can't be read: %s", store_error(store));
}

static bool apply_cursor(struct api_call *call, struct row_page *page) {
    const char *after = web_query(call->request, "after");
    char id[80];
    long long time_ms = 0;
    page->cursor_ms = page->from_ms;
    if (!after)
        return true;
    if (sscanf(after, "%79s %lld", id, &time_ms) == 2) {
        size_t point = fleet_find_point(call->api->fleet, page->system, id);
        if (point != FLEET_NONE && point >= page->first && point <= page->last) {
            page->first = point;
            page->cursor_ms = time_ms;
            return true;
        }
    }
    api_error(call, 400, "after: is not a cursor of this list");
    return false;
}

static bool choose(struct api_call *call, struct row_page *page) {
    const char *system = web_query(call->request, "system");
    const char *point = web_query(call->request, "point");
    int64_t limit = 0;
    page->system = system ? api_system(call, system) : FLEET_NONE;
    if (!system)
        api_error(call, 400, "system: is missing");
    if (page->system == FLEET_NONE)
        return false;
    const struct fleet_system *owner = &call->api->fleet->systems[page->system];
    page->first = owner->first_point;
    page->last = owner->first_point + owner->point_count - 1;
    if (point) {
        page->first = page->last = fleet_find_point(call->api->fleet, page->system, point);
        if (page->first == FLEET_NONE) {
            api_error(call, 404, "%s has no point \"%s\"", system, point);
            return false;
        }
    }
    if (!api_count(call, "limit", INT32_MAX, &limit))
        return false;
    page->limit = !limit ? PAGE_DEFAULT : limit > PAGE_MOST ? PAGE_MOST : (size_t)limit;
    return true;
}

void api_readings(struct api_call *call) {
    struct row_page page = {.from_ms = INT64_MIN, .to_ms = INT64_MAX};
    const char *from = web_query(call->request, "from"), *to = web_query(call->request, "to");
    struct store *store = api_store(call);
    if (!store || !choose(call, &page))
        return;
    const struct time_zone *zone = call->api->fleet->systems[page.system].zone;
    if ((from && !api_instant(call, "from", from, zone, false, &page.from_ms)) ||
        (to && !api_instant(call, "to", to, zone, false, &page.to_ms)) ||
        !apply_cursor(call, &page))
        return;
    answer_page(call, store, &page);
}
