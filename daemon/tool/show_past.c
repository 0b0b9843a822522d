/* What has been at a system: visits, radon tests, what the household sent. */
#include "tool/show.h"

#include "tool/show_margin.h"
#include "tool/text.h"
#include "tool/values.h"
#include "words/text_buffer.h"

#include <stdio.h>
#include <stdlib.h>

/* A paragraph on standard output. */
#define say(...) show_say(stdout, __VA_ARGS__, NULL)

/* "new fan (main) radial-9, serial 7, in place of radial-150, serial 3: worn" */
static void show_put_in(const struct ctl *ctl, const json_t *fan) {
    const json_t *before = json_object_get(fan, "replaced");
    const char *model = ctl_text_of(before, "model"), *why = ctl_text_of(fan, "why");
    struct text_buffer line = {0};
    char *put_in = ctl_filled(ctl, PAGE_SHOW_NEW_FAN, ctl_text_of(fan, "branch"),
                              ctl_text_of(fan, "model"), NULL);
    text_buffer_add(&line, put_in ? put_in : "");
    ctl_add_part(ctl, &line, PAGE_SERIAL, ctl_text_of(fan, "serial"));
    if (before)
        ctl_add_part(ctl, &line, PAGE_SHOW_IN_PLACE,
                     *model ? model : ctl_words(ctl, PAGE_SHOW_MODEL_UNKNOWN));
    ctl_add_part(ctl, &line, PAGE_SERIAL, ctl_text_of(before, "serial"));
    text_buffer_format(&line, "%s%s", *why ? ": " : "", ctl_words_of(ctl, why));
    char *text = text_buffer_take(&line);
    ctl_text_say(stdout, SHOW_INDENT, SHOW_INDENT, "%s", text ? text : "");
    free(text);
    free(put_in);
}

/* Newest first, as many as a screen bears. */
static void show_past_visits(const struct ctl *ctl, const json_t *visits) {
    enum { MOST = 5 };
    size_t count = json_array_size(visits), n;
    char on[CTL_VALUE_SIZE];
    if (count)
        printf("\n%s\n", ctl_words(ctl, PAGE_SHOW_PAST_VISITS));
    for (size_t i = count; i-- > 0 && count - i <= MOST;) {
        const json_t *visit = json_array_get(visits, i), *fan;
        say(ctl, PAGE_SHOW_VISIT, PAGE_SHOW_VISIT_WAS,
            ctl_date(on, ctl, json_object_get(visit, "on")), ctl_text_of(visit, "by"),
            ctl_text_of(visit, "found"), ctl_text_of(visit, "did"));
        json_array_foreach(json_object_get(json_object_get(visit, "facts"), "equipment"), n, fan)
            show_put_in(ctl, fan);
    }
}

/* Newest first, as many as a screen bears; all of them: radon-tests. */
static void show_tests(const struct ctl *ctl, const json_t *tests) {
    enum { MOST = 5 };
    char value[CTL_VALUE_SIZE], from[CTL_VALUE_SIZE], to[CTL_VALUE_SIZE], monitors[600],
        percent[24];
    char label[SHOW_LABEL_SIZE];
    size_t count = json_array_size(tests);
    if (count)
        printf("\n%s\n", ctl_words(ctl, PAGE_SHOW_RADON_TESTS));
    for (size_t i = count; i-- > 0 && count - i <= MOST;) {
        const json_t *test = json_array_get(tests, i);
        snprintf(percent, sizeof percent, "%.0f", 100.0 * ctl_number_of(test, "uncertainty"));
        say(ctl, PAGE_SHOW_TEST, PAGE_SHOW_TEST_WAS,
            ctl_value(value, ctl, json_object_get(test, "value"), "Bq/m3"), percent,
            ctl_date(from, ctl, json_object_get(test, "from")),
            ctl_date(to, ctl, json_object_get(test, "to")),
            ctl_words_of(ctl, ctl_text_of(test, "kind")), ctl_text_of(test, "place"),
            ctl_text_of(test, "device"), ctl_text_of(test, "by"));
        if (json_array_size(json_object_get(test, "monitors")))
            ctl_text_say(stdout, show_label(label, ctl, PAGE_SHOW_MONITOR), SHOW_INDENT, "%s",
                         ctl_test_monitors(monitors, sizeof monitors, ctl, test));
    }
}

static void show_household(const struct ctl *ctl, const json_t *reports) {
    enum { MOST = 5 };
    char value[CTL_VALUE_SIZE], time[CTL_VALUE_SIZE];
    const json_t *report;
    size_t i;
    json_array_foreach((json_t *)reports, i, report) {
        if (i == MOST)
            break;
        const char *branch = ctl_text_of(report, "branch"), *note = ctl_text_of(report, "note");
        bool valued = json_is_number(json_object_get(report, "value"));
        if (i == 0)
            printf("\n%s\n", ctl_words(ctl, PAGE_SHOW_FROM_HOME));
        ctl_text_say(stdout, SHOW_INDENT, SHOW_INDENT, "%s: %s%s%s%s%s%s%s",
                     ctl_time(time, ctl, json_object_get(report, "time")),
                     ctl_words_of(ctl, ctl_text_of(report, "kind")), *branch ? " " : "", branch,
                     valued ? ", " : "",
                     valued ? ctl_value(value, ctl, json_object_get(report, "value"),
                                        ctl_text_of(report, "unit"))
                            : "",
                     *note ? ": " : "", note);
    }
}

void ctl_show_past(FILE *to, const struct ctl *ctl, const json_t *system) {
    char time[CTL_VALUE_SIZE], value[CTL_VALUE_SIZE], monitors[600], label[SHOW_LABEL_SIZE];
    const json_t *visited = json_object_get(system, "last_visit");
    const json_t *report = json_array_get(json_object_get(system, "home_reports"), 0);
    const json_t *tests = json_object_get(system, "radon_tests");
    const json_t *test = json_array_get(tests, json_array_size(tests) - 1);
    if (json_is_object(visited))
        visited = json_object_get(visited, "on");
    if (json_is_string(visited))
        ctl_text_say(to, show_edge(label, ctl, PAGE_SHOW_LAST_VISIT), SHOW_INDENT, "%s",
                     ctl_date(time, ctl, visited));
    if (test) {
        bool monitored = json_array_size(json_object_get(test, "monitors")) > 0;
        char *text =
            ctl_filled(ctl, monitored ? PAGE_SHOW_TEST_ENDED_MONITOR : PAGE_SHOW_TEST_ENDED,
                       ctl_value(value, ctl, json_object_get(test, "value"), "Bq/m3"),
                       ctl_date(time, ctl, json_object_get(test, "to")),
                       ctl_words_of(ctl, ctl_text_of(test, "kind")), ctl_text_of(test, "place"),
                       ctl_test_monitors(monitors, sizeof monitors, ctl, test), NULL);
        ctl_text_say(to, show_edge(label, ctl, PAGE_SHOW_RADON_TEST), SHOW_INDENT, "%s",
                     text ? text : "");
        free(text);
    }
    if (report)
        ctl_text_say(to, show_edge(label, ctl, PAGE_SHOW_HOMEOWNER), SHOW_INDENT, "%s, %s",
                     ctl_words_of(ctl, ctl_text_of(report, "kind")),
                     ctl_time(time, ctl, json_object_get(report, "time")));
}

void ctl_show_history(const struct ctl *ctl, const json_t *system) {
    show_past_visits(ctl, json_object_get(system, "past_visits"));
    show_tests(ctl, json_object_get(system, "radon_tests"));
    show_household(ctl, json_object_get(system, "home_reports"));
}
