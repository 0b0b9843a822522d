#include "page/forms.h"

#include "page/entry.h"
#include "page/page_private.h"

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
    page_begin_entry(view, system, "/out-of-service");
    page_element(view, "p", PAGE_TAKE_OUT_MEANS);
    entry_for_a_while(entry, "1 d", spans, texts, sizeof spans / sizeof spans[0]);
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

void page_service_take(struct page_view *view, size_t system, const struct page_form *typed) {
    struct entry entry = {.view = view, .typed = typed};
    bool out = strcmp(view->parts[2], "out-of-service") == 0;
    size_t count = out ? sizeof out_fields / sizeof out_fields[0] : 0;
    int status = page_change_typed(&entry, out ? api_out_of_service : api_return_to_service,
                                   out_fields, count, count);
    if (status == 200) {
        page_redirect_to_system(view, system);
        return;
    }
    entry_begin_again(&entry, system, out ? PAGE_TAKE_OUT : PAGE_RETURN_TO_SERVICE);
    if (out)
        write_out(&entry, system);
    else
        write_return(&entry, system);
    entry_end_again(&entry, system, status);
}
