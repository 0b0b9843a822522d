/*
 * Who may look, and which page answers.
 */
#include "page/page.h"

#include "host/clock.h"
#include "host/log.h"
#include "page/enrol.h"
#include "page/forms.h"
#include "page/page_private.h"
#include "page/view_words.h"
#include "page_assets.h"
#include "settings/checked_text.h"
#include "words/accept_language.h"

#include <stdlib.h>
#include <string.h>

static const char cookie_name[] = "subslab_session";
/* Of the loop's time; what is left is the sensors'. */
static const double allowance_share = 0.6, share_allowance_share = 0.15;

void page_close(struct page *page) {
    if (!page)
        return;
    page_cache_clear(&page->cache);
    fleet_index_clear(&page->index);
    explicit_bzero(page, sizeof *page);
    free(page);
}

static struct page *page_of(struct api *api) {
    if (!api->page && (api->page = calloc(1, sizeof *api->page))) {
        api->page->allowance.share = allowance_share;
        api->page->share_allowance.share = share_allowance_share;
    }
    return api->page;
}

/* ---- who asks ---- */

static struct page_session *session_of(struct api *api, const struct web_request *request) {
    const char *file = api->fleet->settings->page.access_file;
    const char *key = web_cookie(request, cookie_name);
    struct page *page = file && key ? page_of(api) : NULL;
    struct page_session *session =
        page ? page_session_find(&page->sessions, key, clock_monotonic_ms()) : NULL;
    if (!session)
        return NULL;
    struct page_accounts *accounts = malloc(sizeof *accounts);
    char why[512] = "";
    const struct page_account *account =
        accounts && page_accounts_read(file, accounts, why, sizeof why)
            ? page_accounts_find(accounts, session->account)
            : NULL;
    bool good = account && strcmp(account->hash, session->hash) == 0;
    if (*why)
        log_line(LOG_LEVEL_ERROR, "page", "%s", why);
    free(accounts);
    if (good)
        return session;
    page_session_end(session);
    return NULL;
}

static bool asks_for_loopback(const struct web_request *request) {
    static const char *const names[] = {"localhost", "127.0.0.1", "[::1]"};
    const char *host = web_header(request, "Host");
    for (size_t i = 0; host && i < sizeof names / sizeof names[0]; i++) {
        size_t length = strlen(names[i]);
        if (strncasecmp(host, names[i], length) == 0 &&
            (host[length] == '\0' || host[length] == ':'))
            return true;
    }
    return false;
}

/* A proxy on this machine speaks for somebody elsewhere. */
static bool comes_through_proxy(const struct web_request *request) {
    static const char *const headers[] = {"Forwarded",        "X-Forwarded-For",
                                          "X-Forwarded-Host", "X-Forwarded-Proto",
                                          "X-Real-IP",        "Via"};
    for (size_t i = 0; i < sizeof headers / sizeof headers[0]; i++) {
        if (web_header(request, headers[i]))
            return true;
    }
    return false;
}

/* Without accounts the settings allow nothing but loopback. A page with names of its own is meant
   for others: whoever comes through a proxy may look like somebody at this machine, so all sign
   in. */
static bool may_read(const struct api *api, const struct web_request *request,
                     const struct page_session *session) {
    const struct settings *settings = api->fleet->settings;
    if (session || request->from_operator || !settings->page.access_file)
        return true;
    return settings->page.host_count == 0 &&
           checked_text_host_is_loopback(settings->page.address) && asks_for_loopback(request) &&
           !comes_through_proxy(request);
}

bool page_may_change(struct api *api, const struct web_request *request) {
    const struct page_session *session = session_of(api, request);
    const char *token = web_header(request, "X-Same-Site-Token");
    const char *type = request->content_type;
    return session && token && page_secret_same(session->token, token) &&
           page_form_from_here(request) &&
           (request->body_length == 0 || (type && strncmp(type, "application/json", 16) == 0));
}

/* ---- assets ---- */

static const struct {
    const char *path, *type;
    const unsigned char *bytes;
    const size_t *size;
} assets[] = {
    {"/assets/style.css", "text/css; charset=utf-8", embedded_style_css, &embedded_style_css_size},
    {"/assets/keys.js", "text/javascript; charset=utf-8", embedded_keys_js, &embedded_keys_js_size},
    {"/assets/icon.svg", "image/svg+xml", embedded_icon_svg, &embedded_icon_svg_size},
};

static void page_asset(struct page_view *view) {
    for (size_t i = 0; i < sizeof assets / sizeof assets[0]; i++) {
        if (strcmp(assets[i].path, view->request->path) != 0)
            continue;
        view->answer->status = 200;
        view->answer->content_type = assets[i].type;
        view->answer->static_body = (const char *)assets[i].bytes;
        view->answer->body_length = *assets[i].size;
        page_add_header(view, "Cache-Control", "private, max-age=3600");
        return;
    }
    page_say(view, 404, PAGE_NO_FILE_TITLE, PAGE_NO_FILE);
}

/* ---- what the sheets of a system share ---- */

const struct system_facts *page_facts(struct page_view *view, size_t system) {
    const struct system_facts *facts = page_cache_facts(&view->page->cache, view->api, system);
    if (!facts)
        page_say(view, 503, PAGE_NO_MEMORY_TITLE, PAGE_NO_MEMORY);
    return facts;
}

struct fleet_index *page_index(const struct api *api) {
    return &api->page->index;
}

/* ---- routes ---- */

size_t page_named_system(struct page_view *view) {
    size_t system = fleet_find_system(view->api->fleet, view->parts[1]);
    if (system == FLEET_NONE)
        page_say(view, 404, PAGE_NO_SYSTEM_TITLE, PAGE_NO_SYSTEM);
    return system;
}

static void get_sign_in(struct page_view *view) {
    page_sign_in(view, NULL, NULL);
}

struct page_route {
    const char *first, *second, *third; /* of the path; "*" any one part, NULL none */
    void (*show)(struct page_view *view);
    void (*show_of)(struct page_view *view, size_t system); /* of the system that is named */
    bool for_anybody;                                       /* without signing in, from anywhere */
    bool is_small;                                          /* costs next to nothing */
};

static const struct page_route routes[] = {
    {NULL, NULL, NULL, page_fleet, NULL, false, false},
    {"systems", "*", NULL, NULL, page_system, false, false},
    {"systems", "*", "record", NULL, page_record, false, false},
    {"systems", "*", "report", NULL, page_letter, false, false},
    {"systems", "*", "fan-sheet", NULL, page_fan_sheet, false, false},
    {"systems", "*", "commission", NULL, page_commission, false, false},
    {"alarms", NULL, NULL, page_alarms, NULL, false, false},
    {"visits", NULL, NULL, page_visits, NULL, false, false},
    {"enrol", NULL, NULL, page_enrol_topics, NULL, false, false},
    {"enrolled", "*", NULL, page_enrolled, NULL, false, true},
    {"fans", NULL, NULL, page_fans, NULL, false, false},
    {"sign-in", NULL, NULL, get_sign_in, NULL, true, true},
    {"assets", "*", NULL, page_asset, NULL, true, true},
};

static bool part_matches(const char *pattern, const char *part) {
    if (!pattern || !part)
        return pattern == part;
    return strcmp(pattern, "*") == 0 || strcmp(pattern, part) == 0;
}

bool page_path_is(const struct page_view *view, const char *first, const char *second,
                  const char *third) {
    return part_matches(first, view->parts[0]) && part_matches(second, view->parts[1]) &&
           part_matches(third, view->parts[2]) && !view->parts[3];
}

static const struct page_route *find_route(const struct page_view *view) {
    for (size_t i = 0; i < sizeof routes / sizeof routes[0]; i++) {
        if (page_path_is(view, routes[i].first, routes[i].second, routes[i].third))
            return &routes[i];
    }
    return NULL;
}

/* Cuts the path into its parts; an empty part belongs to no page. */
static bool split(struct page_view *view) {
    size_t length = strlen(view->request->path), count = 0;
    if (length >= sizeof view->path || view->request->path[0] != '/' ||
        strstr(view->request->path, "//"))
        return false;
    memcpy(view->path, view->request->path, length + 1);
    char *save, *part = strtok_r(view->path + 1, "/", &save);
    while (part && count < API_PARTS) {
        view->parts[count++] = part;
        part = strtok_r(NULL, "/", &save);
    }
    return !part && (length == 1 || view->request->path[length - 1] != '/');
}

static void choose_units(struct page_view *view) {
    const char *units = page_query(view, "units");
    view->units = view->api->fleet->settings->units;
    view->units_chosen = strcmp(units, "si") == 0 || strcmp(units, "us") == 0;
    if (view->units_chosen)
        view->units = *units == 's' ? UNIT_SYSTEM_SI : UNIT_SYSTEM_US;
}

/* What the reader chose, else what the settings say of the contact whose name the account has, else
   what the browser asks for. The operator's tool asks for a language or gets English. */
static void choose_language(struct page_view *view) {
    const struct settings_contact *contact =
        view->session ? fleet_contact(view->api->fleet, view->session->account) : NULL;
    view->language_chosen = wording_language_find(page_query(view, "language"), &view->language);
    if (!view->language_chosen && !(contact && contact->language &&
                                    wording_language_find(contact->language, &view->language)))
        accept_language_find(web_header(view->request, "Accept-Language"), &view->language);
}

static void ask_to_sign_in(struct page_view *view) {
    struct html_address address = page_address(view, "/sign-in");
    if (strcmp(view->request->path, "/") != 0)
        html_address_query(&address, "next", view->request->path);
    page_redirect(view, &address);
}

static void show_route(struct page_view *view, const struct page_route *route) {
    size_t system = route->show_of ? page_named_system(view) : FLEET_NONE;
    if (!route->show_of)
        route->show(view);
    else if (system != FLEET_NONE)
        route->show_of(view, system);
}

static void show_sheet(struct page_view *view, const struct page_route *route) {
    struct page_allowance *allowance = &view->page->allowance;
    int64_t begin_ms = clock_monotonic_ms();
    if (route->is_small || page_allowance_any(allowance, begin_ms)) {
        show_route(view, route);
        page_allowance_take(allowance, clock_monotonic_ms() - begin_ms);
    } else {
        page_add_header(view, "Retry-After", "2");
        page_add_header(view, "Refresh", "3"); /* a browser loads it again by itself */
        page_say(view, 503, PAGE_BUSY_TITLE, PAGE_BUSY);
    }
}

static void answer_get(struct page_view *view, const struct page_route *route) {
    if (!route->for_anybody && !may_read(view->api, view->request, view->session))
        ask_to_sign_in(view);
    else
        show_sheet(view, route);
}

static void answer_post(struct page_view *view) {
    if (!page_form_from_here(view->request))
        page_say(view, 403, PAGE_FOREIGN_TITLE, PAGE_FOREIGN);
    else if (!page_form_is(view->request))
        page_say(view, 415, PAGE_NO_FORM_TITLE, PAGE_NO_FORM);
    else
        page_post(view);
}

static void answer_page(struct page_view *view) {
    bool whole = split(view);
    const struct page_route *route = whole ? find_route(view) : NULL;
    bool get = strcmp(view->request->method, "GET") == 0;
    bool form = whole && page_post_known(view);
    if (page_home_path(view))
        page_home(view, whole);
    else if (get && route)
        answer_get(view, route);
    else if (!get && form)
        answer_post(view);
    else if (route || form) {
        page_add_header(view, "Allow", form ? route ? "GET, HEAD, POST" : "POST" : "GET, HEAD");
        page_say(view, 405, PAGE_METHOD_TITLE, PAGE_METHOD);
    } else
        page_say(view, 404, PAGE_NO_FILE_TITLE, PAGE_NO_PAGE);
}

/* What the operator's tool fetches as a file of its own. */
static bool asks_for_paper(const struct web_request *request) {
    const char *end = strrchr(request->path, '/');
    return strncmp(request->path, "/systems/", 9) == 0 &&
           (strcmp(end, "/record") == 0 || strcmp(end, "/report") == 0 ||
            strcmp(end, "/fan-sheet") == 0) &&
           strcmp(request->method, "GET") == 0;
}

static bool belongs_to_api(const char *path) {
    static const char *const paths[] = {"/health", "/metrics", "/metrics/systems", "/visits.ics",
                                        "/api"};
    for (size_t i = 0; i < sizeof paths / sizeof paths[0]; i++) {
        if (strcmp(path, paths[i]) == 0)
            return true;
    }
    return strncmp(path, "/api/", 5) == 0;
}

bool page_handle(struct api *api, const struct web_request *request, struct web_answer *answer) {
    bool paper = request->from_operator && asks_for_paper(request);
    if ((request->from_operator && !paper) || !page_of(api))
        return false;
    struct page_session *session = session_of(api, request);
    if (belongs_to_api(request->path)) {
        if (may_read(api, request, session))
            return false;
        struct api_call call = {.api = api, .request = request, .answer = answer};
        if (strcmp(request->path, "/health") == 0 && strcmp(request->method, "GET") == 0)
            api_health_word(&call);
        else
            api_error(&call, 401, "sign in at /sign-in first");
        return true;
    }
    struct page_view view = {.api = api,
                             .request = request,
                             .answer = answer,
                             .page = api->page,
                             .session = session,
                             .paper = paper};
    choose_units(&view);
    choose_language(&view);
    answer_page(&view);
    text_buffer_clear(&view.html.text);
    return true;
}
