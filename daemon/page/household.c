#include "page/sections.h"

#include "page/facts.h"
#include "page/view_text.h"
#include "page/view_words.h"
#include "store/records.h"
#include "words/home_report.h"

#include <math.h>

enum { REPORTS_MOST = 12 };

static bool write_report(void *context, const struct record_home_report *report) {
    static const enum page_text words[HOME_REPORT_COUNT] = {
        [HOME_REPORT_U_TUBE] = PAGE_U_TUBE,
        [HOME_REPORT_RADON_TEST] = PAGE_SENT_RADON_TEST,
        [HOME_REPORT_SOUNDS_DIFFERENT] = PAGE_FAN_SOUNDS,
        [HOME_REPORT_OFF] = PAGE_FAN_IS_OFF,
    };
    struct page_records *records = context;
    struct page_view *view = records->view;
    enum home_report kind;
    if (!home_report_find(report->kind, &kind))
        return true;
    if (records->rows == 0) {
        html_markup(&view->html, "<section id=\"household\">");
        page_element(view, "h2", PAGE_FROM_HOMEOWNER);
        page_element(view, "p", PAGE_FROM_HOMEOWNER_MEANS);
    }
    page_records_next(records);
    page_write(view, words[kind]);
    html_markup(&view->html, "</strong> ");
    if (report->branch)
        html_format(&view->html, "(%s) ", report->branch);
    if (isfinite(report->value)) {
        page_value(view, report->value,
                   kind == HOME_REPORT_U_TUBE ? DIMENSION_PRESSURE : DIMENSION_RADON);
        html_markup(&view->html, ", ");
    }
    page_time(view, report->time_ms, page_zone(view, records->system));
    if (report->note)
        html_format(&view->html, ": %s", report->note);
    html_markup(&view->html, "</li>");
    return true;
}

void page_household(struct page_view *view, size_t system) {
    struct page_records records = {view, system, REPORTS_MOST, 0};
    struct store *store = pipeline_store(view->api->pipeline);
    if (store)
        record_home_report_newest(store, fleet_system_id(view->api->fleet, system), REPORTS_MOST,
                                  write_report, &records);
    page_records_end(&records, NULL);
    if (records.rows)
        html_markup(&view->html, "</section>");
}
