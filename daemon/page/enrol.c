#include "page/enrol.h"

#include "page/choice.h"
#include "page/enrol_private.h"
#include "page/view_text.h"
#include "page/view_words.h"

#include <stdio.h>
#include <string.h>

enum { TOPICS_SHOWN = 200 };

/* ---- a number in a topic ---- */

void enrol_pick_text(char text[ENROL_PICK_SIZE], const char *topic, const struct proposal *one) {
    snprintf(text, ENROL_PICK_SIZE, "%s\t%s\t%s", topic, one->value_pointer, one->senml_name);
}

/* ---- the list ---- */

struct topic_list {
    struct page_view *view;
    const char *words; /* only topics that hold them */
    size_t shown, left_out;
};

static void write_value(struct page_view *view, const struct unclaimed_topic *topic,
                        const struct proposal *one, size_t number) {
    char id[32], pick[ENROL_PICK_SIZE];
    snprintf(id, sizeof id, "pick-%zu", number);
    enrol_pick_text(pick, topic->row->topic, one);
    html_markup(&view->html, "<li>");
    html_empty(&view->html, "input", "type", "checkbox", "id", id, "name", "pick", "value", pick,
               NULL);
    html_markup(&view->html, " ");
    html_open(&view->html, "label", "for", id, NULL);
    html_element(&view->html, "strong", topic->row->topic, "class", "topic", NULL);
    html_format(&view->html, "%s%s%s", *one->value_pointer || *one->senml_name ? " " : "",
                one->value_pointer, one->senml_name);
    html_markup(&view->html, "<br>");
    html_format(&view->html, "%.6g", one->value);
    if (one->known)
        page_fill(view, PAGE_PERHAPS, slot_text(page_quantity(view, one->quantity)),
                  slot_text(one->unit->spelling));
    html_markup(&view->html, ", <span class=\"age\">");
    page_age(view, topic->row->last_ms, NULL);
    html_markup(&view->html, "</span></label></li>");
}

static bool write_topic(void *context, const struct unclaimed_topic *topic) {
    struct topic_list *list = context;
    if (*list->words && !strcasestr(topic->row->topic, list->words))
        return true;
    if (list->shown >= TOPICS_SHOWN || topic->proposal_count == 0) {
        list->left_out++;
        return true;
    }
    for (size_t i = 0; i < topic->proposal_count; i++)
        write_value(list->view, topic, &topic->proposals[i], list->shown++);
    return true;
}

static void write_search(struct page_view *view, const char *words) {
    struct html_address here = page_path(view, "/enrol");
    html_open(&view->html, "form", "method", "get", "action", here.text, "role", "search", "class",
              "search", NULL);
    page_label(view, "topic", PAGE_TOPICS_WITH);
    html_empty(&view->html, "input", "id", "topic", "name", "topic", "type", "search", "value",
               words, "maxlength", "80", NULL);
    page_keep_choices(view);
    html_markup(&view->html, " <button type=\"submit\">");
    page_write(view, PAGE_SHOW);
    html_markup(&view->html, "</button></form>");
}

/* The next form has a part for each of them. */
static void write_counts(struct page_view *view) {
    static const char *const words[] = {"0", "1", "2", "3", "4", "5", "6", "7", "8"};
    _Static_assert(sizeof words / sizeof words[0] == ENROL_RISERS_MOST + 1, "a word a riser");
    _Static_assert(sizeof words / sizeof words[0] == ENROL_TUBES_MOST + 1, "a word a U-tube");
    const struct entry_field risers = {.name = "risers",
                                       .label = page_words(view, PAGE_RISERS_WITH_FAN)},
                             tubes = {.name = "tubes",
                                      .label = page_words(view, PAGE_TUBES_READ),
                                      .hint = page_words(view, PAGE_TUBES_READ_HINT)};
    struct entry entry = {.view = view};
    entry_select(&entry, &risers, words + 1, words + 1, ENROL_RISERS_MOST);
    entry_select(&entry, &tubes, words, words, ENROL_TUBES_MOST + 1);
}

static void write_topics(struct page_view *view, const char *words) {
    struct topic_list list = {.view = view, .words = words};
    struct html_address next = page_address(view, "/enrol-house");
    html_open(&view->html, "form", "method", "post", "action", next.text, NULL);
    page_token(view);
    html_markup(&view->html, "<ul class=\"picks\">");
    bool read = unclaimed_each(view->api, write_topic, &list);
    html_markup(&view->html, "</ul>");
    if (!read)
        html_element(&view->html, "p", page_words(view, PAGE_VISITS_UNREAD), "class", "notice",
                     NULL);
    else if (list.shown == 0)
        page_none(view, PAGE_NO_TOPIC);
    if (list.left_out) {
        page_fill_element(view, "p", "age", PAGE_TOPICS_LEFT, slot_count(list.left_out));
    }
    write_counts(view);
    page_end_form(view, PAGE_OF_ONE_HOUSE);
}

/* Who is not signed in is led there; false then. */
static bool is_signed_in(struct page_view *view) {
    if (view->session)
        return true;
    if (view->api->fleet->settings->page.access_file) {
        struct html_address address = page_address(view, "/sign-in");
        html_address_query(&address, "next", "/enrol");
        page_redirect(view, &address);
    } else {
        page_say(view, 403, PAGE_ACCOUNT_TITLE, PAGE_ACCOUNT_NEEDED);
    }
    return false;
}

void enrol_show_topics(struct page_view *view, const char *complaint) {
    const struct page_head head = {
        .title = page_words(view, PAGE_NEW_HOUSE), .current = "/enrol", .system = FLEET_NONE};
    const char *words = page_query(view, "topic");
    page_begin(view, &head);
    page_element(view, "h1", PAGE_NEW_HOUSE);
    if (complaint) {
        html_markup(&view->html, "<div class=\"notice\" role=\"alert\"><p>");
        html_text(&view->html, complaint);
        html_markup(&view->html, "</p></div>");
    }
    page_element(view, "p", PAGE_ENROL_INTRO);
    write_search(view, words);
    write_topics(view, words);
    page_end(view, complaint ? 400 : 200);
}

void page_enrol_topics(struct page_view *view) {
    if (is_signed_in(view))
        enrol_show_topics(view, NULL);
}

/* ---- afterwards ---- */

void page_enrolled(struct page_view *view) {
    const char *id = view->parts[1];
    size_t system = fleet_find_system(view->api->fleet, id);
    struct html_address address = page_path(view, "/systems/");
    html_address_part(&address, id);
    html_address_path(&address, "/commission");
    page_add_choices(view, &address);
    if (system != FLEET_NONE) {
        page_redirect(view, &address);
        return;
    }
    const struct page_head head = {.title = page_words(view, PAGE_ENROLLED), .system = FLEET_NONE};
    bool waits = view->api->reload_wanted || view->api->reloading;
    if (waits)
        page_add_header(view, "Refresh", "1");
    page_begin(view, &head);
    page_element(view, "h1", PAGE_ENROLLED);
    page_element(view, "p",
                 waits                       ? PAGE_ENROLLED_WAITS
                 : view->api->reload_refused ? PAGE_ENROLLED_REFUSED
                                             : PAGE_ENROLLED_NONE);
    page_link_line(view, &address, page_words(view, PAGE_TO_COMMISSIONING));
    page_end(view, waits ? 200 : view->api->reload_refused ? 409 : 404);
}

static bool count_topic(void *context, const struct unclaimed_topic *topic) {
    size_t *count = context;
    *count += topic->proposal_count > 0;
    return true;
}

void page_enrol_notice(struct page_view *view) {
    size_t count = 0;
    struct html_address address = page_address(view, "/enrol");
    if (!view->session || !unclaimed_each(view->api, count_topic, &count) || count == 0)
        return;
    page_fill_element(view, "p", "notice", count == 1 ? PAGE_TOPIC_WAITS : PAGE_TOPICS_WAIT,
                      slot_link(&address, page_words(view, PAGE_ENROL_LINK)), slot_count(count));
}
