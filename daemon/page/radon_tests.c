#include "page/facts.h"
#include "page/forms.h"

#include "analysis/average.h"
#include "api/radon_tests.h"
#include "page/known.h"
#include "page/page_private.h"
#include "page/test_form.h"
#include "page/view_text.h"
#include "page/view_words.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- the list ---- */

static void write_monitor(struct page_view *view, size_t point,
                          const struct record_radon_test *test) {
    const struct radon_test_monitor monitor = radon_test_monitor(view->api, point, test);
    const char *name = view->api->fleet->points[point].description->name;
    if (!monitor.enough)
        page_fill(view, PAGE_TEST_TOO_FEW, slot_text(name),
                  slot_text(page_words_of(view, average_why(AVERAGE_TOO_FEW))));
    else
        page_fill(view, monitor.agrees ? PAGE_TEST_AGREES : PAGE_TEST_DISAGREES, slot_text(name),
                  slot_value(monitor.mean_bq_m3, DIMENSION_RADON));
}

static bool write_test(void *context, const struct record_radon_test *test) {
    struct page_records *records = context;
    struct page_view *view = records->view;
    const struct fleet_system *owner = &view->api->fleet->systems[records->system];
    if (!page_records_next(records))
        return false;
    page_value(view, test->value_bq_m3, DIMENSION_RADON);
    html_format(&view->html, " ± %.0f %%", 100.0 * test->uncertainty_relative);
    html_markup(&view->html, "</strong> ");
    bool closed = test->closed_house == RECORD_YES, is_long = strcmp(test->kind, "long") == 0;
    enum page_text kind = is_long  ? closed ? PAGE_TEST_LONG_CLOSED : PAGE_TEST_LONG
                          : closed ? PAGE_TEST_SHORT_CLOSED
                                   : PAGE_TEST_SHORT;
    page_fill(view, PAGE_TEST_DAYS, slot_date(test->from_ms, owner->zone),
              slot_date(test->to_ms, owner->zone), slot_text(test->place), slot_text(test->device),
              slot_text(page_words(view, kind)), slot_text(test->by));
    for (size_t i = 0; i < owner->point_count; i++) {
        if (owner->description->points[i].quantity == QUANTITY_RADON)
            write_monitor(view, owner->first_point + i, test);
    }
    html_markup(&view->html, "</li>");
    return true;
}

void page_radon_tests(struct page_view *view, size_t system, size_t most) {
    struct page_records records = {view, system, most, 0};
    struct store *store = pipeline_store(view->api->pipeline);
    page_element(view, "h3", PAGE_RADON_TESTS);
    if (store)
        record_radon_test_list(store, fleet_system_id(view->api->fleet, system),
                               RECORD_NEWEST_FIRST, write_test, &records);
    page_records_end(&records, page_words(view, PAGE_NO_TEST));
}

/* ---- the form ---- */

static void write_form(struct page_view *view, size_t system, struct entry *entry) {
    page_begin_entry(view, system, "/radon-test");
    known_write(view, system, KNOWN_TESTS);
    page_element(view, "p", PAGE_TEST_SETS_DATE);
    test_form_write(view, entry, system);
    page_end_form(view, PAGE_WRITE_DOWN);
}

void page_radon_test_form(struct page_view *view, size_t system) {
    struct entry entry = {.view = view};
    html_markup(&view->html, "<details id=\"radon-test\">");
    page_element(view, "summary", PAGE_WRITE_TEST);
    write_form(view, system, &entry);
    html_markup(&view->html, "</details>");
}

static bool keep(struct page_view *view, size_t system, struct entry *entry,
                 struct record_radon_test *test) {
    struct api *api = view->api;
    test->by = view->session->account;
    if (pipeline_begin(api->pipeline))
        pipeline_note(api->pipeline, radon_test_keep(api, system, test));
    struct web_answer answer = {0};
    struct api_call call = {.api = api, .request = view->request, .answer = &answer};
    bool good = api_commit(&call);
    if (!good)
        entry_refused(entry, &answer, NULL, 0);
    free(answer.body);
    return good;
}

static void show_again(struct page_view *view, size_t system, struct entry *entry, int status) {
    entry_begin_again(entry, system, PAGE_WRITE_TEST);
    write_form(view, system, entry);
    entry_end_again(entry, system, status);
}

enum { SEE_OTHER = 303 };

/* Puts it on record; the status to answer with. The very same test sent once more, by whomever, is
   on record already. */
static int take(struct page_view *view, size_t system, struct entry *entry) {
    struct record_radon_test test = {0};
    if (!test_form_read(view, entry, system, &test))
        return 400;
    if (radon_test_stands(view->api, system, &test))
        return SEE_OTHER;
    if (!known_check(entry, system, KNOWN_TESTS, PAGE_WRITTEN_MEANWHILE))
        return 409;
    return keep(view, system, entry, &test) ? SEE_OTHER : 503;
}

void page_radon_test_take(struct page_view *view, size_t system, const struct page_form *typed) {
    struct entry entry = {.view = view, .typed = typed};
    int status = take(view, system, &entry);
    if (status == SEE_OTHER)
        page_redirect_to_system(view, system);
    else
        show_again(view, system, &entry, status);
}

/* ---- a wrong one ---- */

enum { LISTED_MOST = 50 };

/* The newest first; word and text of each. */
struct listed {
    struct page_view *view;
    size_t system, count;
    char ids[LISTED_MOST][24], texts[LISTED_MOST][500];
};

static bool list_test(void *context, const struct record_radon_test *test) {
    struct listed *listed = context;
    const struct page_view *view = listed->view;
    const struct time_zone *zone = page_zone(view, listed->system);
    char value[PAGE_TEXT_SIZE], from[PAGE_TEXT_SIZE], to[PAGE_TEXT_SIZE];
    size_t i = listed->count++;
    snprintf(listed->ids[i], sizeof listed->ids[i], "%lld", (long long)test->id);
    snprintf(listed->texts[i], sizeof listed->texts[i], "%s, %s – %s, %s, %s",
             page_value_text(view, value, test->value_bq_m3, DIMENSION_RADON),
             page_date_text(from, test->from_ms, zone), page_date_text(to, test->to_ms, zone),
             test->place, test->device);
    return listed->count < LISTED_MOST;
}

static void write_choice(const struct listed *listed, struct entry *entry) {
    const struct page_view *view = listed->view;
    const char *words[LISTED_MOST + 1] = {""}, *texts[LISTED_MOST + 1] = {"–"};
    const struct entry_field test = {"test", page_words(view, PAGE_WHICH_TEST), .needed = true},
                             why = {"why", page_words(view, PAGE_WHY), .most = "300",
                                    .needed = true};
    for (size_t i = 0; i < listed->count; i++) {
        words[i + 1] = listed->ids[i];
        texts[i + 1] = listed->texts[i];
    }
    entry_select(entry, &test, words, texts, listed->count + 1);
    entry_input(entry, &why);
}

static void write_take_back(struct listed *listed, struct entry *entry) {
    struct page_view *view = listed->view;
    page_begin_entry(view, listed->system, "/take-back");
    page_element(view, "p", PAGE_TAKE_BACK_MEANS);
    write_choice(listed, entry);
    page_end_form(view, PAGE_TAKE_BACK);
}

/* Of a system; NULL: no memory. The caller frees. */
static struct listed *list_tests(struct page_view *view, size_t system) {
    struct listed *listed = calloc(1, sizeof *listed);
    struct store *store = pipeline_store(view->api->pipeline);
    if (!listed)
        return NULL;
    listed->view = view;
    listed->system = system;
    if (store)
        record_radon_test_list(store, fleet_system_id(view->api->fleet, system),
                               RECORD_NEWEST_FIRST, list_test, listed);
    return listed;
}

void page_take_back_form(struct page_view *view, size_t system) {
    struct entry entry = {.view = view, .behind = "-take-back"};
    struct listed *listed = list_tests(view, system);
    if (listed && listed->count) {
        html_markup(&view->html, "<details id=\"take-back\">");
        page_element(view, "summary", PAGE_TAKE_BACK);
        write_take_back(listed, &entry);
        html_markup(&view->html, "</details>");
    }
    free(listed);
}

static void take_back_chosen(struct api_call *call) {
    const char *test = json_string_value(json_object_get(call->body, "test"));
    call->parts[1] = test ? test : "";
    api_radon_test_take_back(call);
}

void page_take_back_take(struct page_view *view, size_t system, const struct page_form *typed) {
    static const char *const names[] = {"test", "why"};
    struct entry entry = {.view = view, .typed = typed, .behind = "-take-back"};
    int status = page_change_typed(&entry, take_back_chosen, names, 2, 2);
    if (status == 200) {
        page_redirect_to_system(view, system);
        return;
    }
    struct listed *listed = list_tests(view, system);
    entry_begin_again(&entry, system, PAGE_TAKE_BACK);
    if (listed)
        write_take_back(listed, &entry);
    entry_end_again(&entry, system, status);
    free(listed);
}
