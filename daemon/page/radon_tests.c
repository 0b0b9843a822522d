#include "page/radon_tests.h"

#include "page/view_text.h"

#include <math.h>

/* ---- the list ---- */

static void write_monitor(struct page_view *view, const json_t *monitor) {
    const json_t *agrees = json_object_get(monitor, "agrees");
    html_format(&view->html, " %s", page_json_text(monitor, "name"));
    if (json_is_null(agrees)) {
        html_format(&view->html, ": %s in these days.", page_json_text(monitor, "why"));
        return;
    }
    html_markup(&view->html, " read ");
    page_value(view, page_json_number(monitor, "mean"), DIMENSION_RADON);
    html_text(&view->html, json_is_true(agrees) ? " in these days: they agree."
                                                : " in these days: they do not agree.");
}

static void write_test(struct page_view *view, size_t system, const json_t *test) {
    const struct time_zone *zone = page_zone(view, system);
    const char *by = view->share ? NULL : page_json_text(test, "by");
    const json_t *monitor;
    size_t i;
    html_markup(&view->html, "<li><strong>");
    page_value(view, page_json_number(test, "value"), DIMENSION_RADON);
    html_format(&view->html, " ± %.0f %%", 100.0 * page_json_number(test, "uncertainty"));
    html_markup(&view->html, "</strong> ");
    page_date(view, page_json_time(test, "from"), zone);
    html_markup(&view->html, " to ");
    page_date(view, page_json_time(test, "to"), zone);
    html_format(&view->html, ", %s, %s, %s test%s%s%s.", page_json_text(test, "place"),
                page_json_text(test, "device"), page_json_text(test, "kind"),
                json_is_true(json_object_get(test, "closed_house")) ? ", house kept closed" : "",
                by ? ", by " : "", by ? by : "");
    json_array_foreach(json_object_get(test, "monitors"), i, monitor) write_monitor(view, monitor);
    html_markup(&view->html, "</li>");
}

void page_radon_tests(struct page_view *view, size_t system, const json_t *show, size_t most) {
    const json_t *list = json_object_get(show, "radon_tests");
    size_t count = json_array_size(list);
    html_markup(&view->html, "<h3>Radon tests</h3>");
    if (count == 0) {
        html_markup(&view->html, "<p class=\"none\">No result of a radon test on record.</p>");
        return;
    }
    html_markup(&view->html, "<ul class=\"records\">");
    for (size_t i = 0; i < count && i < most; i++)
        write_test(view, system, json_array_get(list, count - 1 - i));
    html_markup(&view->html, "</ul>");
}

/* ---- the form ---- */

static void write_days(struct page_view *view, size_t system) {
    char today[PAGE_TEXT_SIZE];
    html_markup(&view->html, "<p><label for=\"test-from\">From</label> <input id=\"test-from\" "
                             "name=\"from\" type=\"date\" required></p><p><label "
                             "for=\"test-to\">To</label> ");
    html_empty(&view->html, "input", "id", "test-to", "name", "to", "type", "date", "required", "",
               "value", page_date_text(today, view->api->now_ms, page_zone(view, system)), NULL);
    html_markup(&view->html, "</p>");
}

void page_radon_test_form(struct page_view *view, size_t system) {
    html_markup(&view->html,
                "<details id=\"radon-test\"><summary>Write down a radon test</summary>");
    page_begin_form(view, system, "/radon-test");
    html_markup(&view->html, "<p>It sets the date of the next test.</p>");
    write_days(view, system);
    html_markup(&view->html,
                "<p><label for=\"test-value\">Result, with unit (1.2 pCi/L)</label> <input "
                "id=\"test-value\" name=\"value\" required maxlength=\"40\"></p><p><label "
                "for=\"test-uncertainty\">Uncertainty of the device (10 %)</label> <input "
                "id=\"test-uncertainty\" name=\"uncertainty\" maxlength=\"20\"></p><p><label "
                "for=\"test-place\">Place</label> <input id=\"test-place\" name=\"place\" required "
                "maxlength=\"200\"></p><p><label for=\"test-device\">Device</label> <input "
                "id=\"test-device\" name=\"device\" required maxlength=\"200\"></p><p><label "
                "for=\"test-closed\">House kept closed</label> <select id=\"test-closed\" "
                "name=\"closed_house\"><option value=\"\">not known</option><option "
                "value=\"yes\">yes</option><option value=\"no\">no</option></select></p><p><button "
                "type=\"submit\">Write down</button></p></form></details>");
}
