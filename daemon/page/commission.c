#include "page/forms.h"

#include "measure/duration.h"
#include "page/commission_private.h"
#include "page/known.h"
#include "page/view_text.h"
#include "page/view_words.h"
#include "store/series.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const int64_t mean_span_ms = 10 * DURATION_MINUTE_MS;

/* ---- what the sensors read ---- */

struct sensor_mean {
    size_t count;
    double mean, scatter; /* SI; sample standard deviation, NaN for one reading */
    int64_t newest_ms;
};

static struct sensor_mean read_mean(const struct api *api, size_t point) {
    struct sensor_mean now = {.mean = NAN, .scatter = NAN, .newest_ms = TIMESTAMP_NONE};
    struct store *store = pipeline_store(api->pipeline);
    struct reading *readings = malloc(READINGS_MOST * sizeof *readings);
    if (!readings || !store ||
        series_read(store, pipeline_key(api->pipeline, point), api->now_ms - mean_span_ms,
                    api->now_ms + 1, readings, READINGS_MOST, &now.count) != STORE_OK)
        now.count = 0;
    double sum = 0.0, squares = 0.0;
    for (size_t i = 0; i < now.count; i++)
        sum += readings[i].value / (double)now.count;
    for (size_t i = 0; i < now.count; i++)
        squares += (readings[i].value - sum) * (readings[i].value - sum);
    if (now.count) {
        now.mean = sum;
        now.newest_ms = readings[now.count - 1].time_ms;
    }
    if (now.count > 1)
        now.scatter = sqrt(squares / (double)(now.count - 1));
    free(readings);
    return now;
}

/* Is it held against its value at commissioning? Radon, weather and batteries are not. */
static bool has_baseline(enum quantity quantity) {
    return !quantity_can_be_baseline(quantity, 0.0);
}

/* "The sensor reads 0.62 inH2O (mean of 10 readings of 10 min, scatter 0.01 inH2O)." */
static void sensor_text(const struct page_view *view, size_t point, const struct sensor_mean *now,
                        char *text, size_t size) {
    char mean[PAGE_TEXT_SIZE], scatter[PAGE_TEXT_SIZE], age[PAGE_TEXT_SIZE], count[24];
    const struct unit *unit = page_unit(view, point);
    const struct point_state *state = monitor_point(pipeline_monitor(view->api->pipeline), point);
    if (now->count > 1) {
        snprintf(scatter, sizeof scatter, "%.2g %s", now->scatter / fabs(unit->scale),
                 unit->spelling);
        snprintf(count, sizeof count, "%zu", now->count);
        page_names_in(view, text, size, PAGE_SENSOR_READS,
                      page_value_text(view, mean, now->mean, unit->dimension), count, scatter);
    } else if (now->count) {
        page_name_in(view, text, size, PAGE_SENSOR_READS_ONE,
                     page_value_text(view, mean, now->mean, unit->dimension));
    } else if (state->newest_ms != TIMESTAMP_NONE) {
        page_names_in(view, text, size, PAGE_SENSOR_READ_BEFORE,
                      page_value_text(view, mean, state->newest_value, unit->dimension),
                      page_age_text(view, age, state->newest_ms), NULL);
    } else {
        snprintf(text, size, "%s", page_words(view, PAGE_SENSOR_NOTHING));
    }
}

/* ---- the form ---- */

const char *commission_cell(char name[NAME_SIZE], const char *what, size_t row) {
    snprintf(name, NAME_SIZE, "%s-%zu", what, row + 1);
    return name;
}

const char *commission_field(char name[NAME_SIZE], size_t row, size_t hole) {
    snprintf(name, NAME_SIZE, "field-%zu-%zu", row + 1, hole + 1);
    return name;
}

static void write_point(struct commission_form *form, size_t point) {
    struct page_view *view = form->view;
    const struct point_description *about = view->api->fleet->points[point].description;
    const struct sensor_mean now = read_mean(view->api, point);
    char name[NAME_SIZE], label[700], hint[400], mean[PAGE_TEXT_SIZE];
    enum unit_system kept = page_units_of_point(view, point);
    const struct unit *unit = page_unit(view, point);
    bool proposed = has_baseline(about->quantity) && now.count > 0 &&
                    quantity_can_be_baseline(about->quantity, now.mean);
    snprintf(name, sizeof name, "value-%s", about->id);
    page_names_in(view, label, sizeof label, PAGE_POINT_IN, about->name, unit->spelling, "");
    sensor_text(view, point, &now, hint, sizeof hint);
    const struct entry_field field = {
        .name = name,
        .label = label,
        .hint = hint,
        .most = "40",
        .otherwise =
            proposed ? page_value_text(view, mean, now.mean, page_dimension(view, point)) : NULL};
    entry_input(&form->entry, &field);
    view->units = kept;
}

static void write_points(struct commission_form *form) {
    const struct fleet_system *owner = &form->view->api->fleet->systems[form->system];
    page_element(form->view, "h2", PAGE_MEASURED_NOW);
    page_element(form->view, "p", PAGE_MEASURED_NOW_MEANS);
    for (size_t i = 0; i < owner->point_count && i < POINTS_MOST; i++)
        write_point(form, owner->first_point + i);
    if (owner->point_count > POINTS_MOST)
        page_element(form->view, "p", PAGE_FURTHER_POINTS);
}

/* The holes that sensors watch come first. */
static void propose_holes(const struct commission_form *form, const char *names[HOLES_SHOWN]) {
    const struct fleet_system *owner = &form->view->api->fleet->systems[form->system];
    size_t count = 0;
    for (size_t i = 0; i < owner->point_count && count < HOLES_SHOWN; i++)
        if (owner->description->points[i].quantity == QUANTITY_FIELD)
            names[count++] = owner->description->points[i].id;
    while (count < HOLES_SHOWN)
        names[count++] = NULL;
}

static void write_setting(struct commission_form *form, size_t row) {
    struct page_view *view = form->view;
    char setting[NAME_SIZE], suction[NAME_SIZE], flow[NAME_SIZE], in_suction[80], in_flow[80];
    page_name_in(view, in_suction, sizeof in_suction, PAGE_SUCTION_IN,
                 unit_shown(DIMENSION_PRESSURE, view->units)->spelling);
    page_name_in(view, in_flow, sizeof in_flow, PAGE_FLOW_IN,
                 unit_shown(DIMENSION_FLOW, view->units)->spelling);
    const struct entry_field fields[] = {
        {commission_cell(setting, "setting", row), page_words(view, PAGE_FAN_SETTING_WORDS),
         .most = "80"},
        {commission_cell(suction, "suction", row), in_suction, .most = "40"},
        {commission_cell(flow, "flow", row), in_flow, .most = "40"}};
    /* What was typed, and what is wrong with it, is seen at once. */
    html_open(&view->html, "details", "class", "setting", "open", form->entry.typed ? "" : NULL,
              NULL);
    page_fill_element(view, "summary", NULL, row == 0 ? PAGE_FAN_SETTING_NOW : PAGE_FAN_SETTING_N,
                      slot_count(row + 1));
    for (size_t i = 0; i < sizeof fields / sizeof fields[0]; i++)
        entry_input(&form->entry, &fields[i]);
    for (size_t hole = 0; hole < HOLES_SHOWN; hole++) {
        char name[NAME_SIZE], label[80], number[24];
        snprintf(number, sizeof number, "%zu", hole + 1);
        page_name_in(view, label, sizeof label, PAGE_AT_HOLE, number);
        const struct entry_field field = {commission_field(name, row, hole), label, .most = "40"};
        entry_input(&form->entry, &field);
    }
    html_markup(&form->view->html, "</details>");
}

static void write_test_holes(struct commission_form *form) {
    const char *names[HOLES_SHOWN];
    propose_holes(form, names);
    html_markup(&form->view->html, "<details class=\"holes\" open>");
    page_element(form->view, "summary", PAGE_TEST_HOLES_AT);
    page_element(form->view, "p", PAGE_TEST_HOLES_MEANS);
    html_markup(&form->view->html, "<fieldset>");
    page_element(form->view, "legend", PAGE_WHERE_HOLES);
    for (size_t hole = 0; hole < HOLES_SHOWN; hole++) {
        char name[NAME_SIZE], label[80], number[24];
        snprintf(number, sizeof number, "%zu", hole + 1);
        page_name_in(form->view, label, sizeof label, PAGE_HOLE_N, number);
        const struct entry_field field = {commission_cell(name, "hole", hole), label,
                                          .otherwise = names[hole], .most = "60"};
        entry_input(&form->entry, &field);
    }
    html_markup(&form->view->html, "</fieldset>");
    for (size_t row = 0; row < SETTINGS_SHOWN; row++)
        write_setting(form, row);
    html_markup(&form->view->html, "</details>");
}

static void write_rest(struct commission_form *form) {
    struct page_view *view = form->view;
    const struct entry_choice results[] = {
        {"passed", page_words(view, PAGE_PASSED)},
        {"failed", page_words(view, PAGE_TEST_FAILED)},
        {"no appliance", page_words(view, PAGE_NO_SUCH_APPLIANCE)},
        {"", page_words(view, PAGE_NOT_MADE)}};
    const struct entry_field back_draft = {.name = "back_draft",
                                           .label = page_words(view, PAGE_BACK_DRAFT_TEST),
                                           .hint = page_words(view, PAGE_BACK_DRAFT_HINT)};
    const struct entry_field fields[] = {
        {"radon_before", page_words(view, PAGE_RADON_BEFORE_WORK),
         page_words(view, PAGE_RADON_BEFORE_HINT), .most = "40"},
        {"instruments", page_words(view, PAGE_INSTRUMENTS_LABEL),
         page_words(view, PAGE_INSTRUMENTS_HINT), .most = "400"},
        {"next_calibration", page_words(view, PAGE_THEIR_CALIBRATION), .type = "date"}};
    const struct entry_field notes = {"notes", page_words(view, PAGE_NOTES), .most = "4000"};
    page_element(view, "h2", PAGE_SAFETY);
    html_element(&view->html, "p", page_words(view, PAGE_SAFETY_MEANS), "class", "notice", NULL);
    entry_choices(&form->entry, &back_draft, results, sizeof results / sizeof results[0]);
    for (size_t i = 0; i < sizeof fields / sizeof fields[0]; i++)
        entry_input(&form->entry, &fields[i]);
    entry_text(&form->entry, &notes);
}

static void write_head(struct commission_form *form) {
    struct page_view *view = form->view;
    entry_summary(&form->entry);
    struct html_address address = page_system_address(view, form->system, "/commission");
    html_open(&view->html, "form", "method", "post", "action", address.text, "class", "entry",
              NULL);
    page_token(view);
    known_write(view, form->system, KNOWN_RECORDS);
    entry_units(&form->entry);
}

void commission_show(struct commission_form *form, int status) {
    struct page_view *view = form->view;
    const struct system_description *about = view->api->fleet->systems[form->system].description;
    struct html_address back = page_system_address(view, form->system, "");
    char title[600];
    page_name_in(view, title, sizeof title, PAGE_COMMISSIONING_OF, about->name);
    const struct page_head head = {.title = title, .system = form->system};
    page_begin(view, &head);
    html_element(&view->html, "h1", title, NULL);
    page_link_line(view, &back, page_words(view, PAGE_WITHOUT_RECORD));
    write_head(form);
    write_points(form);
    write_test_holes(form);
    write_rest(form);
    if (known_last(view, form->system, KNOWN_RECORDS).id)
        entry_changes(&form->entry, PAGE_WHAT_CHANGED_NOW);
    page_end_form(view, PAGE_CONFIRM_NORMAL);
    page_end(view, status);
}

void page_commission(struct page_view *view, size_t system) {
    struct commission_form form = {.view = view, .system = system, .entry.view = view};
    if (view->session)
        commission_show(&form, 200);
    else
        page_say(view, 403, PAGE_FOR_SIGNED_IN, PAGE_SIGN_IN_TO_COMMISSION);
}
