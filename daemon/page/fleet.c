/*
 * The fleet: which systems need somebody, worst first, one screen at a time. The screen is made in
 * parts: the index of all systems is shared and seldom made anew (fleet_index.h), then what is
 * asked for is looked for in it, then each row is written.
 */
#include "api/list.h"
#include "api/systems.h"
#include "page/alarm_group.h"
#include "page/chart.h"
#include "page/choice.h"
#include "page/enrol.h"
#include "page/fleet_index.h"
#include "page/view_text.h"
#include "page/view_words.h"
#include "words/wording_texts.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

enum { ROWS_A_PAGE = 25, LOOKS_A_STEP = 2000 };

static const enum monitor_status worst_order[FLEET_STATUSES] = {
    MONITOR_OUT_OF_SPEC, MONITOR_SILENT, MONITOR_DRIFTING, MONITOR_OUT_OF_SERVICE, MONITOR_IN_SPEC};

/* What is asked for, in texts of its own: the request is over when the rows are written. */
struct question {
    char *find, *status, *region, *contact, *need;
    size_t page; /* from 1 */
};

/* Of the rows that were asked for. */
struct fleet_rows {
    size_t looked, count, page, pages;
    int64_t index_ms;           /* the index that was looked through */
    char *systems[ROWS_A_PAGE]; /* ids of the rows of this page; the fleet may change */
    size_t row_count, next_row;
};

/* ---- the choices above the list ---- */

static struct html_address list_address(const struct page_view *view, const struct question *asked,
                                        size_t page) {
    struct html_address address = page_address(view, "/");
    char number[24];
    html_address_query(&address, "status", asked->status);
    html_address_query(&address, "find", asked->find);
    html_address_query(&address, "region", asked->region);
    html_address_query(&address, "contact", asked->contact);
    html_address_query(&address, "need", asked->need);
    snprintf(number, sizeof number, "%zu", page);
    html_address_query(&address, "page", page > 1 ? number : NULL);
    return address;
}

/* Another status, or another need, and all the rest as it is asked. */
static void open_link(struct page_view *view, const struct question *asked, const char *status,
                      const char *need, bool here) {
    struct question other = *asked;
    other.status = (char *)status;
    other.need = (char *)need;
    struct html_address address = list_address(view, &other, 1);
    html_open(&view->html, "a", "href", address.text, "aria-current", here ? "true" : NULL, NULL);
}

static void write_need(struct page_view *view, const struct question *asked, enum fleet_need need,
                       enum page_text text, size_t count) {
    const char *word = fleet_need_word(need);
    open_link(view, asked, asked->status, word, strcmp(asked->need, word) == 0);
    page_fill(view, text, slot_count(count));
    html_markup(&view->html, "</a>");
}

/* The one line for whoever opens this page in the morning. */
static void write_needs(struct page_view *view, const struct question *asked,
                        const struct fleet_index *index) {
    html_markup(&view->html, "<p class=\"needs\">");
    page_write(view, PAGE_NEEDS);
    html_markup(&view->html, " ");
    write_need(view, asked, FLEET_NEED_TODAY, PAGE_TODAY, index->needs[FLEET_NEED_TODAY]);
    html_markup(&view->html, " · ");
    write_need(view, asked, FLEET_NEED_WEEK, PAGE_THIS_WEEK, index->needs[FLEET_NEED_WEEK]);
    html_markup(&view->html, " · ");
    write_need(view, asked, FLEET_NEED_SEASON, PAGE_THIS_SEASON, index->needs[FLEET_NEED_SEASON]);
    html_markup(&view->html, ". <span class=\"age\">");
    page_write(view, PAGE_TODAY_MEANS);
    html_markup(&view->html, "</span>");
    if (*asked->need) {
        html_markup(&view->html, " ");
        open_link(view, asked, asked->status, NULL, false);
        page_write(view, PAGE_SHOW_ALL);
        html_markup(&view->html, "</a>");
    }
    html_markup(&view->html, "</p>");
}

static void write_tally(struct page_view *view, const struct question *asked,
                        const struct fleet_index *index) {
    html_open(&view->html, "nav", "aria-label", page_words(view, PAGE_BY_STATUS), NULL);
    html_markup(&view->html, "<ul class=\"tally\"><li>");
    open_link(view, asked, NULL, asked->need, !*asked->status);
    page_fill(view, PAGE_ALL_COUNT, slot_count(index->count));
    html_markup(&view->html, "</a></li>");
    for (size_t i = 0; i < FLEET_STATUSES; i++) {
        const char *word = monitor_status_word(worst_order[i]);
        html_markup(&view->html, "<li>");
        open_link(view, asked, word, asked->need, strcmp(asked->status, word) == 0);
        page_status(view, worst_order[i]);
        html_format(&view->html, " %zu", index->tally[worst_order[i]]);
        html_markup(&view->html, "</a></li>");
    }
    html_markup(&view->html, "</ul></nav>");
}

static void keep(struct page_view *view, const char *name, const char *value) {
    if (*value)
        html_hidden(&view->html, name, value);
}

static void write_search(struct page_view *view) {
    struct html_address here = page_path(view, "/");
    html_open(&view->html, "form", "method", "get", "action", here.text, "role", "search", "class",
              "search", NULL);
    page_label(view, "find", PAGE_FIND_BY);
    html_empty(&view->html, "input", "id", "find", "name", "find", "type", "search", "value",
               page_query(view, "find"), "maxlength", "80", NULL);
    html_markup(&view->html, " ");
    page_region_choice(view);
    page_contact_choice(view);
    keep(view, "status", page_query(view, "status"));
    keep(view, "need", page_query(view, "need"));
    page_keep_choices(view);
    html_markup(&view->html, "<button type=\"submit\">");
    page_write(view, PAGE_FIND);
    html_markup(&view->html, "</button></form>");
}

/* ---- one row ---- */

static void write_suction(struct page_view *view, const struct system_line_suction *suction,
                          const struct time_zone *zone) {
    double share = suction->of_baseline;
    char percent[PAGE_TEXT_SIZE];
    page_open_cell(view, PAGE_SUCTION);
    if (isfinite(share)) {
        html_element(&view->html, "strong", page_ratio_text(percent, share), NULL);
        page_write(view, PAGE_OF_COMMISSIONING);
        html_markup(&view->html, "<br>");
    } else {
        html_element(&view->html, "span", page_words_of(view, suction->why), "class", "unknown",
                     NULL);
        html_markup(&view->html, "<br>");
    }
    if (isfinite(suction->pa)) {
        page_value(view, suction->pa, DIMENSION_PRESSURE);
        html_markup(&view->html, ", <span class=\"age\">");
        page_age(view, suction->time_ms, zone);
        html_markup(&view->html, "</span>");
    }
    html_markup(&view->html, "</td>");
    page_open_cell(view, PAGE_DAYS_90);
    if (suction->point != FLEET_NONE)
        page_chart_small(view, suction->point,
                         isfinite(share) && share > 0 ? suction->pa / share : NAN);
    html_markup(&view->html, "</td>");
}

static void write_radon(struct page_view *view, const struct system_line_radon *radon, bool named) {
    if (named)
        html_format(&view->html, "%s: ", view->api->fleet->points[radon->point].description->name);
    if (isfinite(radon->mean_bq_m3)) {
        page_value(view, radon->mean_bq_m3, DIMENSION_RADON);
        page_write(view, PAGE_MEAN_OF_30);
        html_markup(&view->html, "<br><span class=\"age\">");
        page_fill(view, PAGE_COVERED_BY, slot_percent(radon->coverage));
        html_markup(&view->html, "</span>");
    } else {
        html_element(&view->html, "span", page_words_of(view, radon->why), "class", "unknown",
                     NULL);
    }
}

static void write_radons(struct page_view *view, const struct system_line *line) {
    page_open_cell(view, PAGE_RADON);
    for (size_t i = 0; i < line->radon_count; i++) {
        if (i)
            html_markup(&view->html, "<br>");
        write_radon(view, &line->radons[i], line->radon_count > 1);
    }
    html_markup(&view->html, "</td>");
}

/* What stands comes before what is over and waits to be acknowledged. */
static bool is_worse(const struct alarm *one, const struct alarm *other) {
    if (alarm_stands(one) != alarm_stands(other))
        return alarm_stands(one);
    return alarm_group_order(one, other) < 0;
}

/* What is wrong first of all, in words: "Suction low", or "Over: Fan stopped". */
static void write_worst(struct page_view *view, size_t system) {
    const struct alarm_book *book = pipeline_alarms(view->api->pipeline);
    const struct alarm *worst = NULL;
    for (const struct alarm *alarm = alarm_book_of_system(book, system); alarm;
         alarm = alarm->next_of_system)
        if (alarm_open(alarm) && alarm_state(alarm) != ALARM_SUPPRESSED_BY_DESIGN &&
            (!worst || is_worse(alarm, worst)))
            worst = alarm;
    if (!worst)
        return;
    html_markup(&view->html, "<strong>");
    if (!alarm_stands(worst))
        html_format(&view->html, "%s ",
                    wording_languages[view->language].texts->subject_prefix[WORDING_RETURNED]);
    html_text(&view->html, page_condition(view, worst->condition));
    html_markup(&view->html, "</strong><br>");
}

static void write_dates(struct page_view *view, size_t system, const struct system_line *line) {
    const struct time_zone *zone = view->api->fleet->systems[system].zone;
    page_open_cell(view, PAGE_LAST_READING);
    page_age(view, line->last_reading_ms, zone);
    html_markup(&view->html, "</td>");
    page_open_cell(view, PAGE_OPEN_ALARMS);
    write_worst(view, system);
    if (line->open)
        page_fill(view, PAGE_OPEN_COUNTS, slot_count(line->open), slot_count(line->unacknowledged));
    else
        page_write(view, PAGE_NONE);
    html_markup(&view->html, "</td>");
    page_open_cell(view, PAGE_NEXT_DATE);
    page_date(view, line->next_visit_ms, zone);
    if (line->next_visit_ms != TIMESTAMP_NONE && line->next_visit_ms < view->api->now_ms) {
        html_markup(&view->html, " ");
        page_element(view, "strong", PAGE_OVERDUE);
    }
    html_markup(&view->html, "</td>");
}

static void write_row(struct page_view *view, size_t system) {
    const struct system_description *about = view->api->fleet->systems[system].description;
    const struct time_zone *zone = view->api->fleet->systems[system].zone;
    struct html_address address = page_system_address(view, system, "");
    const struct system_line line = api_system_line(view->api, system);
    html_markup(&view->html, "<tr>");
    html_open(&view->html, "th", "scope", "row", "data-label", page_words(view, PAGE_SYSTEM), NULL);
    page_link(view, &address, about->name);
    html_element(&view->html, "span", about->address ? about->address : about->id, "class", "age",
                 NULL);
    html_markup(&view->html, "</th>");
    page_open_cell(view, PAGE_STATUS);
    page_status(view, line.status);
    html_markup(&view->html, "<br><span class=\"age\">");
    page_status_since(view, system, line.status, line.since_ms);
    html_markup(&view->html, "</span></td>");
    write_suction(view, &line.suction, zone);
    write_radons(view, &line);
    write_dates(view, system, &line);
    html_markup(&view->html, "</tr>");
}

/* ---- looking for what is asked ---- */

static bool holds(const char *text, const char *words) {
    return text && strcasestr(text, words);
}

static bool is_asked_for(const struct api *api, const struct question *asked,
                         const struct fleet_row *row) {
    const struct system_description *about = api->fleet->systems[row->system].description;
    const struct settings_contact *contact =
        *asked->contact ? fleet_contact(api->fleet, asked->contact) : NULL;
    return (!*asked->status ||
            strcmp(asked->status, monitor_status_word((enum monitor_status)row->status)) == 0) &&
           (!*asked->need ||
            strcmp(asked->need, fleet_need_word((enum fleet_need)row->need)) == 0) &&
           (!*asked->contact || (contact && fleet_concerns(api->fleet, contact, row->system))) &&
           page_is_in_region(api, row->system, asked->region) &&
           (!*asked->find || holds(about->id, asked->find) || holds(about->name, asked->find) ||
            holds(about->address, asked->find));
}

static void forget_rows(struct fleet_rows *answer) {
    for (size_t i = 0; i < ROWS_A_PAGE; i++)
        free(answer->systems[i]);
    *answer = (struct fleet_rows){0};
}

/* Keeps the rows of the page that is asked for; of a page behind the end, those of the last one. */
static bool look_at_row(const struct api *api, const struct question *asked,
                        const struct fleet_row *row, struct fleet_rows *answer) {
    if (!is_asked_for(api, asked, row))
        return true;
    size_t page = answer->count++ / ROWS_A_PAGE + 1, place = (answer->count - 1) % ROWS_A_PAGE;
    if (page > asked->page)
        return true;
    free(answer->systems[place]);
    answer->systems[place] = strdup(fleet_system_id(api->fleet, row->system));
    answer->row_count = place + 1;
    answer->page = page;
    return answer->systems[place] != NULL;
}

enum fleet_look { LOOK_MORE, LOOK_DONE, LOOK_FAILED };

static enum fleet_look look(const struct fleet_index *index, const struct api *api,
                            const struct question *asked, struct fleet_rows *answer) {
    if (answer->index_ms != index->made_ms) {
        forget_rows(answer);
        answer->index_ms = index->made_ms;
    }
    for (size_t i = 0; i < LOOKS_A_STEP && answer->looked < index->count; i++) {
        if (!look_at_row(api, asked, &index->rows[answer->looked++], answer))
            return LOOK_FAILED;
    }
    answer->pages = answer->count ? (answer->count + ROWS_A_PAGE - 1) / ROWS_A_PAGE : 1;
    answer->page = answer->page ? answer->page : 1;
    return answer->looked < index->count ? LOOK_MORE : LOOK_DONE;
}

/* ---- the sheet, made in parts ---- */

struct fleet_sheet {
    struct page_view view; /* of a request that is over: units and the HTML so far */
    struct question asked;
    struct fleet_rows answer;
    enum { SHEET_INDEX, SHEET_LOOK, SHEET_ROWS } stage;
    char *search, *foot; /* what stands above and below the list */
};

static void free_sheet(void *context) {
    struct fleet_sheet *sheet = context;
    char *const texts[] = {sheet->asked.find,    sheet->asked.status, sheet->asked.region,
                           sheet->asked.contact, sheet->asked.need,   sheet->search,
                           sheet->foot};
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++)
        free(texts[i]);
    forget_rows(&sheet->answer);
    text_buffer_clear(&sheet->view.html.text);
    free(sheet);
}

static void write_pages(struct page_view *view, const struct question *asked,
                        const struct fleet_rows *answer) {
    if (answer->pages < 2)
        return;
    html_open(&view->html, "nav", "class", "pages", "aria-label",
              page_words(view, PAGE_PAGES_OF_LIST), NULL);
    html_markup(&view->html, "<p>");
    if (answer->page > 1) {
        struct html_address before = list_address(view, asked, answer->page - 1);
        html_element(&view->html, "a", page_words(view, PAGE_BEFORE_PAGE), "href", before.text,
                     "rel", "prev", "data-key", "ArrowLeft", NULL);
    }
    page_fill(view, PAGE_PAGE_OF, slot_count(answer->page), slot_count(answer->pages));
    if (answer->page < answer->pages) {
        struct html_address next = list_address(view, asked, answer->page + 1);
        html_element(&view->html, "a", page_words(view, PAGE_NEXT_PAGE), "href", next.text, "rel",
                     "next", "data-key", "ArrowRight", NULL);
    }
    html_markup(&view->html, "</p></nav>");
}

static void begin_table(struct page_view *view) {
    static const enum page_text columns[] = {PAGE_SYSTEM,      PAGE_STATUS,   PAGE_SUCTION,
                                             PAGE_DAYS_90,     PAGE_RADON,    PAGE_LAST_READING,
                                             PAGE_OPEN_ALARMS, PAGE_NEXT_DATE};
    html_markup(&view->html, "<table class=\"fleet\">");
    page_element(view, "caption", PAGE_FLEET_CAPTION);
    page_table_head(view, columns, sizeof columns / sizeof columns[0]);
}

static void write_above(struct fleet_sheet *sheet, const struct fleet_index *index) {
    struct page_view *view = &sheet->view;
    write_needs(view, &sheet->asked, index);
    write_tally(view, &sheet->asked, index);
    text_buffer_add(&view->html.text, sheet->search);
    if (sheet->answer.row_count)
        begin_table(view);
    else
        page_none(view, PAGE_NO_SYSTEM_FITS);
}

static void write_below(struct fleet_sheet *sheet) {
    struct page_view *view = &sheet->view;
    if (sheet->answer.row_count)
        html_markup(&view->html, "</tbody></table>");
    write_pages(view, &sheet->asked, &sheet->answer);
    text_buffer_add(&view->html.text, sheet->foot);
}

/* One row, or the end. A system that new settings have taken away is left out. */
static enum api_list_step write_rows(struct fleet_sheet *sheet) {
    struct fleet_rows *answer = &sheet->answer;
    if (answer->next_row == answer->row_count) {
        write_below(sheet);
        return API_LIST_END;
    }
    size_t system = fleet_find_system(sheet->view.api->fleet, answer->systems[answer->next_row++]);
    if (system != FLEET_NONE)
        write_row(&sheet->view, system);
    return API_LIST_MORE;
}

static enum api_list_step advance(struct fleet_sheet *sheet, struct api *api) {
    struct fleet_index *index = page_index(api);
    if (sheet->stage == SHEET_ROWS)
        return write_rows(sheet);
    if (sheet->stage == SHEET_INDEX || index->reloads != api->reloads || !index->made_ms) {
        enum fleet_index_state state = fleet_index_advance(index, api);
        sheet->stage = state == FLEET_INDEX_READY ? SHEET_LOOK : SHEET_INDEX;
        return state == FLEET_INDEX_FAILED ? API_LIST_FAILED : API_LIST_MORE;
    }
    enum fleet_look state = look(index, api, &sheet->asked, &sheet->answer);
    if (state == LOOK_DONE) {
        write_above(sheet, index);
        sheet->stage = SHEET_ROWS;
    }
    return state == LOOK_FAILED ? API_LIST_FAILED : API_LIST_MORE;
}

static enum api_list_step step_sheet(void *context, struct api *api, struct api_list *rows) {
    struct fleet_sheet *sheet = context;
    struct text_buffer *html = &sheet->view.html.text;
    sheet->view.api = api;
    enum api_list_step step = advance(sheet, api);
    if (step == API_LIST_FAILED || html->failed)
        return API_LIST_FAILED;
    text_buffer_add_bytes(api_list_text(rows), html->length ? html->bytes : "", html->length);
    html->length = 0;
    return step;
}

static bool read_question(const struct page_view *view, struct question *asked) {
    long page = strtol(page_query(view, "page"), NULL, 10);
    *asked = (struct question){.find = strdup(page_query(view, "find")),
                               .status = strdup(page_query(view, "status")),
                               .region = strdup(page_query(view, "region")),
                               .contact = strdup(page_query(view, "contact")),
                               .need = strdup(page_query(view, "need")),
                               .page = page < 1 ? 1 : (size_t)page};
    return asked->find && asked->status && asked->region && asked->contact && asked->need;
}

/* Takes over the HTML so far. NULL when memory is out. */
static struct fleet_sheet *begin_sheet(struct page_view *view) {
    struct fleet_sheet *sheet = calloc(1, sizeof *sheet);
    if (!sheet)
        return NULL;
    sheet->view = (struct page_view){.html = view->html,
                                     .units = view->units,
                                     .units_chosen = view->units_chosen,
                                     .language = view->language,
                                     .language_chosen = view->language_chosen};
    view->html = (struct html){0};
    write_search(view);
    sheet->search = text_buffer_take(&view->html.text);
    view->html = (struct html){0};
    page_foot(view);
    sheet->foot = text_buffer_take(&view->html.text);
    if (read_question(view, &sheet->asked) && sheet->search && sheet->foot)
        return sheet;
    free_sheet(sheet);
    return NULL;
}

void page_fleet(struct page_view *view) {
    static const struct api_list_source source = {step_sheet, free_sheet};
    const struct page_head head = {
        .title = page_words(view, PAGE_SYSTEMS), .current = "/", .system = FLEET_NONE};
    struct api_call call = {.api = view->api, .request = view->request, .answer = view->answer};
    page_begin(view, &head);
    page_element(view, "h1", PAGE_SYSTEMS);
    page_enrol_notice(view);
    api_list_answer_text(&call, "text/html; charset=utf-8", &source, begin_sheet(view));
}
