#include "page/service_form.h"

#include "page/entry.h"
#include "page/page_private.h"

#include <stdlib.h>
#include <string.h>

bool page_out_of_service(const struct page_view *view, size_t system) {
    return monitor_out_of_service_until(pipeline_monitor(view->api->pipeline), system) !=
           TIMESTAMP_NONE;
}

static void write_out(struct entry *entry, size_t system) {
    struct page_view *view = entry->view;
    static const char *const spans[] = {"1 d", "7 d", "30 d"};
    const char *const texts[] = {page_words(view, PAGE_DAY_1), page_words(view, PAGE_DAYS_7),
                                 page_words(view, PAGE_DAYS_30)};
    const struct entry_field until = {.name = "until",
                                      .label = page_words(view, PAGE_FOR),
                                      .otherwise = "1 d",
                                      .needed = true},
                             why = {.name = "why",
                                    .label = page_words(view, PAGE_WHY),
                                    .most = "300",
                                    .needed = true};
    page_begin_entry(view, system, "/out-of-service");
    page_element(view, "p", PAGE_TAKE_OUT_MEANS);
    entry_select(entry, &until, spans, texts, sizeof spans / sizeof spans[0]);
    entry_input(entry, &why);
    page_end_form(view, PAGE_TAKE_OUT);
}

static void write_return(struct entry *entry, size_t system) {
    page_begin_form(entry->view, system, "/return-to-service");
    page_end_form(entry->view, PAGE_RETURN_TO_SERVICE);
}

void page_service_form(struct page_view *view, size_t system) {
    struct entry entry = {.view = view};
    if (page_out_of_service(view, system)) {
        write_return(&entry, system);
        return;
    }
    page_open_details(view, PAGE_TAKE_OUT);
    write_out(&entry, system);
    html_markup(&view->html, "</details>");
}

/* ---- what was typed ---- */

static const char *const out_fields[] = {"until", "why"};

static void go_out(struct api_call *call) {
    api_service_change(call, true);
}

static void come_back(struct api_call *call) {
    api_service_change(call, false);
}

static bool change(struct entry *entry, bool out, int *status) {
    struct web_answer answer = {0};
    json_t *body = json_object();
    for (size_t i = 0; out && i < 2; i++)
        page_form_set(body, out_fields[i], page_form_value(entry->typed, out_fields[i]));
    bool done = page_change(entry->view, out ? go_out : come_back, body, &answer);
    if (!done)
        entry_refused(entry, &answer, out_fields, 2);
    *status = answer.status;
    free(answer.body);
    return done;
}

void page_service_take(struct page_view *view, size_t system, const struct page_form *typed) {
    struct entry entry = {.view = view, .typed = typed};
    struct html_address back = page_system_address(view, system, "");
    bool out = strcmp(view->parts[2], "out-of-service") == 0;
    int status = 400;
    if (entry_has(&entry, out_fields, out ? 2 : 0) && change(&entry, out, &status)) {
        page_redirect(view, &back);
        return;
    }
    entry_begin_again(&entry, system, out ? PAGE_TAKE_OUT : PAGE_RETURN_TO_SERVICE);
    if (out)
        write_out(&entry, system);
    else
        write_return(&entry, system);
    entry_end_again(&entry, system, status);
}
