/*
 * The third step of enrolling: what was typed, as the file of a system, or what is wrong with it.
 */
#include "api/enrol.h"
#include "page/enrol.h"
#include "page/enrol_private.h"
#include "page/view_text.h"
#include "page/view_words.h"
#include "settings/system_file.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* The points of a form that was sent: their topics and places are not typed, but sent along. */
static void read_sent_points(struct house_form *house) {
    static const char *const parts[] = {"topic", "value", "time", "senml", "by"};
    char name[ENROL_FIELD_SIZE];
    for (; house->point_count < ENROL_POINTS_MOST; house->point_count++) {
        struct enrol_point *point = &house->points[house->point_count];
        const struct {
            char *text;
            size_t size;
        } rooms[] = {{point->topic, sizeof point->topic},
                     {point->value, sizeof point->value},
                     {point->time, sizeof point->time},
                     {point->senml, sizeof point->senml},
                     {point->by, sizeof point->by}};
        for (size_t k = 0; k < sizeof parts / sizeof parts[0]; k++)
            snprintf(rooms[k].text, rooms[k].size, "%s",
                     page_form_value(house->entry.typed,
                                     enrol_point_field(name, house->point_count, parts[k])));
        if (!*point->topic && !*point->by)
            return;
    }
}

/* The id of the riser that a point names by its number; "" for none. */
static const char *riser_id(const struct house_form *house, size_t point) {
    char name[ENROL_FIELD_SIZE];
    const char *number =
        page_form_value(house->entry.typed, enrol_point_field(name, point, "riser"));
    size_t riser = house->riser_count > 1 ? (size_t)strtoul(number, NULL, 10) : 0;
    return riser == 0
               ? ""
               : page_form_value(house->entry.typed, enrol_riser_field(name, riser - 1, "id"));
}

static struct system_file_point point_of(const struct house_form *house, size_t i) {
    const struct page_form *form = house->entry.typed;
    const struct enrol_point *texts = &house->points[i];
    char name[ENROL_FIELD_SIZE];
    return (struct system_file_point){
        .id = page_form_value(form, enrol_point_field(name, i, "id")),
        .quantity = page_form_value(form, enrol_point_field(name, i, "quantity")),
        .unit = page_form_value(form, enrol_point_field(name, i, "unit")),
        .every = page_form_value(form, enrol_point_field(name, i, "every")),
        .place = page_form_value(form, enrol_point_field(name, i, "place")),
        .branch = riser_id(house, i),
        .by = texts->by,
        .topic = texts->topic,
        .value = texts->value,
        .time = texts->time,
        .senml_name = texts->senml};
}

static struct system_file_branch riser_of(const struct house_form *house, size_t i) {
    const struct page_form *form = house->entry.typed;
    char name[ENROL_FIELD_SIZE];
    return (struct system_file_branch){
        .id =
            house->riser_count > 1 ? page_form_value(form, enrol_riser_field(name, i, "id")) : NULL,
        .inside_diameter = page_form_value(form, enrol_riser_field(name, i, "pipe")),
        .model = page_form_value(form, enrol_riser_field(name, i, "model")),
        .serial = page_form_value(form, enrol_riser_field(name, i, "serial")),
        .installed = page_form_value(form, enrol_riser_field(name, i, "installed")),
        .discharge = page_form_value(form, enrol_riser_field(name, i, "discharge"))};
}

static char *write_text(const struct page_view *view, const struct house_form *house) {
    const struct page_form *form = house->entry.typed;
    struct system_file_point points[ENROL_POINTS_MOST];
    struct system_file_branch risers[ENROL_RISERS_MOST];
    char day[PAGE_TEXT_SIZE], comment[200];
    for (size_t i = 0; i < house->point_count; i++)
        points[i] = point_of(house, i);
    for (size_t i = 0; i < house->riser_count; i++)
        risers[i] = riser_of(house, i);
    snprintf(comment, sizeof comment, "Enrolled on the page by %s, %s.", view->session->account,
             page_date_text(day, view->api->now_ms, NULL));
    const struct system_file file = {.comment = comment,
                                     .id = page_form_value(form, "id"),
                                     .name = page_form_value(form, "name"),
                                     .address = page_form_value(form, "address"),
                                     .time_zone = page_form_value(form, "time_zone"),
                                     .foundation = page_form_value(form, "foundation"),
                                     .region = page_form_value(form, "region"),
                                     .contacts = page_form_value(form, "contacts"),
                                     .branches = risers,
                                     .branch_count = house->riser_count,
                                     .points = points,
                                     .point_count = house->point_count};
    return system_file_write(&file);
}

/* ---- what is wrong with it ---- */

/* Part of a key in a system file, and of the name of its field. */
struct part_name {
    const char *key, *field;
};

static const char *find_part(const struct part_name *names, const char *key) {
    for (; names->key; names++)
        if (strcmp(names->key, key) == 0)
            return names->field;
    return NULL;
}

static const struct part_name house_parts[] = {{"id", "id"},
                                               {"name", "name"},
                                               {"address", "address"},
                                               {"time_zone", "time_zone"},
                                               {"region", "region"},
                                               {"contacts", "contacts"},
                                               {"foundation", "foundation"},
                                               {NULL, NULL}};
static const struct part_name point_parts[] = {
    {"id", "id"},       {"quantity", "quantity"}, {"unit", "unit"}, {"every", "every"},
    {"place", "place"}, {"branch", "riser"},      {NULL, NULL}};
static const struct part_name riser_parts[] = {{"id", "id"},
                                               {"pipe.inside_diameter", "pipe"},
                                               {"fan.model", "model"},
                                               {"fan.serial", "serial"},
                                               {"fan.installed", "installed"},
                                               {"discharge", "discharge"},
                                               {NULL, NULL}};

/* Points and risers: lists whose items have an id. */
struct item_fields {
    const char *list; /* "points[" */
    const char *(*field)(char name[ENROL_FIELD_SIZE], size_t i, const char *part);
    const struct part_name *parts;
    size_t count;
};

/* Which item "suction]…" or, where the id is no good, "2]…" is; of two with one id the second. */
static size_t find_item(const struct house_form *house, const struct item_fields *items,
                        const char *id) {
    size_t length = strcspn(id, "]"), at = items->count;
    size_t number = (size_t)strtoul(id, NULL, 10);
    char name[ENROL_FIELD_SIZE];
    for (size_t i = 0; i < items->count; i++) {
        const char *typed = page_form_value(house->entry.typed, items->field(name, i, "id"));
        if (strlen(typed) == length && strncmp(typed, id, length) == 0)
            at = i;
    }
    if (at < items->count)
        return at;
    return number >= 1 && number <= items->count ? number - 1 : 0;
}

/* The field of "points[suction].unit"; what is sent along has none of its own, and is the id's. */
static bool find_item_field(const struct house_form *house, const struct item_fields *items,
                            const char *key, char field[ENROL_FIELD_SIZE]) {
    size_t length = strlen(items->list);
    const char *end = strchr(key, ']');
    if (strncmp(key, items->list, length) != 0 || !end)
        return false;
    const char *part = end[1] == '.' ? find_part(items->parts, end + 2) : NULL;
    items->field(field, find_item(house, items, key + length), part ? part : "id");
    return true;
}

/* The name of the field that an error is about. */
static bool find_field(const struct house_form *house, const char *key,
                       char field[ENROL_FIELD_SIZE]) {
    const struct item_fields lists[] = {
        {"points[", enrol_point_field, point_parts, house->point_count},
        {"branches[", enrol_riser_field, riser_parts, house->riser_count}};
    const char *of_house = find_part(house_parts, key), *of_riser = find_part(riser_parts, key);
    for (size_t i = 0; i < 2; i++)
        if (find_item_field(house, &lists[i], key, field))
            return true;
    if (of_house)
        snprintf(field, ENROL_FIELD_SIZE, "%s", of_house);
    else if (of_riser)
        enrol_riser_field(field, 0, of_riser); /* the only one */
    return of_house || of_riser;
}

/* Puts an error beside its field, else above all. */
static void complain(struct house_form *house, const char *line) {
    char key[ENTRY_KEY_SIZE], found[ENROL_FIELD_SIZE];
    const char *what = entry_error_key(line, key);
    entry_wrong(&house->entry, find_field(house, key, found) ? found : "", what);
}

static void go_on(struct page_view *view, const char *id) {
    struct html_address address = page_path(view, "/enrolled/");
    html_address_part(&address, id);
    page_add_choices(view, &address);
    page_redirect(view, &address);
}

static void enrol_typed(struct page_view *view, struct house_form *house) {
    char *text = write_text(view, house);
    struct settings_errors errors = {0};
    const struct enrol_text one = {"form", text, text ? strlen(text) : 0};
    int status = 503;
    if (text)
        status = enrol_systems(view->api, &one, 1, view->session->account, NULL, &errors);
    for (size_t i = 0; i < errors.count; i++)
        complain(house, errors.lines[i]);
    if (status == 200)
        go_on(view, page_form_value(house->entry.typed, "id"));
    else
        enrol_show_house(view, house, status);
    settings_errors_free(&errors);
    free(text);
}

void page_enrol(struct page_view *view, const struct page_form *form) {
    struct house_form house = {.entry = {.view = view, .typed = form},
                               .riser_count = enrol_riser_count(form)};
    read_sent_points(&house);
    if (house.point_count)
        enrol_typed(view, &house);
    else
        enrol_show_topics(view, page_words(view, PAGE_NOTHING_TICKED));
}
