#include "page/known.h"

#include "store/records.h"

#include <stdio.h>
#include <stdlib.h>

static const char *const field_names[] = {
    [KNOWN_RECORDS] = "known-record", [KNOWN_VISITS] = "known-visit", [KNOWN_TESTS] = "known-test"};

static bool take(struct known *last, int64_t id, const char *by) {
    if (id > last->id) {
        last->id = id;
        snprintf(last->by, sizeof last->by, "%s", by ? by : "");
    }
    return true;
}

static bool take_record(void *context, const struct record_commissioning *record) {
    return take(context, record->id, record->by);
}

static bool take_visit(void *context, const struct record_visit *visit) {
    return take(context, visit->id, visit->by);
}

static bool take_test(void *context, const struct record_radon_test *test) {
    return take(context, test->id, test->by);
}

struct known known_last(const struct page_view *view, size_t system, enum known_kind kind) {
    struct known last = {0};
    struct store *store = pipeline_store(view->api->pipeline);
    const char *id = fleet_system_id(view->api->fleet, system);
    if (store && kind == KNOWN_RECORDS)
        record_commissioning_list(store, id, RECORD_NEWEST_FIRST, take_record, &last);
    if (store && kind == KNOWN_VISITS)
        record_visit_list(store, id, RECORD_NEWEST_FIRST, take_visit, &last);
    if (store && kind == KNOWN_TESTS)
        record_radon_test_list(store, id, RECORD_NEWEST_FIRST, take_test, &last);
    return last;
}

void known_write(struct page_view *view, size_t system, enum known_kind kind) {
    char id[24];
    snprintf(id, sizeof id, "%lld", (long long)known_last(view, system, kind).id);
    html_hidden(&view->html, field_names[kind], id);
}

bool known_check(struct entry *entry, size_t system, enum known_kind kind,
                 enum page_text meanwhile) {
    const char *known = page_form_value(entry->typed, field_names[kind]);
    const struct known last = known_last(entry->view, system, kind);
    char why[500];
    if (!*known || strtoll(known, NULL, 10) >= last.id) /* more: what it knew was taken back */
        return true;
    entry_wrong(entry, "", page_name_in(entry->view, why, sizeof why, meanwhile, last.by));
    return false;
}
