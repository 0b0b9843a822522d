#include "page/forms.h"

#include "api/routes.h"
#include "page/entry.h"
#include "page/known.h"
#include "page/page_private.h"
#include "page/view_text.h"
#include "page/view_words.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { NAME_SIZE = ENTRY_NAME_SIZE, BRANCHES_SHOWN = BRANCHES_MAX };

struct visit_form {
    struct page_view *view;
    size_t system;
    struct entry entry;
};

/* ---- the form ---- */

static void write_said(struct visit_form *form) {
    struct page_view *view = form->view;
    char today[PAGE_TEXT_SIZE];
    page_date_text(today, view->api->now_ms, page_zone(view, form->system));
    const struct entry_field on = {"on", page_words(view, PAGE_DAY), .type = "date",
                                   .otherwise = today, .needed = true};
    const struct entry_field texts[] = {
        {"found", page_words(view, PAGE_FOUND), .most = "2000", .needed = true},
        {"did", page_words(view, PAGE_DONE), .most = "2000", .needed = true}};
    entry_input(&form->entry, &on);
    for (size_t i = 0; i < 2; i++)
        entry_text(&form->entry, &texts[i]);
}

static void write_measured(struct visit_form *form) {
    struct page_view *view = form->view;
    const struct fleet_system *owner = &view->api->fleet->systems[form->system];
    html_markup(&view->html, "<fieldset>");
    page_element(view, "legend", PAGE_MEASURED_BY_HAND);
    for (size_t i = 0; i < owner->point_count; i++) {
        char name[NAME_SIZE], label[700];
        size_t point = owner->first_point + i;
        enum unit_system kept = page_units_of_point(view, point);
        snprintf(name, sizeof name, "value-%s", owner->description->points[i].id);
        snprintf(label, sizeof label, "%s, %s", owner->description->points[i].name,
                 page_unit(view, point)->spelling);
        view->units = kept;
        const struct entry_field field = {name, label, .most = "40"};
        entry_input(&form->entry, &field);
    }
    const struct entry_field normal = {.name = "new_baseline",
                                       .label = page_words(view, PAGE_NEW_NORMAL)};
    entry_box(&form->entry, &normal);
    html_markup(&view->html, "</fieldset>");
    entry_changes(&form->entry, PAGE_WHAT_CHANGED);
}

static void write_riser(struct visit_form *form) {
    const struct system_description *about =
        form->view->api->fleet->systems[form->system].description;
    const char *words[BRANCHES_SHOWN + 1] = {""};
    for (size_t i = 0; i < about->branch_count; i++)
        words[i + 1] = about->branches[i].id;
    const struct entry_field field = {.name = "fan-branch",
                                      .label = page_words(form->view, PAGE_RISER)};
    if (about->branch_count > 1)
        entry_select(&form->entry, &field, words, words, about->branch_count + 1);
}

static void write_fan(struct visit_form *form) {
    struct page_view *view = form->view;
    static const char *const whys[] = {"", "failed", "worn", "other"};
    const char *const why_texts[] = {"", page_words(view, PAGE_FAN_FAILED),
                                     page_words(view, PAGE_FAN_WORN),
                                     page_words(view, PAGE_FAN_OTHER)};
    const struct entry_field serial = {"fan-serial", page_words(view, PAGE_FAN_SERIAL),
                                       .most = "200"},
                             warranty = {"fan-warranty_until",
                                         page_words(view, PAGE_WARRANTY_UNTIL), .type = "date"},
                             why = {.name = "fan-why", .label = page_words(view, PAGE_FAN_WHY_OUT)};
    html_markup(&view->html, "<fieldset>");
    page_element(view, "legend", PAGE_NEW_FAN);
    write_riser(form);
    entry_fan_model(&form->entry, "fan-model");
    entry_input(&form->entry, &serial);
    entry_input(&form->entry, &warranty);
    entry_select(&form->entry, &why, whys, why_texts, 4);
    html_markup(&view->html, "</fieldset>");
}

static void write_form(struct visit_form *form) {
    struct page_view *view = form->view;
    const struct entry_field calibration = {
        "next_calibration", page_words(view, PAGE_NEXT_CALIBRATION), .type = "date"};
    page_begin_entry(view, form->system, "/visit-done");
    known_write(view, form->system, KNOWN_VISITS);
    known_write(view, form->system, KNOWN_RECORDS);
    entry_units(&form->entry);
    write_said(form);
    write_measured(form);
    write_fan(form);
    entry_input(&form->entry, &calibration);
    page_end_form(view, PAGE_WRITE_DOWN);
}

void page_visit_form(struct page_view *view, size_t system) {
    struct visit_form form = {.view = view, .system = system, .entry.view = view};
    html_markup(&view->html, "<details id=\"visit-done\">");
    page_element(view, "summary", PAGE_WRITE_VISIT);
    write_form(&form);
    html_markup(&view->html, "</details>");
}

static void show_again(struct visit_form *form, int status) {
    entry_begin_again(&form->entry, form->system, PAGE_WRITE_VISIT);
    write_form(form);
    entry_end_again(&form->entry, form->system, status);
}

/* ---- what was typed ---- */

static const char *typed(const struct visit_form *form, const char *name) {
    return page_form_value(form->entry.typed, name);
}

/* The fan that was put in; NULL where nothing is typed of one. */
static json_t *fan_json(const struct visit_form *form) {
    static const char *const keys[] = {"branch", "model", "serial", "warranty_until", "why"};
    json_t *fan = json_object();
    for (size_t i = 0; i < sizeof keys / sizeof keys[0]; i++) {
        char name[NAME_SIZE];
        snprintf(name, sizeof name, "fan-%s", keys[i]);
        page_form_set(fan, keys[i], typed(form, name));
    }
    if (json_object_size(fan)) {
        page_form_set(fan, "installed", typed(form, "on"));
        return json_pack("[o]", fan);
    }
    json_decref(fan);
    return NULL;
}

static json_t *visit_json(const struct visit_form *form) {
    static const char *const texts[] = {"on", "found", "did", "next_calibration"};
    json_t *body = json_pack("{s:o,s:o}", "values", entry_values(&form->entry, form->system),
                             "changed", page_form_changes(form->entry.typed));
    json_t *fan = fan_json(form);
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++)
        page_form_set(body, texts[i], typed(form, texts[i]));
    if (*typed(form, "new_baseline"))
        json_object_set_new(body, "new_baseline", json_true());
    if (fan)
        json_object_set_new(body, "equipment", fan);
    return body;
}

/* ---- keeping it, or saying why not ---- */

/* Puts an error of the API, or of a record, beside its field, else above all. */
static void complain(void *context, const char *line) {
    static const char *const own[] = {"on", "found", "did", "next_calibration", "new_baseline"};
    struct visit_form *form = context;
    char key[ENTRY_KEY_SIZE], name[NAME_SIZE];
    const char *what = entry_error_key(line, key), *part = strrchr(key, '.');
    entry_record_field(key, name);
    if (part && strncmp(key, "equipment[", 10) == 0)
        snprintf(name, sizeof name, "fan-%.70s", part + 1);
    if (*name)
        entry_wrong(&form->entry, name, what);
    else
        entry_complain(&form->entry, line, own, sizeof own / sizeof own[0]);
}

static void keep(struct visit_form *form) {
    struct page_view *view = form->view;
    struct web_answer answer = {0};
    if (page_change(view, api_visit_done, visit_json(form), &answer)) {
        page_redirect_to_system(view, form->system);
    } else {
        entry_each_refusal(view, &answer, complain, form);
        show_again(form, answer.status);
    }
    free(answer.body);
}

void page_visit_take(struct page_view *view, size_t system, const struct page_form *typed_form) {
    static const char *const needed[] = {"on", "found", "did"};
    struct visit_form form = {
        .view = view, .system = system, .entry = {.view = view, .typed = typed_form}};
    entry_take_units(&form.entry);
    if (!known_check(&form.entry, system, KNOWN_VISITS, PAGE_WRITTEN_MEANWHILE) ||
        !known_check(&form.entry, system, KNOWN_RECORDS, PAGE_WRITTEN_MEANWHILE)) {
        show_again(&form, 409);
    } else if (!entry_has(&form.entry, needed, sizeof needed / sizeof needed[0])) {
        show_again(&form, 400);
    } else {
        keep(&form);
    }
}
