/*
 * What every page has around its content: a sheet of paper with a menu above and a title block
 * below, as on a drawing.
 */
#include "page/view.h"

#include "page/view_text.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

const char *page_query(const struct page_view *view, const char *name) {
    const char *value = web_query(view->request, name);
    return value ? value : "";
}

struct html_address page_address(const struct page_view *view, const char *path) {
    struct html_address address = html_address(path);
    if (view->units_chosen)
        html_address_query(&address, "units", view->units == UNIT_SYSTEM_SI ? "si" : "us");
    return address;
}

struct html_address page_system_address(const struct page_view *view, size_t system,
                                        const char *behind) {
    struct html_address address = html_address(view->share ? "/share/" : "/systems/");
    html_address_part(&address,
                      view->share ? view->share : fleet_system_id(view->api->fleet, system));
    html_address_path(&address, behind);
    if (view->units_chosen)
        html_address_query(&address, "units", view->units == UNIT_SYSTEM_SI ? "si" : "us");
    return address;
}

void page_link(struct page_view *view, const struct html_address *address, const char *text) {
    html_element(&view->html, "a", text, "href", address->text, NULL);
}

const struct time_zone *page_zone(const struct page_view *view, size_t system) {
    const struct fleet *fleet = view->api->fleet;
    if (system == FLEET_NONE)
        system = 0;
    return system < fleet->system_count ? fleet->systems[system].zone : NULL;
}

/* ---- around the content ---- */

static void menu_entry(struct page_view *view, const struct page_head *head, const char *path,
                       const char *text) {
    struct html_address address = page_address(view, path);
    bool here = head->current && strcmp(head->current, path) == 0;
    html_markup(&view->html, "<li>");
    html_element(&view->html, "a", text, "href", address.text, "aria-current", here ? "page" : NULL,
                 NULL);
    html_markup(&view->html, "</li>");
}

static void write_account(struct page_view *view) {
    html_markup(&view->html, "<div class=\"account\">");
    if (view->session) {
        html_markup(&view->html, "<form method=\"post\" action=\"/sign-out\">");
        html_empty(&view->html, "input", "type", "hidden", "name", "token", "value",
                   view->session->token, NULL);
        html_element(&view->html, "span", view->session->account, NULL);
        html_markup(&view->html, " <button type=\"submit\">Sign out</button></form>");
    } else if (view->api->fleet->settings->page_access_file) {
        struct html_address address = page_address(view, "/sign-in");
        page_link(view, &address, "Sign in");
    }
    html_markup(&view->html, "</div>");
}

static void write_menu(struct page_view *view, const struct page_head *head) {
    if (view->share)
        return;
    html_markup(&view->html, "<header class=\"top\"><nav aria-label=\"Sheets\"><ul>");
    menu_entry(view, head, "/", "Systems");
    menu_entry(view, head, "/alarms", "Alarms");
    menu_entry(view, head, "/visits", "Visits");
    html_markup(&view->html, "</ul></nav>");
    write_account(view);
    html_markup(&view->html, "</header>");
}

static const char *contacts_trouble(const struct api *api) {
    const struct settings *settings = api->fleet->settings;
    if (settings->contact_count == 0)
        return "Nobody will be told of anything: the settings name no contact.";
    for (size_t i = 0; i < settings->contact_count; i++) {
        if (dispatch_health(api->dispatch, i) < DISPATCH_FAILING)
            return NULL;
    }
    return "No contact can be reached: messages wait.";
}

static void write_notice(struct page_view *view, const char *strong, const char *text) {
    html_markup(&view->html, "<p><strong>");
    html_text(&view->html, strong);
    html_markup(&view->html, "</strong>");
    html_text(&view->html, text);
    html_markup(&view->html, "</p>");
}

/* What is wrong with the watch itself comes before what it says. A shared link shows only what
   concerns its readings. */
static void write_own_trouble(struct page_view *view) {
    const struct api *api = view->api;
    bool doubted = api_clock_doubted(api);
    bool lost = api->lost_since_ms != TIMESTAMP_NONE && api->intake && !doubted;
    bool refused = api->reload_refused && !view->share;
    const char *contacts = view->share ? NULL : contacts_trouble(api);
    if (!lost && !doubted && !refused && !contacts && !api->store_failing)
        return;
    html_markup(&view->html, "<div class=\"notice\" role=\"status\">");
    if (doubted) {
        write_notice(view, "The clock is not to be trusted.",
                     " Readings wait at the broker until it is right.");
        if (!view->share)
            write_notice(view, "Why: ", api->clock_why);
    }
    if (refused)
        write_notice(view, "The settings on disk were refused.",
                     " Those read before stay in force; the log names file and line.");
    if (contacts)
        write_notice(view, contacts, "");
    if (lost) {
        html_markup(&view->html, "<p><strong>No connection to the broker</strong> since ");
        page_time(view, api->lost_since_ms, page_zone(view, FLEET_NONE));
        html_markup(&view->html, ": what follows is as old as its readings.</p>");
    }
    if (api->store_failing)
        write_notice(view, "The store can't be written.",
                     " Readings wait at the broker; nothing can be changed here until it works "
                     "again.");
    html_markup(&view->html, "</div>");
}

void page_begin(struct page_view *view, const struct page_head *head) {
    view->head = *head;
    html_markup(&view->html, "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">"
                             "<meta name=\"viewport\" content=\"width=device-width, "
                             "initial-scale=1\">");
    if (view->share)
        html_markup(&view->html, "<meta name=\"robots\" content=\"noindex\">");
    else /* or browsers hide their Origin from our own forms */
        html_markup(&view->html, "<meta name=\"referrer\" content=\"same-origin\">");
    html_markup(&view->html, "<title>");
    html_text(&view->html, head->title);
    html_markup(&view->html,
                " – subslabd</title><link rel=\"stylesheet\" href=\"/assets/style.css\">"
                "<link rel=\"icon\" href=\"/assets/icon.svg\" type=\"image/svg+xml\">"
                "<script src=\"/assets/keys.js\" defer></script></head>");
    html_open(&view->html, "body", "class", head->style, NULL);
    html_markup(&view->html, "<a class=\"skip\" href=\"#content\">To the content</a>");
    page_status_shapes(view);
    write_menu(view, head);
    html_markup(&view->html, "<main id=\"content\" tabindex=\"-1\">");
    write_own_trouble(view);
}

static void write_units_switch(struct page_view *view) {
    bool si = view->units == UNIT_SYSTEM_SI;
    struct html_address address = html_address(view->request->path);
    static const char *const kept[] = {"status", "find", "page", "range", "to", "all", "before"};
    for (size_t i = 0; i < sizeof kept / sizeof kept[0]; i++)
        html_address_query(&address, kept[i], page_query(view, kept[i]));
    html_address_query(&address, "units", si ? "us" : "si");
    html_markup(&view->html, "<dt>Units</dt><dd>");
    html_text(&view->html, si ? "SI (Pa, Bq/m3) · " : "US (inH2O, pCi/L) · ");
    page_link(view, &address, si ? "US units" : "SI units");
    html_markup(&view->html, "</dd>");
}

static void write_title_block(struct page_view *view, const struct page_head *head) {
    const struct fleet *fleet = view->api->fleet;
    bool one = head->system != FLEET_NONE;
    html_markup(&view->html, "<footer><dl class=\"title-block\"><dt>Sheet</dt><dd>");
    html_text(&view->html, head->title);
    html_markup(&view->html, "</dd><dt>System</dt><dd>");
    if (one)
        html_text(&view->html, fleet_system_id(fleet, head->system));
    else if (view->share)
        html_markup(&view->html, "–");
    else
        html_format(&view->html, "%zu in the fleet", fleet->system_count);
    html_markup(&view->html, "</dd><dt>As of</dt><dd>");
    page_time(view, view->api->now_ms, page_zone(view, head->system));
    html_markup(&view->html, "</dd>");
    if (strcmp(view->request->method, "GET") == 0)
        write_units_switch(view);
    html_markup(&view->html, "</dl></footer>");
}

void page_foot(struct page_view *view) {
    html_markup(&view->html, "</main>");
    write_title_block(view, &view->head);
    html_markup(&view->html, "</body></html>\n");
}

void page_end(struct page_view *view, int status) {
    page_foot(view);
    view->answer->status = status;
    view->answer->content_type = "text/html; charset=utf-8";
    view->answer->body_length = view->html.text.length;
    view->answer->body = text_buffer_take(&view->html.text);
    if (!view->answer->body)
        view->answer->status = 500;
}

void page_say(struct page_view *view, int status, const char *title, const char *sentence) {
    const struct page_head head = {.title = title, .system = FLEET_NONE};
    page_begin(view, &head);
    html_element(&view->html, "h1", title, NULL);
    html_element(&view->html, "p", sentence, NULL);
    html_markup(&view->html, "<p><a href=\"/\">To the systems</a></p>");
    page_end(view, status);
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

void page_token(struct page_view *view) {
    html_empty(&view->html, "input", "type", "hidden", "name", "token", "value",
               view->session->token, NULL);
}

void page_begin_form(struct page_view *view, size_t system, const char *action) {
    struct html_address address = html_address("/systems/");
    html_address_part(&address, fleet_system_id(view->api->fleet, system));
    html_address_path(&address, action);
    html_open(&view->html, "form", "method", "post", "action", address.text, "class", "do", NULL);
    page_token(view);
}
