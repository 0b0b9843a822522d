#include "page/home_forms.h"

#include "api/home_reports.h"
#include "host/clock.h"
#include "page/test_form.h"

#include <stdlib.h>
#include <string.h>

/* ---- what forms share ---- */

void home_form_begin(struct page_view *view, const struct entry *entry, enum home_text title,
                     const char *behind) {
    struct html_address address = home_address(view, behind);
    home_begin(view, home_words(view, title), NULL);
    if (entry->wrong_count)
        html_element(&view->html, "p",
                     entry_whole(entry) ? entry_whole(entry) : home_words(view, HOME_REFUSED),
                     "class", "notice", "role", "alert", NULL);
    html_open(&view->html, "form", "method", "post", "action", address.text, "class", "entry",
              "novalidate", "", NULL);
}

void home_form_end(struct page_view *view, const struct entry *entry) {
    struct html_address home = home_address(view, "");
    html_markup(&view->html, "<p>");
    html_element(&view->html, "button", home_words(view, HOME_SUBMIT), "type", "submit", NULL);
    html_markup(&view->html, "</p></form><p>");
    page_link(view, &home, home_words(view, HOME_BACK));
    html_markup(&view->html, "</p>");
    home_end(view, entry->wrong_count == 0 ? 200
                   : view->answer->status  ? view->answer->status
                                           : 400);
}

static bool refuse(struct page_view *view, struct entry *entry, int status, enum home_text why) {
    entry_wrong_home(entry, "", why);
    view->answer->status = status;
    return false;
}

bool home_form_may(struct page_view *view, size_t system, struct entry *entry) {
    if (!page_allowance_any(&view->page->share_allowance, clock_monotonic_ms()))
        return refuse(view, entry, 503, HOME_BUSY_FORM);
    if (api_clock_doubted(view->api))
        return refuse(view, entry, 503, HOME_CLOCK_WRONG);
    if (view->api->store_failing || !pipeline_store(view->api->pipeline))
        return refuse(view, entry, 503, HOME_STORE_FAILS);
    return home_reports_may(view->api, system) || refuse(view, entry, 429, HOME_TOO_MUCH);
}

bool home_form_done(struct page_view *view, struct entry *entry) {
    struct web_answer refused = {0};
    struct api_call call = {.api = view->api, .request = view->request, .answer = &refused};
    bool good = api_commit(&call);
    free(refused.body);
    if (!good)
        return refuse(view, entry, 503, HOME_STORE_FAILS);
    struct html_address address = home_address(view, "");
    html_address_query(&address, "sent", "yes");
    page_redirect(view, &address);
    return true;
}

/* ---- a test's result ---- */

static bool take_test(struct page_view *view, struct entry *entry, size_t system) {
    struct record_radon_test test = {0};
    if (!test_form_read(view, entry, system, &test) || !home_form_may(view, system, entry))
        return false;
    home_reports_test(view->api, system, &test);
    return home_form_done(view, entry);
}

void home_test(struct page_view *view, size_t system, const struct page_form *typed) {
    struct entry entry = {.view = view, .typed = typed};
    if (typed && take_test(view, &entry, system))
        return;
    home_form_begin(view, &entry, HOME_TEST_TITLE, "/radon-test");
    home_element(view, "p", HOME_TEST_INTRO, NULL);
    test_form_write(view, &entry, system);
    home_form_end(view, &entry);
}

/* ---- the fan ---- */

static bool take_fan(struct page_view *view, struct entry *entry, size_t system) {
    enum { NOTE_MOST = 500 };
    const char *typed = page_form_value(entry->typed, "note");
    enum home_report kind = HOME_REPORT_COUNT;
    if (!home_report_find(page_form_value(entry->typed, "what"), &kind) ||
        (kind != HOME_REPORT_SOUNDS_DIFFERENT && kind != HOME_REPORT_OFF))
        entry_wrong_home(entry, "what", HOME_WRONG_CHOICE);
    if (strlen(typed) > NOTE_MOST * 4)
        entry_wrong_home(entry, "note", HOME_WRONG_LONG);
    if (entry->wrong_count || !home_form_may(view, system, entry))
        return false;
    home_reports_fan(view->api, system, kind, typed);
    return home_form_done(view, entry);
}

void home_fan(struct page_view *view, size_t system, const struct page_form *typed) {
    struct entry entry = {.view = view, .typed = typed};
    struct html_address tube = home_address(view, "/u-tube");
    const struct entry_choice choices[] = {{"sounds-different", home_words(view, HOME_FAN_SOUNDS)},
                                           {"off", home_words(view, HOME_FAN_OFF)}};
    if (typed && take_fan(view, &entry, system))
        return;
    home_form_begin(view, &entry, HOME_FAN_TITLE, "/fan");
    home_element(view, "p", HOME_FAN_INTRO, NULL);
    entry_choices(&entry,
                  &(struct entry_field){"what", home_words(view, HOME_FAN_WHAT), .needed = true},
                  choices, 2);
    entry_text(&entry,
               &(struct entry_field){"note", home_words(view, HOME_FAN_NOTE), .most = "500"});
    html_markup(&view->html, "<p>");
    home_write(view, HOME_FAN_LOOK);
    html_markup(&view->html, " ");
    page_link(view, &tube, home_words(view, HOME_SEND_U_TUBE));
    html_markup(&view->html, "</p>");
    home_form_end(view, &entry);
}
