/*
 * Who reads a homeowner's link, in which language, and what stands around its sheets.
 */
#include "page/home.h"

#include "host/clock.h"
#include "page/home_forms.h"
#include "page/share.h"
#include "words/accept_language.h"
#include "words/fill.h"
#include "words/wording.h"

#include <stdlib.h>
#include <string.h>

/* ---- texts ---- */

void home_write(struct page_view *view, enum home_text text) {
    html_text(&view->html, home_words(view, text));
}

void home_write_with(struct page_view *view, enum home_text text, const char *a, const char *b,
                     const char *c) {
    const struct page_slot slots[] = {slot_text(a), slot_text(b), slot_text(c)};
    page_fill_slots(view, home_words(view, text), slots, sizeof slots / sizeof slots[0]);
}

void home_element(struct page_view *view, const char *tag, enum home_text text, const char *a) {
    html_open(&view->html, tag, NULL);
    home_write_with(view, text, a, NULL, NULL);
    html_close(&view->html, tag);
}

char *home_percent(char text[PAGE_TEXT_SIZE], double fraction) {
    return page_percent(text, fraction, "> 99 %", "< 1 %");
}

char *home_fill(const struct page_view *view, char *text, size_t size, enum home_text pattern,
                const char *a, const char *b) {
    fill_places(text, size, home_words(view, pattern), (const char *const[]){a, b});
    return text;
}

static struct html_address address_in(const struct page_view *view, const char *behind,
                                      enum unit_system units, size_t language) {
    struct html_address address = page_path(view, "/share/");
    html_address_part(&address, view->share);
    html_address_path(&address, behind);
    if (view->units_chosen || units != view->units)
        html_address_query(&address, "units", units == UNIT_SYSTEM_SI ? "si" : "us");
    if (view->language_chosen || language != view->language)
        html_address_query(&address, "language", wording_language_code(language));
    return address;
}

struct html_address home_address(const struct page_view *view, const char *behind) {
    return address_in(view, behind, view->units, view->language);
}

/* ---- around a sheet ---- */

/* Why what is shown may be old, in words for somebody who can do nothing about it. */
static void write_trouble(struct page_view *view) {
    const struct api *api = view->api;
    bool doubted = api_clock_doubted(api);
    bool lost = api->lost_since_ms != TIMESTAMP_NONE && api->intake && !doubted;
    char text[PAGE_TEXT_SIZE];
    if (!doubted && !lost && !api->store_failing)
        return;
    html_markup(&view->html, "<div class=\"notice\" role=\"status\">");
    if (doubted)
        home_element(view, "p", HOME_OLD_CLOCK, NULL);
    if (lost)
        home_element(view, "p", HOME_OLD,
                     page_time_text(text, api->lost_since_ms, page_zone(view, view->head.system)));
    if (api->store_failing)
        home_element(view, "p", HOME_OLD_STORE, NULL);
    html_markup(&view->html, "</div>");
}

/* Unlike the other sheets its forms are open to whoever holds the link; their browsers tell where
   a form comes from only to ourselves. */
void home_begin(struct page_view *view, const char *title, const char *style) {
    html_markup(&view->html, "<!DOCTYPE html>\n");
    html_open(&view->html, "html", "lang", wording_language_code(view->language), NULL);
    html_markup(&view->html,
                "<head><meta charset=\"utf-8\"><meta name=\"viewport\" "
                "content=\"width=device-width, initial-scale=1\"><meta name=\"robots\" "
                "content=\"noindex\"><meta name=\"referrer\" content=\"same-origin\"><title>");
    html_text(&view->html, title);
    html_markup(&view->html, " – subslabd</title>");
    page_look(view);
    html_markup(&view->html, "</head>");
    html_open(&view->html, "body", "class", style, NULL);
    html_markup(&view->html, "<a class=\"skip\" href=\"#content\">");
    home_write(view, HOME_SKIP);
    html_markup(&view->html, "</a>");
    page_status_shapes(view);
    html_markup(&view->html, "<main id=\"content\" tabindex=\"-1\">");
    html_element(&view->html, "h1", title, NULL);
    write_trouble(view);
}

static const char *behind_link(const struct page_view *view) {
    const char *third = view->parts[1] ? strchr(view->request->path + 7, '/') : NULL;
    return third ? third : "";
}

static void write_switches(struct page_view *view) {
    bool si = view->units == UNIT_SYSTEM_SI;
    const char *behind = behind_link(view);
    struct html_address units =
        address_in(view, behind, si ? UNIT_SYSTEM_US : UNIT_SYSTEM_SI, view->language);
    home_element(view, "dt", HOME_UNITS, NULL);
    html_markup(&view->html, "<dd>");
    home_write(view, si ? HOME_UNITS_SI : HOME_UNITS_US);
    html_markup(&view->html, " · ");
    page_link(view, &units, home_words(view, si ? HOME_TO_US : HOME_TO_SI));
    html_markup(&view->html, "</dd>");
    page_language_switch(view);
}

void home_end(struct page_view *view, int status) {
    html_markup(&view->html, "</main><footer><dl class=\"title-block\">");
    home_element(view, "dt", HOME_AS_OF, NULL);
    html_markup(&view->html, "<dd>");
    page_time(view, view->api->now_ms, page_zone(view, view->head.system));
    html_markup(&view->html, "</dd>");
    if (view->share && strcmp(view->request->method, "GET") == 0)
        write_switches(view);
    html_markup(&view->html, "</dl></footer></body></html>\n");
    page_answer(view, status);
}

void home_say(struct page_view *view, int status, enum home_text title, enum home_text sentence) {
    home_begin(view, home_words(view, title), NULL);
    home_element(view, "p", sentence, NULL);
    if (view->head.system != FLEET_NONE) {
        struct html_address home = home_address(view, "");
        page_link_line(view, &home, home_words(view, HOME_BACK));
    }
    home_end(view, status);
}

/* ---- who reads ---- */

/* The language that the settings name for the homeowner of a house. */
static bool language_of_settings(const struct fleet *fleet, size_t system, size_t *language) {
    const struct settings *settings = fleet->settings;
    for (size_t i = 0; system != FLEET_NONE && i < settings->contact_count; i++) {
        const struct settings_contact *contact = &settings->contacts[i];
        if (contact->role == ROLE_HOMEOWNER && contact->language &&
            fleet_concerns(fleet, contact, system))
            return wording_language_find(contact->language, language);
    }
    return false;
}

/* What the reader chose on the sheet, else what the settings say, else what the browser asks. */
static void choose_language(struct page_view *view, size_t system) {
    view->language_chosen = wording_language_find(page_query(view, "language"), &view->language);
    if (!view->language_chosen && !language_of_settings(view->api->fleet, system, &view->language))
        accept_language_find(web_header(view->request, "Accept-Language"), &view->language);
}

/* ---- which sheet ---- */

static const struct home_route {
    const char *third; /* of the path */
    void (*show)(struct page_view *view, size_t system);
    void (*form)(struct page_view *view, size_t system, const struct page_form *typed);
} routes[] = {
    {NULL, home_sheet, NULL},        {"record", home_record, NULL}, {"u-tube", NULL, home_u_tube},
    {"radon-test", NULL, home_test}, {"fan", NULL, home_fan},
};

static const struct home_route *find_route(const struct page_view *view) {
    for (size_t i = 0; i < sizeof routes / sizeof routes[0]; i++) {
        if (page_path_is(view, "share", "*", routes[i].third))
            return &routes[i];
    }
    return NULL;
}

/* A form that is shown, or one that was posted from a page of ours. */
static void show_form(struct page_view *view, size_t system, const struct home_route *route) {
    const struct web_request *request = view->request;
    struct page_form *typed = NULL;
    if (strcmp(request->method, "GET") == 0) {
        route->form(view, system, NULL);
        return;
    }
    if (!page_form_from_here(request))
        home_say(view, 403, HOME_FOREIGN_TITLE, HOME_FOREIGN);
    else if (page_form_is(request) && (typed = calloc(1, sizeof *typed)) &&
             page_form_parse(request->body, request->body_length, typed))
        route->form(view, system, typed);
    else
        home_say(view, page_form_is(request) ? 400 : 415, HOME_NO_FORM_TITLE, HOME_NO_FORM);
    free(typed);
}

/* Nobody knows who reads a link: its sheets have an allowance of their own. A form costs next to
   nothing to show, and what was typed must not be lost; home_form_may asks before one is taken. */
static void show_sheet(struct page_view *view, size_t system, const struct home_route *route) {
    struct page_allowance *allowance = &view->page->share_allowance;
    int64_t begin_ms = clock_monotonic_ms();
    if (route->form || page_allowance_any(allowance, begin_ms)) {
        if (route->form)
            show_form(view, system, route);
        else
            route->show(view, system);
        page_allowance_take(allowance, clock_monotonic_ms() - begin_ms);
    } else {
        page_add_header(view, "Retry-After", "2");
        page_add_header(view, "Refresh", "3"); /* a browser loads it again by itself */
        home_say(view, 503, HOME_BUSY_TITLE, HOME_BUSY);
    }
}

bool page_home_path(const struct page_view *view) {
    return view->parts[0] && strcmp(view->parts[0], "share") == 0;
}

void page_home(struct page_view *view, bool whole) {
    struct store *store = pipeline_store(view->api->pipeline);
    bool get = strcmp(view->request->method, "GET") == 0;
    const char *token = whole ? view->parts[1] : NULL;
    size_t system = store && token ? page_share_find(store, view->api->fleet, token) : FLEET_NONE;
    view->session = NULL; /* shows to the contractor what the homeowner sees */
    view->share = system == FLEET_NONE ? NULL : token;
    view->head.system = system;
    choose_language(view, system);
    const struct home_route *route = find_route(view);
    if (system == FLEET_NONE)
        home_say(view, 404, HOME_GONE_TITLE, HOME_GONE);
    else if (!route)
        home_say(view, 404, HOME_NOTHING_TITLE, HOME_NOTHING);
    else if (get || route->form)
        show_sheet(view, system, route);
    else {
        page_add_header(view, "Allow", "GET, HEAD");
        home_say(view, 405, HOME_METHOD_TITLE, HOME_METHOD);
    }
}
