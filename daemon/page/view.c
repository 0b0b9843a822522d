/*
 * What every page has around its content: a sheet of paper with a menu above and a title block
 * below, as on a drawing.
 */
#include "page/view.h"

#include "page/plain.h"
#include "page/view_text.h"
#include "page/view_words.h"
#include "page_assets.h"
#include "words/home_texts.h"
#include "words/wording.h"

#include <stdlib.h>
#include <string.h>

const char *page_query(const struct page_view *view, const char *name) {
    const char *value = web_query(view->request, name);
    return value ? value : "";
}

struct html_address page_path(const struct page_view *view, const char *path) {
    const char *base = view->api->fleet->settings->page.base;
    struct html_address address = html_address(base ? base : "");
    html_address_path(&address, path);
    return address;
}

void page_add_choices(const struct page_view *view, struct html_address *address) {
    if (view->units_chosen)
        html_address_query(address, "units", view->units == UNIT_SYSTEM_SI ? "si" : "us");
    if (view->language_chosen)
        html_address_query(address, "language", wording_language_code(view->language));
}

struct html_address page_address(const struct page_view *view, const char *path) {
    struct html_address address = page_path(view, path);
    page_add_choices(view, &address);
    return address;
}

struct html_address page_system_address(const struct page_view *view, size_t system,
                                        const char *behind) {
    struct html_address address = page_path(view, "/systems/");
    html_address_part(&address, fleet_system_id(view->api->fleet, system));
    html_address_path(&address, behind);
    page_add_choices(view, &address);
    return address;
}

void page_link(struct page_view *view, const struct html_address *address, const char *text) {
    if (view->paper) /* there is nothing to go to */
        html_text(&view->html, text);
    else
        html_element(&view->html, "a", text, "href", address->text, NULL);
}

void page_link_line(struct page_view *view, const struct html_address *address, const char *text) {
    html_markup(&view->html, "<p>");
    page_link(view, address, text);
    html_markup(&view->html, "</p>");
}

const struct time_zone *page_zone(const struct page_view *view, size_t system) {
    const struct fleet *fleet = view->api->fleet;
    if (system == FLEET_NONE)
        system = 0;
    return system < fleet->system_count ? fleet->systems[system].zone : NULL;
}

/* ---- around the content ---- */

static void menu_entry(struct page_view *view, const struct page_head *head, const char *path,
                       enum page_text text) {
    struct html_address address = page_address(view, path);
    bool here = head->current && strcmp(head->current, path) == 0;
    html_markup(&view->html, "<li>");
    html_element(&view->html, "a", page_words(view, text), "href", address.text, "aria-current",
                 here ? "page" : NULL, NULL);
    html_markup(&view->html, "</li>");
}

static void write_account(struct page_view *view) {
    html_markup(&view->html, "<div class=\"account\">");
    if (view->session) {
        struct html_address away = page_address(view, "/sign-out");
        html_open(&view->html, "form", "method", "post", "action", away.text, NULL);
        html_hidden(&view->html, "token", view->session->token);
        html_element(&view->html, "span", view->session->account, NULL);
        html_markup(&view->html, " <button type=\"submit\">");
        page_write(view, PAGE_SIGN_OUT);
        html_markup(&view->html, "</button></form>");
    } else if (view->api->fleet->settings->page.access_file) {
        struct html_address address = page_address(view, "/sign-in");
        page_link(view, &address, page_words(view, PAGE_SIGN_IN));
    }
    html_markup(&view->html, "</div>");
}

static void write_menu(struct page_view *view, const struct page_head *head) {
    html_markup(&view->html, "<header class=\"top\">");
    html_open(&view->html, "nav", "aria-label", page_words(view, PAGE_SHEETS), NULL);
    html_markup(&view->html, "<ul>");
    menu_entry(view, head, "/", PAGE_SYSTEMS);
    menu_entry(view, head, "/alarms", PAGE_ALARMS);
    menu_entry(view, head, "/visits", PAGE_VISITS);
    menu_entry(view, head, "/fans", PAGE_FANS);
    if (view->session)
        menu_entry(view, head, "/enrol", PAGE_NEW_HOUSE);
    html_markup(&view->html, "</ul></nav>");
    write_account(view);
    html_markup(&view->html, "</header>");
}

/* PAGE_TEXT_COUNT: none. */
static enum page_text contacts_trouble(const struct api *api) {
    const struct settings *settings = api->fleet->settings;
    if (settings->contact_count == 0)
        return PAGE_NO_CONTACT;
    for (size_t i = 0; i < settings->contact_count; i++) {
        if (dispatch_health(api->dispatch, i) < DISPATCH_FAILING)
            return PAGE_TEXT_COUNT;
    }
    return PAGE_NO_CONTACT_REACHED;
}

static void write_notice(struct page_view *view, enum page_text strong, const char *text) {
    html_markup(&view->html, "<p>");
    page_element(view, "strong", strong);
    html_text(&view->html, text);
    html_markup(&view->html, "</p>");
}

/* What is wrong with the watch itself comes before what it says. */
static void write_own_trouble(struct page_view *view) {
    const struct api *api = view->api;
    bool doubted = api_clock_doubted(api);
    bool lost = api->lost_since_ms != TIMESTAMP_NONE && api->intake && !doubted;
    enum page_text contacts = contacts_trouble(api);
    if (!lost && !doubted && !api->reload_refused && contacts == PAGE_TEXT_COUNT &&
        !api->store_failing)
        return;
    html_markup(&view->html, "<div class=\"notice\" role=\"status\">");
    if (doubted) {
        write_notice(view, PAGE_CLOCK_DOUBTED, page_words(view, PAGE_CLOCK_WAITS));
        write_notice(view, PAGE_CLOCK_WHY, page_words_of(view, api->clock_why));
    }
    if (api->reload_refused)
        write_notice(view, PAGE_SETTINGS_REFUSED, page_words(view, PAGE_SETTINGS_KEPT));
    if (contacts != PAGE_TEXT_COUNT)
        write_notice(view, contacts, "");
    if (lost) {
        page_fill_element(view, "p", NULL, PAGE_BROKER_LOST,
                          slot_strong(page_words(view, PAGE_NO_BROKER)),
                          slot_time(api->lost_since_ms, page_zone(view, FLEET_NONE)));
    }
    if (api->store_failing)
        write_notice(view, PAGE_STORE_FAILS, page_words(view, PAGE_STORE_WAITS));
    html_markup(&view->html, "</div>");
}

void page_look(struct page_view *view) {
    if (view->paper) {
        html_markup(&view->html, "<style>");
        html_literal(&view->html, (const char *)embedded_style_css);
        html_markup(&view->html, "</style>");
        return;
    }
    struct html_address style = page_path(view, "/assets/style.css"),
                        icon = page_path(view, "/assets/icon.svg");
    html_empty(&view->html, "link", "rel", "stylesheet", "href", style.text, NULL);
    html_empty(&view->html, "link", "rel", "icon", "href", icon.text, "type", "image/svg+xml",
               NULL);
}

void page_begin(struct page_view *view, const struct page_head *head) {
    struct html_address keys = page_path(view, "/assets/keys.js");
    view->head = *head;
    html_markup(&view->html, "<!DOCTYPE html>\n");
    html_open(&view->html, "html", "lang", wording_language_code(view->language), NULL);
    html_markup(&view->html, "<head><meta charset=\"utf-8\"><meta name=\"viewport\" "
                             "content=\"width=device-width, initial-scale=1\">");
    /* without it browsers hide their Origin from our own forms */
    html_markup(&view->html, "<meta name=\"referrer\" content=\"same-origin\"><title>");
    html_text(&view->html, head->title);
    html_markup(&view->html, " – subslabd</title>");
    page_look(view);
    if (!view->paper)
        html_element(&view->html, "script", "", "src", keys.text, "defer", "", NULL);
    html_markup(&view->html, "</head>");
    html_open(&view->html, "body", "class", head->style, NULL);
    if (!view->paper)
        html_element(&view->html, "a", page_words(view, PAGE_TO_CONTENT), "class", "skip", "href",
                     "#content", NULL);
    page_status_shapes(view);
    if (!view->paper)
        write_menu(view, head);
    html_markup(&view->html, "<main id=\"content\" tabindex=\"-1\">");
    if (!view->paper)
        write_own_trouble(view);
}

/* This sheet with another choice: `name` is left to the caller, all else is as it was asked. */
static struct html_address same_sheet(const struct page_view *view, const char *name) {
    struct html_address address = page_path(view, view->request->path);
    static const char *const kept[] = {"status", "find",   "page", "range",    "to",
                                       "all",    "before", "need", "region",   "contact",
                                       "count",  "points", "year", "language", "units"};
    for (size_t i = 0; i < sizeof kept / sizeof kept[0]; i++)
        if (strcmp(kept[i], name) != 0)
            html_address_query(&address, kept[i], page_query(view, kept[i]));
    return address;
}

static void write_units_switch(struct page_view *view) {
    bool si = view->units == UNIT_SYSTEM_SI;
    struct html_address address = same_sheet(view, "units");
    html_address_query(&address, "units", si ? "us" : "si");
    page_element(view, "dt", PAGE_UNITS);
    html_markup(&view->html, "<dd>");
    page_write(view, si ? PAGE_UNITS_SI : PAGE_UNITS_US);
    if (!view->paper) {
        html_markup(&view->html, " · ");
        page_link(view, &address, page_words(view, si ? PAGE_TO_US : PAGE_TO_SI));
    }
    html_markup(&view->html, "</dd>");
}

void page_language_switch(struct page_view *view) {
    html_element(&view->html, "dt", home_text(view->language, HOME_LANGUAGE), NULL);
    html_markup(&view->html, "<dd>");
    html_text(&view->html, home_text(view->language, HOME_LANGUAGE_NAME));
    for (size_t other = 0; other < home_text_languages() && !view->paper; other++) {
        const char *code = wording_language_code(other);
        struct html_address address = same_sheet(view, "language");
        html_address_query(&address, "language", code);
        if (other == view->language)
            continue;
        html_markup(&view->html, " · ");
        html_element(&view->html, "a", home_text(other, HOME_LANGUAGE_NAME), "href", address.text,
                     "hreflang", code, "lang", code, NULL);
    }
    html_markup(&view->html, "</dd>");
}

static void write_title_block(struct page_view *view, const struct page_head *head) {
    const struct fleet *fleet = view->api->fleet;
    bool one = head->system != FLEET_NONE;
    html_markup(&view->html, "<footer><dl class=\"title-block\">");
    page_element(view, "dt", PAGE_SHEET);
    html_element(&view->html, "dd", head->title, NULL);
    page_element(view, "dt", PAGE_SYSTEM);
    html_markup(&view->html, "<dd>");
    if (one)
        html_text(&view->html, fleet_system_id(fleet, head->system));
    else
        page_fill(view, PAGE_IN_FLEET, slot_count(fleet->system_count));
    html_markup(&view->html, "</dd>");
    page_element(view, "dt", PAGE_AS_OF);
    html_markup(&view->html, "<dd>");
    page_time(view, view->api->now_ms, page_zone(view, head->system));
    html_markup(&view->html, "</dd>");
    if (strcmp(view->request->method, "GET") == 0) {
        write_units_switch(view);
        page_language_switch(view);
    }
    html_markup(&view->html, "</dl></footer>");
}

void page_foot(struct page_view *view) {
    html_markup(&view->html, "</main>");
    write_title_block(view, &view->head);
    html_markup(&view->html, "</body></html>\n");
}

void page_end(struct page_view *view, int status) {
    page_foot(view);
    page_answer(view, status);
}

/* A paper, which is asked for as plain text. */
static bool is_plain(const struct page_view *view) {
    const char *style = view->head.style ? view->head.style : "";
    return strcmp(style, "record") == 0 && strcmp(page_query(view, "as"), "text") == 0;
}

void page_answer(struct page_view *view, int status) {
    struct web_answer *answer = view->answer;
    bool plain = is_plain(view);
    char *html = text_buffer_take(&view->html.text);
    answer->status = status;
    answer->content_type = plain ? "text/plain; charset=utf-8" : "text/html; charset=utf-8";
    answer->body = plain && html ? page_plain(html) : html;
    if (answer->body != html)
        free(html);
    if (answer->body)
        answer->body_length = strlen(answer->body);
    else
        answer->status = 500;
}

void page_say_why(struct page_view *view, int status, enum page_text title, const char *sentence) {
    const struct page_head head = {.title = page_words(view, title), .system = FLEET_NONE};
    struct html_address fleet = page_address(view, "/");
    page_begin(view, &head);
    page_element(view, "h1", title);
    html_element(&view->html, "p", sentence, NULL);
    page_link_line(view, &fleet, page_words(view, PAGE_TO_SYSTEMS));
    page_end(view, status);
}

void page_say(struct page_view *view, int status, enum page_text title, enum page_text sentence) {
    page_say_why(view, status, title, page_words(view, sentence));
}

bool page_add_header(struct page_view *view, const char *name, const char *value) {
    struct web_answer *answer = view->answer;
    char *copy = strdup(value);
    if (!copy || answer->header_count == sizeof answer->headers / sizeof answer->headers[0]) {
        free(copy);
        return false;
    }
    answer->headers[answer->header_count].name = name;
    answer->headers[answer->header_count++].value = copy;
    return true;
}

void page_redirect(struct page_view *view, const struct html_address *address) {
    page_add_header(view, "Location", address->text);
    view->answer->status = 303;
    view->answer->content_type = "text/plain; charset=utf-8";
    view->answer->static_body = "See the other page.\n";
    view->answer->body_length = strlen(view->answer->static_body);
}

void page_redirect_to_system(struct page_view *view, size_t system) {
    struct html_address address = page_system_address(view, system, "");
    page_redirect(view, &address);
}

void page_token(struct page_view *view) {
    html_hidden(&view->html, "token", view->session->token);
}

static void begin_form(struct page_view *view, size_t system, const char *action,
                       const char *style) {
    struct html_address address = page_system_address(view, system, action);
    html_open(&view->html, "form", "method", "post", "action", address.text, "class", style, NULL);
    page_token(view);
}

void page_begin_form(struct page_view *view, size_t system, const char *action) {
    begin_form(view, system, action, "do");
}

void page_begin_entry(struct page_view *view, size_t system, const char *action) {
    begin_form(view, system, action, "entry");
}
