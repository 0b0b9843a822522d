/*
 * What posted forms do: sign in and out, and the same changes as the operator's tool, by the same
 * functions. Each is bound to its session by a token; who did it is who is signed in.
 */
#include "host/clock.h"
#include "host/log.h"
#include "page/enrol.h"
#include "page/entry.h"
#include "page/forms.h"
#include "page/page_private.h"
#include "page/share.h"
#include "page/view_words.h"
#include "settings/checked_text.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- signing in and out ---- */

/* Who asks: the other end, or whom a proxy on this machine names last, for that name is its own. */
static const char *asker(const struct web_request *request) {
    const char *chain = web_header(request, "X-Forwarded-For");
    if (!chain || !checked_text_host_is_loopback(request->address))
        return request->address;
    const char *comma = strrchr(chain, ',');
    chain = comma ? comma + 1 : chain;
    return chain + strspn(chain, " \t");
}

static void set_cookie(struct page_view *view, const char *key, bool over) {
    char cookie[400];
    const char *base = view->api->fleet->settings->page.base;
    const char *origin = web_header(view->request, "Origin");
    bool https = origin && strncmp(origin, "https://", 8) == 0;
    snprintf(cookie, sizeof cookie, "subslab_session=%s; Path=%s; HttpOnly; SameSite=Strict%s%s",
             key, base ? base : "/", https ? "; Secure" : "", over ? "; Max-Age=0" : "");
    page_add_header(view, "Set-Cookie", cookie);
}

/* Back to where the sign-in was asked for: a path of ours, nothing else. */
static struct html_address next_address(const struct page_view *view,
                                        const struct page_form *form) {
    const char *next = page_form_value(form, "next");
    struct html_address address = page_path(view, "");
    bool ours = next[0] == '/' && next[1] != '/' && !strpbrk(next, "\\?#%\r\n") &&
                strlen(next) < 300 && strncmp(next, "/sign-", 6) != 0;
    for (const char *at = next; ours && *at; at += strcspn(at, "/")) {
        char part[300];
        size_t length = strcspn(++at, "/");
        memcpy(part, at, length);
        part[length] = '\0';
        html_address_path(&address, "/");
        html_address_part(&address, part);
    }
    page_add_choices(view, &address);
    return ours ? address : page_address(view, "/");
}

static void sign_in_with(struct page_view *view, const struct page_form *form,
                         const struct page_accounts *accounts) {
    const char *name = page_form_value(form, "name");
    struct page_tries *tries = &view->page->tries;
    if (!page_tries_may(tries, name, asker(view->request), clock_monotonic_ms())) {
        page_add_header(view, "Retry-After", "3");
        page_sign_in(view, form, page_words(view, PAGE_TOO_MANY_TRIES));
        view->answer->status = 429;
        return;
    }
    const struct page_account *account =
        page_accounts_check(accounts, name, page_form_value(form, "password"));
    struct page_session *session =
        account ? page_session_begin(&view->page->sessions, account, clock_monotonic_ms()) : NULL;
    if (!session) {
        page_tries_wrong(tries, name, asker(view->request), clock_monotonic_ms());
        log_line(LOG_LEVEL_WARNING, "page", "a sign-in was refused");
        page_sign_in(view, form, page_words(view, PAGE_WRONG_PASSWORD));
        return;
    }
    log_line(LOG_LEVEL_INFO, "page", "%s signed in", session->account);
    set_cookie(view, session->key, false);
    struct html_address address = next_address(view, form);
    page_redirect(view, &address);
}

static void sign_in(struct page_view *view, const struct page_form *form) {
    const char *file = view->api->fleet->settings->page.access_file;
    struct page_accounts *accounts = malloc(sizeof *accounts);
    char why[512] = "there is no memory";
    if (!file) {
        page_sign_in(view, form, NULL);
    } else if (accounts && page_accounts_read(file, accounts, why, sizeof why)) {
        sign_in_with(view, form, accounts);
    } else {
        log_line(LOG_LEVEL_ERROR, "page", "%s", why);
        page_sign_in(view, form, page_words(view, PAGE_NO_SIGN_IN));
    }
    free(accounts);
}

static void sign_out(struct page_view *view, const struct page_form *form) {
    (void)form;
    page_session_end(view->session);
    view->session = NULL;
    set_cookie(view, "", true);
    struct html_address address = page_address(view, "/");
    page_redirect(view, &address);
}

/* ---- changes by the functions of the API ---- */

/* Of a button alone: there is nothing typed to be kept. */
static void say_refusal(void *context, const char *why) {
    struct page_view *view = context;
    char text[COMPLAINT_BYTES];
    page_say_why(view, 503, PAGE_REFUSED_TITLE, complaint_text(text, view->language, why));
}

bool page_change(struct page_view *view, void (*handle)(struct api_call *call), json_t *body,
                 struct web_answer *answer) {
    struct api_call call = {
        .api = view->api, .request = view->request, .answer = answer, .body = body};
    memcpy(call.parts, view->parts, sizeof call.parts);
    json_object_set_new(body, "by", json_string(view->session->account));
    handle(&call);
    json_decref(body);
    return answer->status == 200;
}

int page_change_typed(struct entry *entry, void (*handle)(struct api_call *call),
                      const char *const *names, size_t count, size_t needed) {
    struct web_answer answer = {0};
    if (!entry_has(entry, names, needed))
        return 400;
    json_t *body = json_object();
    for (size_t i = 0; i < count; i++)
        page_form_set(body, names[i], page_form_value(entry->typed, names[i]));
    if (!page_change(entry->view, handle, body, &answer))
        entry_refused(entry, &answer, names, count);
    free(answer.body);
    return answer.status;
}

/* ---- the homeowner's link ---- */

static void change_share(struct api_call *call) {
    bool make = strcmp(call->parts[2], "share") == 0;
    size_t system = api_system(call, call->parts[1]);
    if (system == FLEET_NONE)
        return;
    const char *id = fleet_system_id(call->api->fleet, system);
    struct pipeline *pipeline = call->api->pipeline;
    if (pipeline_begin(pipeline)) {
        pipeline_note(pipeline, make ? page_share_create(pipeline_store(pipeline), id)
                                     : page_share_withdraw(pipeline_store(pipeline), id));
    }
    if (api_commit(call))
        api_json(call, 200, json_object());
}

static void take_share(struct page_view *view, size_t system, const struct page_form *form) {
    (void)form;
    struct html_address address = page_system_address(view, system, "#share");
    struct web_answer answer = {0};
    if (page_change(view, change_share, json_object(), &answer))
        page_redirect(view, &address);
    else
        entry_each_refusal(view, &answer, say_refusal, view);
    free(answer.body);
}

/* ---- which form ---- */

static const struct {
    const char *first, *third;
    void (*take)(struct page_view *view, const struct page_form *form);
    /* one of a system, by its name in the path: */
    void (*take_of)(struct page_view *view, size_t system, const struct page_form *form);
    bool for_anybody;
} forms[] = {
    {"sign-in", NULL, sign_in, NULL, true},
    {"sign-out", NULL, sign_out, NULL, false},
    {"alarms", "acknowledge", page_alarm_take, NULL, false},
    {"alarms", "shelve", page_alarm_take, NULL, false},
    {"alarms", "unshelve", page_alarm_take, NULL, false},
    {"enrol", NULL, page_enrol, NULL, false},
    {"enrol-house", NULL, page_enrol_house, NULL, false},
    {"systems", "out-of-service", NULL, page_service_take, false},
    {"systems", "return-to-service", NULL, page_service_take, false},
    {"systems", "commission", NULL, page_commission_take, false},
    {"systems", "visit-done", NULL, page_visit_take, false},
    {"systems", "radon-test", NULL, page_radon_test_take, false},
    {"systems", "take-back", NULL, page_take_back_take, false},
    {"systems", "share", NULL, take_share, false},
    {"systems", "withdraw-share", NULL, take_share, false},
};
enum { FORMS = sizeof forms / sizeof forms[0] };

static size_t find_form(const struct page_view *view) {
    size_t i = 0;
    while (i < FORMS &&
           !page_path_is(view, forms[i].first, forms[i].third ? "*" : NULL, forms[i].third))
        i++;
    return i;
}

bool page_post_known(const struct page_view *view) {
    return find_form(view) < FORMS;
}

static void take_form(struct page_view *view, size_t i, const struct page_form *form) {
    if (!forms[i].take_of) {
        forms[i].take(view, form);
        return;
    }
    size_t system = page_named_system(view);
    if (system != FLEET_NONE)
        forms[i].take_of(view, system, form);
}

void page_post(struct page_view *view) {
    size_t i = find_form(view);
    struct page_form *form = calloc(1, sizeof *form);
    if (!form || !page_form_parse(view->request->body, view->request->body_length, form))
        page_say(view, 400, PAGE_NO_FORM_TITLE, PAGE_FORM_UNREAD);
    else if (!forms[i].for_anybody && !view->session)
        page_say(view, 403, PAGE_SIGNED_OUT_TITLE, PAGE_SIGNED_OUT);
    else if (!forms[i].for_anybody &&
             !page_secret_same(view->session->token, page_form_value(form, "token")))
        page_say(view, 403, PAGE_OLD_FORM_TITLE, PAGE_OLD_FORM);
    else
        take_form(view, i, form);
    if (form)
        explicit_bzero(form, sizeof *form);
    free(form);
}
