/*
 * The form of a commissioning that was sent: as a record, or what is wrong with it.
 */
#include "api/commission.h"
#include "complaints.h"
#include "host/log.h"
#include "page/commission_private.h"
#include "page/forms.h"
#include "page/known.h"
#include "page/view_words.h"
#include "settings/checked_text.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- what was typed, as a record ---- */

static const char *typed(const struct commission_form *form, const char *name) {
    return page_form_value(form->entry.typed, name);
}

/* What was typed above for the only point of a quantity, or the test hole of that name; "". */
static const char *measured_above(const struct commission_form *form, enum quantity quantity,
                                  const char *hole) {
    const struct fleet_system *owner = &form->view->api->fleet->systems[form->system];
    const char *found = "";
    char name[NAME_SIZE];
    for (size_t i = 0; i < owner->point_count && i < POINTS_MOST; i++) {
        const struct point_description *about = &owner->description->points[i];
        if (about->quantity != quantity || (hole && strcmp(about->id, hole) != 0))
            continue;
        if (*found)
            return "";
        snprintf(name, sizeof name, "value-%s", about->id);
        found = typed(form, name);
    }
    return found;
}

/* A field of the table; the first setting is that of the values above, where it is left empty. */
static const char *measured(const struct commission_form *form, size_t row, const char *field,
                            enum quantity quantity, const char *hole) {
    const char *text = typed(form, field);
    return *text || row > 0 ? text : measured_above(form, quantity, hole);
}

/* A row of the form; NULL when nothing is typed in it. */
static json_t *setting_json(const struct commission_form *form, size_t row) {
    const struct unit *pa = unit_shown(DIMENSION_PRESSURE, UNIT_SYSTEM_SI);
    json_t *json = json_object(), *holes = json_object();
    char name[NAME_SIZE];
    for (size_t hole = 0; hole < HOLES_SHOWN; hole++)
        page_form_set_value(holes, form->holes[hole],
                            measured(form, row, commission_field(name, row, hole), QUANTITY_FIELD,
                                     form->holes[hole]),
                            pa);
    page_form_set_value(
        json, "suction",
        measured(form, row, commission_cell(name, "suction", row), QUANTITY_SUCTION, NULL),
        unit_shown(DIMENSION_PRESSURE, form->view->units));
    page_form_set_value(
        json, "flow",
        measured(form, row, commission_cell(name, "flow", row), QUANTITY_AIRFLOW, NULL),
        unit_shown(DIMENSION_FLOW, form->view->units));
    if (json_object_size(holes))
        json_object_set(json, "holes", holes);
    json_decref(holes);
    if (json_object_size(json)) {
        page_form_set(json, "setting", typed(form, commission_cell(name, "setting", row)));
        return json;
    }
    json_decref(json);
    return NULL;
}

/* The values above alone are no table. */
static bool has_table(const struct commission_form *form) {
    static const char *const parts[] = {"setting", "suction", "flow"};
    char name[NAME_SIZE];
    for (size_t row = 0; row < SETTINGS_SHOWN; row++) {
        for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++)
            if (*typed(form, commission_cell(name, parts[i], row)))
                return true;
        for (size_t hole = 0; hole < HOLES_SHOWN; hole++)
            if (*typed(form, commission_field(name, row, hole)))
                return true;
    }
    return false;
}

static json_t *settings_json(struct commission_form *form) {
    json_t *list = json_array();
    size_t rows = has_table(form) ? SETTINGS_SHOWN : 0;
    for (size_t row = 0; row < rows; row++) {
        json_t *setting = setting_json(form, row);
        if (!setting)
            continue;
        form->rows[form->row_count++] = row;
        json_array_append_new(list, setting);
    }
    return list;
}

static char *record_text(struct commission_form *form) {
    static const char *const fields[] = {"instruments", "next_calibration", "back_draft", "notes"};
    const struct page_view *view = form->view;
    json_t *points = entry_values(&form->entry, form->system), *settings = settings_json(form),
           *changed = page_form_changes(form->entry.typed);
    json_t *json =
        json_pack("{s:o,s:s}", "date", api_time(view->api->now_ms), "by", view->session->account);
    for (size_t i = 0; i < sizeof fields / sizeof fields[0]; i++)
        page_form_set(json, fields[i], typed(form, fields[i]));
    page_form_set_value(json, "radon_before", typed(form, "radon_before"),
                        unit_shown(DIMENSION_RADON, view->units));
    json_object_set(json, "points", points);
    if (json_array_size(settings))
        json_object_set(json, "test_holes", settings);
    if (json_array_size(changed))
        json_object_set(json, "changed", changed);
    char *text = json_dumps(json, JSON_COMPACT);
    json_decref(points);
    json_decref(settings);
    json_decref(changed);
    json_decref(json);
    return text;
}

/* ---- what is wrong ---- */

/* The field of "test_holes[2].flow"; rows left empty were not sent along. */
static size_t find_row(const struct commission_form *form, const char *key, char name[NAME_SIZE]) {
    const char *bracket = strchr(key, '[');
    size_t number = bracket ? (size_t)strtoul(bracket + 1, NULL, 10) : 0;
    const char *part = strstr(key, "].");
    size_t row = number >= 1 && number <= form->row_count ? form->rows[number - 1] : 0;
    bool own = part && (strcmp(part + 2, "flow") == 0 || strcmp(part + 2, "setting") == 0);
    commission_cell(name, own ? part + 2 : "suction", row);
    return row;
}

/* The same of "test_holes[2].holes.NAME": a name may hold what else ends a key. Answers where the
   reason begins. */
static const char *find_hole(const struct commission_form *form, const char *line, size_t row,
                             char name[NAME_SIZE]) {
    for (size_t hole = 0; hole < HOLES_SHOWN; hole++) {
        char written[NAME_SIZE + 16];
        snprintf(written, sizeof written, "].holes.%s: ", form->holes[hole]);
        const char *at = strstr(line, written);
        if (!at)
            continue;
        commission_field(name, row, hole);
        return at + strlen(written);
    }
    return NULL;
}

/* Puts an error of the record beside its field, else above all. */
static void complain(void *context, const char *line) {
    struct commission_form *form = context;
    static const char *const own[] = {"instruments", "next_calibration", "back_draft", "notes",
                                      "radon_before"};
    char key[ENTRY_KEY_SIZE], name[NAME_SIZE];
    const char *what = entry_error_key(line, key);
    entry_record_field(key, name);
    if (strncmp(key, "test_holes", 10) == 0) {
        const char *why = find_hole(form, line, find_row(form, key, name), name);
        what = why ? why : what;
    }
    if (*name)
        entry_wrong(&form->entry, name, what);
    else
        entry_complain(&form->entry, line, own, sizeof own / sizeof own[0]);
}

/* Names of the holes; each once, or what was measured there would be lost. */
static void read_holes(struct commission_form *form) {
    char name[NAME_SIZE];
    for (size_t i = 0; i < HOLES_SHOWN; i++) {
        const char *text = typed(form, commission_cell(name, "hole", i));
        if (*text)
            snprintf(form->holes[i], NAME_SIZE, "%.70s", text);
        else
            snprintf(form->holes[i], NAME_SIZE, "hole %zu", i + 1);
        for (size_t k = 0; k < i; k++)
            if (strcmp(form->holes[i], form->holes[k]) == 0)
                entry_wrong(&form->entry, name, page_words(form->view, PAGE_SAME_HOLE));
        const char *problem = checked_text_line(form->holes[i]);
        if (problem)
            entry_wrong(&form->entry, name, problem);
    }
}

/* ---- keeping it ---- */

static void keep(struct commission_form *form) {
    struct page_view *view = form->view;
    struct web_answer answer = {0};
    struct api_call call = {.api = view->api, .request = view->request, .answer = &answer};
    char *text = record_text(form);
    if (api_clock_doubted(view->api))
        api_error(&call, 503, SAY_SET_CLOCK_FIRST, view->api->clock_why);
    else if (!text)
        api_error(&call, 400, "%s", page_text(WORDING_ENGLISH, PAGE_FORM_NOT_UTF8));
    else
        commission_text(&call, form->system, "form", text, strlen(text));
    if (answer.status == 200) {
        log_line(LOG_LEVEL_NOTICE, "record", "%s commissioned %s on the page",
                 view->session->account, fleet_system_id(view->api->fleet, form->system));
        page_redirect_to_system(view, form->system);
    } else {
        entry_each_refusal(view, &answer, complain, form);
        commission_show(form, answer.status);
    }
    free(answer.body);
    free(text);
}

void page_commission_take(struct page_view *view, size_t system, const struct page_form *typed) {
    struct commission_form form = {
        .view = view, .system = system, .entry = {.view = view, .typed = typed}};
    entry_take_units(&form.entry);
    read_holes(&form);
    if (!known_check(&form.entry, system, KNOWN_RECORDS, PAGE_RECORD_MEANWHILE))
        commission_show(&form, 409);
    else if (form.entry.wrong_count)
        commission_show(&form, 400);
    else
        keep(&form);
}
