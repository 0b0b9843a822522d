/*
 * The second step of enrolling: what was ticked, as the form of a house.
 */
#include "page/enrol.h"
#include "page/enrol_private.h"
#include "page/view_words.h"
#include "settings/checked_text.h"

#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Of "/pressure/riser" in a topic, else of the topic, the last part; what may be no id as "-". */
static void propose_id(char *id, size_t size, const char *topic, const struct proposal *one) {
    const char *name = *one->senml_name      ? one->senml_name
                       : *one->value_pointer ? one->value_pointer
                                             : topic;
    const char *last = strrchr(name, '/');
    if (strcmp(name, "/value") == 0)
        last = strrchr(topic, '/'), name = topic;
    snprintf(id, size, "%.64s", last && last[1] ? last + 1 : name);
    for (char *at = id; *at; at++)
        if (!isalnum((unsigned char)*at) && !strchr("._-", *at))
            *at = '-';
    if (checked_text_id(id))
        snprintf(id, size, "%s", one->known ? quantity_info(one->quantity)->name : "");
}

/* ---- what was ticked ---- */

struct picked {
    const struct page_form *form;
    struct enrol_point *points; /* room for ENROL_POINTS_MOST */
    size_t count, asked;
};

static bool is_picked(const struct page_form *form, const char *pick) {
    for (size_t i = 0; i < form->count; i++)
        if (strcmp(form->fields[i].name, "pick") == 0 && strcmp(form->fields[i].value, pick) == 0)
            return true;
    return false;
}

static bool take_picked(void *context, const struct unclaimed_topic *topic) {
    struct picked *picked = context;
    for (size_t i = 0; i < topic->proposal_count && picked->count < ENROL_POINTS_MOST; i++) {
        const struct proposal *one = &topic->proposals[i];
        char pick[ENROL_PICK_SIZE];
        enrol_pick_text(pick, topic->row->topic, one);
        if (!is_picked(picked->form, pick))
            continue;
        struct enrol_point *point = &picked->points[picked->count++];
        snprintf(point->topic, sizeof point->topic, "%s", topic->row->topic);
        snprintf(point->value, sizeof point->value, "%s", one->value_pointer);
        snprintf(point->time, sizeof point->time, "%s", one->time_pointer);
        snprintf(point->senml, sizeof point->senml, "%s", one->senml_name);
        propose_id(point->id, sizeof point->id, topic->row->topic, one);
        snprintf(point->quantity, sizeof point->quantity, "%s",
                 one->known ? quantity_info(one->quantity)->name : "");
        snprintf(point->unit, sizeof point->unit, "%s", one->known ? one->unit->spelling : "");
        snprintf(point->every, sizeof point->every, "%s",
                 proposal_every(topic->row->count, topic->row->first_ms, topic->row->last_ms));
        point->last = one->value;
    }
    return picked->count < ENROL_POINTS_MOST;
}

/* ---- the form of the house ---- */

const char *enrol_point_field(char name[ENROL_FIELD_SIZE], size_t i, const char *part) {
    snprintf(name, ENROL_FIELD_SIZE, "p-%zu-%s", i, part);
    return name;
}

const char *enrol_riser_field(char name[ENROL_FIELD_SIZE], size_t i, const char *part) {
    snprintf(name, ENROL_FIELD_SIZE, "r-%zu-%s", i, part);
    return name;
}

size_t enrol_riser_count(const struct page_form *form) {
    unsigned long count = strtoul(page_form_value(form, "risers"), NULL, 10);
    return count < 1 ? 1 : count > ENROL_RISERS_MOST ? ENROL_RISERS_MOST : count;
}

/* How many U-tubes a form says that a person reads. */
static size_t tube_count(const struct page_form *form) {
    unsigned long count = strtoul(page_form_value(form, "tubes"), NULL, 10);
    return count > ENROL_TUBES_MOST ? ENROL_TUBES_MOST : count;
}

/* Points that a person reads, behind those that were ticked. */
static void add_tubes(const struct page_view *view, struct house_form *house, size_t count) {
    for (size_t i = 0; i < count && house->point_count < ENROL_POINTS_MOST; i++) {
        struct enrol_point *point = &house->points[house->point_count++];
        *point = (struct enrol_point){.by = "hand", .id = "tube"};
        if (count > 1)
            snprintf(point->id, sizeof point->id, "tube-%zu", i + 1);
        snprintf(point->quantity, sizeof point->quantity, "%s",
                 quantity_info(QUANTITY_SUCTION)->name);
        snprintf(point->unit, sizeof point->unit, "%s",
                 unit_shown(DIMENSION_PRESSURE, view->units)->spelling);
    }
}

/* Of a topic "subslab/maple-4/suction" "maple-4". */
static void propose_system(char *id, size_t size, const char *topic) {
    const char *last = strrchr(topic, '/'), *from = last;
    while (from && from > topic && from[-1] != '/')
        from--;
    snprintf(id, size, "%.*s", from ? (int)(last - from) : 0, from ? from : "");
    if (checked_text_id(id))
        *id = '\0';
}

/* "… There are: office, workshop" */
static void contacts_hint(const struct page_view *view, char *hint, size_t size) {
    const struct settings *settings = view->api->fleet->settings;
    char names[400] = "", known[500];
    size_t used = 0;
    for (size_t i = 0; i < settings->contact_count && used + 80 < sizeof names; i++)
        used += (size_t)snprintf(names + used, sizeof names - used, "%s%s", i ? ", " : "",
                                 settings->contacts[i].id);
    snprintf(hint, size, "%s%s", page_words(view, PAGE_CONTACTS_HINT),
             used ? page_name_in(view, known, sizeof known, PAGE_CONTACTS_ARE, names) : "");
}

static void write_house_fields(const struct page_view *view, struct house_form *house) {
    const struct fleet *fleet = view->api->fleet;
    char id[80], contacts[700];
    propose_system(id, sizeof id, house->points[0].topic);
    contacts_hint(view, contacts, sizeof contacts);
    const struct entry_field fields[] = {
        {"id", page_words(view, PAGE_ID), page_words(view, PAGE_ID_HINT), .otherwise = id,
         .most = "64", .needed = true},
        {"name", page_words(view, PAGE_NAME), page_words(view, PAGE_NAME_HINT), .most = "200"},
        {"address", page_words(view, PAGE_ADDRESS), .most = "200"},
        {"time_zone", page_words(view, PAGE_TIME_ZONE), page_words(view, PAGE_TIME_ZONE_HINT),
         .otherwise = fleet->system_count ? fleet->systems[0].description->time_zone : "",
         .most = "64", .needed = true},
        {"region", page_words(view, PAGE_REGION), page_words(view, PAGE_REGION_HINT),
         .most = "200"},
        {"foundation", page_words(view, PAGE_FOUNDATION), .most = "200"},
        {"contacts", page_words(view, PAGE_CONTACTS), contacts, .most = "400"},
    };
    for (size_t i = 0; i < sizeof fields / sizeof fields[0]; i++)
        entry_input(&house->entry, &fields[i]);
}

/* ---- risers ---- */

static void write_riser_id(const struct page_view *view, struct house_form *house, size_t i) {
    char name[ENROL_FIELD_SIZE], id[40];
    snprintf(id, sizeof id, "riser-%zu", i + 1);
    const struct entry_field field = {enrol_riser_field(name, i, "id"),
                                      page_words(view, PAGE_RISER_ID),
                                      page_words(view, PAGE_RISER_ID_HINT),
                                      .otherwise = id,
                                      .most = "64",
                                      .needed = true};
    entry_input(&house->entry, &field);
}

static void write_riser_fields(const struct page_view *view, struct house_form *house, size_t i) {
    static const char *const discharges[] = {"", "roof", "wall"};
    const char *const texts[] = {"", page_words(view, PAGE_ROOF), page_words(view, PAGE_WALL)};
    char names[5][ENROL_FIELD_SIZE];
    const struct entry_field pipe = {enrol_riser_field(names[0], i, "pipe"),
                                     page_words(view, PAGE_PIPE_DIAMETER),
                                     page_words(view, PAGE_PIPE_HINT), .most = "40"},
                             serial = {enrol_riser_field(names[1], i, "serial"),
                                       page_words(view, PAGE_FAN_SERIAL), .most = "200"},
                             installed = {enrol_riser_field(names[2], i, "installed"),
                                          page_words(view, PAGE_FAN_INSTALLED), .type = "date"},
                             discharge = {.name = enrol_riser_field(names[3], i, "discharge"),
                                          .label = page_words(view, PAGE_BLOWS_OUT)};
    entry_input(&house->entry, &pipe);
    entry_fan_model(&house->entry, enrol_riser_field(names[4], i, "model"));
    entry_input(&house->entry, &serial);
    entry_input(&house->entry, &installed);
    entry_select(&house->entry, &discharge, discharges, texts, 3);
}

static void write_risers(struct page_view *view, struct house_form *house) {
    char count[24];
    snprintf(count, sizeof count, "%zu", house->riser_count);
    html_hidden(&view->html, "risers", count);
    page_element(view, "h2", PAGE_RISER_AND_FAN);
    if (house->riser_count == 1) {
        write_riser_fields(view, house, 0);
        return;
    }
    for (size_t i = 0; i < house->riser_count; i++) {
        html_markup(&view->html, "<fieldset><legend>");
        page_fill(view, PAGE_RISER_N, slot_count(i + 1));
        html_markup(&view->html, "</legend>");
        write_riser_id(view, house, i);
        write_riser_fields(view, house, i);
        html_markup(&view->html, "</fieldset>");
    }
}

/* ---- points ---- */

static void write_quantity(const struct page_view *view, struct house_form *house, const char *name,
                           const char *otherwise) {
    const char *words[QUANTITY_COUNT + 1] = {""}, *texts[QUANTITY_COUNT + 1] = {""};
    for (int q = 0; q < QUANTITY_COUNT; q++) {
        words[q + 1] = quantity_info((enum quantity)q)->name;
        texts[q + 1] = page_quantity(view, (enum quantity)q);
    }
    const struct entry_field field = {name, page_words(view, PAGE_WHAT_IT_IS),
                                      .otherwise = otherwise, .needed = true};
    entry_select(&house->entry, &field, words, texts, QUANTITY_COUNT + 1);
}

/* Which of several risers a point is of, by its number, for their ids are typed in the same form.
 */
static void write_riser_choice(const struct page_view *view, struct house_form *house, size_t i) {
    static const char *const words[] = {"", "1", "2", "3", "4", "5", "6", "7", "8"};
    _Static_assert(sizeof words / sizeof words[0] == ENROL_RISERS_MOST + 1, "a word a riser");
    char name[ENROL_FIELD_SIZE];
    const struct entry_field field = {.name = enrol_point_field(name, i, "riser"),
                                      .label = page_words(view, PAGE_RISER),
                                      .hint = page_words(view, PAGE_RISER_HINT)};
    if (house->riser_count > 1)
        entry_select(&house->entry, &field, words, words, house->riser_count + 1);
}

static void write_hidden(struct house_form *house, size_t i, const char *part, const char *value) {
    char name[ENROL_FIELD_SIZE];
    html_hidden(&house->entry.view->html, enrol_point_field(name, i, part), value);
}

static void write_point_head(struct page_view *view, struct house_form *house, size_t i) {
    const struct enrol_point *point = &house->points[i];
    char name[ENROL_FIELD_SIZE], last[40];
    if (*point->by) {
        page_element(view, "legend", PAGE_TUBE_READ);
        write_hidden(house, i, "by", point->by);
        return;
    }
    html_open(&house->entry.view->html, "legend", "class", "topic", NULL);
    html_format(&house->entry.view->html, "%s%s%s%s", point->topic,
                *point->value || *point->senml ? " " : "", point->value, point->senml);
    html_markup(&house->entry.view->html, "</legend><p>");
    snprintf(last, sizeof last, "%.6g", point->last);
    const char *sent = entry_value(&house->entry, enrol_point_field(name, i, "last"), last);
    page_fill(view, PAGE_LAST_VALUE, slot_text(sent));
    html_markup(&house->entry.view->html, "</p>");
    write_hidden(house, i, "last", sent);
    write_hidden(house, i, "topic", point->topic);
    write_hidden(house, i, "value", point->value);
    write_hidden(house, i, "time", point->time);
    write_hidden(house, i, "senml", point->senml);
}

static void write_point_fields(struct page_view *view, struct house_form *house, size_t i) {
    const struct enrol_point *point = &house->points[i];
    bool hand = *point->by != '\0';
    char id[ENROL_FIELD_SIZE], quantity[ENROL_FIELD_SIZE], unit[ENROL_FIELD_SIZE],
        every[ENROL_FIELD_SIZE], place[ENROL_FIELD_SIZE];
    const struct entry_field fields[] = {
        {enrol_point_field(unit, i, "unit"),
         page_words(view, hand ? PAGE_UNIT_READ : PAGE_UNIT_SENT), .otherwise = point->unit,
         .most = "24", .needed = true},
        {enrol_point_field(id, i, "id"), page_words(view, PAGE_POINT_ID), .otherwise = point->id,
         .most = "64", .needed = true},
        {enrol_point_field(every, i, "every"),
         page_words(view, hand ? PAGE_HOW_OFTEN_READ : PAGE_HOW_OFTEN),
         .otherwise = hand ? "183 d" : point->every, .most = "24", .needed = true},
        {enrol_point_field(place, i, "place"), page_words(view, PAGE_PLACE),
         page_words(view, PAGE_PLACE_HINT), .most = "200"}};
    html_markup(&house->entry.view->html, "<fieldset>");
    write_point_head(view, house, i);
    write_quantity(view, house, enrol_point_field(quantity, i, "quantity"), point->quantity);
    entry_input(&house->entry, &fields[0]);
    write_riser_choice(view, house, i);
    html_open(&house->entry.view->html, "details", "open",
              house->entry.typed || !*point->id || !*fields[2].otherwise ? "" : NULL, NULL);
    page_element(view, "summary", PAGE_POINT_MORE);
    for (size_t k = 1; k < sizeof fields / sizeof fields[0]; k++)
        entry_input(&house->entry, &fields[k]);
    html_markup(&house->entry.view->html, "</details>");
    html_markup(&house->entry.view->html, "</fieldset>");
}

void enrol_show_house(struct page_view *view, struct house_form *house, int status) {
    const struct page_head head = {
        .title = page_words(view, PAGE_NEW_HOUSE), .current = "/enrol", .system = FLEET_NONE};
    page_begin(view, &head);
    page_element(view, "h1", PAGE_NEW_HOUSE);
    entry_summary(&house->entry);
    struct html_address next = page_address(view, "/enrol");
    html_open(&view->html, "form", "method", "post", "action", next.text, "class", "entry", NULL);
    page_token(view);
    page_element(view, "h2", PAGE_WHAT_SENSORS_ARE);
    page_element(view, "p", PAGE_PROPOSED);
    for (size_t i = 0; i < house->point_count; i++)
        write_point_fields(view, house, i);
    page_element(view, "h2", PAGE_THE_HOUSE);
    write_house_fields(view, house);
    write_risers(view, house);
    page_end_form(view, PAGE_ENROL_HOUSE);
    page_end(view, status);
}

void page_enrol_house(struct page_view *view, const struct page_form *form) {
    struct house_form house = {.entry.view = view, .riser_count = enrol_riser_count(form)};
    struct picked picked = {.form = form, .points = house.points};
    size_t tubes = tube_count(form);
    for (size_t i = 0; i < form->count; i++)
        picked.asked += strcmp(form->fields[i].name, "pick") == 0;
    unclaimed_each(view->api, take_picked, &picked);
    house.point_count = picked.count;
    add_tubes(view, &house, tubes);
    if (picked.asked + tubes == 0)
        enrol_show_topics(view, page_words(view, PAGE_NOTHING_TICKED));
    else if (picked.asked + tubes > ENROL_POINTS_MOST)
        enrol_show_topics(view, page_words(view, PAGE_TOO_MANY_TICKED));
    else if (picked.count < picked.asked)
        enrol_show_topics(view, page_words(view, PAGE_TICKED_GONE));
    else
        enrol_show_house(view, &house, 200);
}
