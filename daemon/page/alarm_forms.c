#include "page/forms.h"

#include "page/entry.h"
#include "page/page_private.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* One form: of which alarm, and whether it is that of one system's sheet. */
struct alarm_form {
    struct entry entry;
    const char *id;
    size_t only;
};

static void begin_form(const struct alarm_form *form, const char *action) {
    struct page_view *view = form->entry.view;
    struct html_address address = page_path(view, "/alarms/");
    html_address_part(&address, form->id);
    html_address_path(&address, "/");
    html_address_path(&address, action);
    page_add_choices(view, &address);
    html_open(&view->html, "form", "method", "post", "action", address.text, "class", "do", NULL);
    page_token(view);
    if (form->only != FLEET_NONE)
        html_hidden(&view->html, "system", fleet_system_id(view->api->fleet, form->only));
}

static void write_acknowledge(struct alarm_form *form) {
    struct page_view *view = form->entry.view;
    const struct entry_field note = {"note", page_words(view, PAGE_NOTE), .most = "300"};
    begin_form(form, "acknowledge");
    entry_input(&form->entry, &note);
    page_end_form(view, PAGE_ACKNOWLEDGE);
}

static void write_shelve(struct alarm_form *form) {
    struct page_view *view = form->entry.view;
    static const char *const spans[] = {"2 h", "1 d", "3 d", "7 d", "30 d"};
    const char *const texts[] = {page_words(view, PAGE_HOURS_2), page_words(view, PAGE_DAY_1),
                                 page_words(view, PAGE_DAYS_3), page_words(view, PAGE_DAYS_7),
                                 page_words(view, PAGE_DAYS_30)};
    begin_form(form, "shelve");
    entry_for_a_while(&form->entry, "3 d", spans, texts, sizeof spans / sizeof spans[0]);
    page_end_form(view, PAGE_SHELVE);
}

static void write_unshelve(struct alarm_form *form) {
    begin_form(form, "unshelve");
    page_end_form(form->entry.view, PAGE_UNSHELVE);
}

void page_alarm_forms(struct page_view *view, const struct alarm *alarm, size_t only) {
    char id[32], behind[40];
    struct alarm_form form = {.entry = {.view = view, .behind = behind}, .id = id, .only = only};
    enum alarm_state state = alarm_state(alarm);
    if (!view->session)
        return;
    snprintf(id, sizeof id, "%lld", (long long)alarm->id);
    snprintf(behind, sizeof behind, "-%s", id);
    html_markup(&view->html, "<div class=\"actions\">");
    if (state == ALARM_UNACKNOWLEDGED || state == ALARM_RETURNED_UNACKNOWLEDGED)
        write_acknowledge(&form);
    if (alarm->shelved.until_ms != TIMESTAMP_NONE) {
        write_unshelve(&form);
    } else {
        page_open_details(view, PAGE_SHELVE);
        write_shelve(&form);
        html_markup(&view->html, "</details>");
    }
    html_markup(&view->html, "</div>");
}

/* ---- what was typed ---- */

static const char *const typed_fields[] = {"until", "why", "note"};

/* By the last part of the path. */
static const struct action {
    const char *word;
    enum page_text title;
    void (*write)(struct alarm_form *form);
    size_t needed; /* so many of typed_fields */
} actions[] = {{"acknowledge", PAGE_ACKNOWLEDGE, write_acknowledge, 0},
               {"shelve", PAGE_SHELVE, write_shelve, 2},
               {"unshelve", PAGE_UNSHELVE, write_unshelve, 0}};

static const struct action *action_of(const struct page_view *view) {
    const struct action *action = actions;
    while (strcmp(action->word, view->parts[2]) != 0)
        action++;
    return action;
}

/* Which alarm it is about: "Suction low: 12 Birch Lane". */
static void write_alarm(const struct alarm_form *form) {
    struct page_view *view = form->entry.view;
    const struct alarm *alarm =
        alarm_book_find(pipeline_alarms(view->api->pipeline), strtoll(form->id, NULL, 10));
    if (!alarm)
        return;
    html_markup(&view->html, "<p>");
    html_text(&view->html, page_condition(view, alarm->condition));
    if (alarm->system != FLEET_NONE)
        html_format(&view->html, ": %s",
                    view->api->fleet->systems[alarm->system].description->name);
    html_markup(&view->html, "</p>");
}

void page_alarm_take(struct page_view *view, const struct page_form *typed) {
    struct alarm_form form = {
        .entry = {.view = view, .typed = typed},
        .id = view->parts[1],
        .only = fleet_find_system(view->api->fleet, page_form_value(typed, "system"))};
    const struct action *action = action_of(view);
    int status = page_change_typed(&form.entry, api_alarm_change, typed_fields,
                                   sizeof typed_fields / sizeof typed_fields[0], action->needed);
    if (status == 200) {
        struct html_address back = form.only == FLEET_NONE
                                       ? page_address(view, "/alarms")
                                       : page_system_address(view, form.only, "");
        page_redirect(view, &back);
        return;
    }
    entry_begin_again(&form.entry, form.only, action->title);
    write_alarm(&form);
    action->write(&form);
    entry_end_again(&form.entry, form.only, status);
}
