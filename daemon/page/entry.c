#include "page/entry.h"

#include "page/view_text.h"
#include "words/home_texts.h"

#include <stdio.h>
#include <string.h>

/* ---- what is wrong ---- */

static const char *why_of(const struct entry *entry, const char *name) {
    for (size_t i = 0; i < entry->wrong_count; i++) {
        if (strcmp(entry->wrong[i].name, name) == 0)
            return entry->wrong[i].why;
    }
    return NULL;
}

const char *entry_whole(const struct entry *entry) {
    return why_of(entry, "");
}

void entry_wrong(struct entry *entry, const char *name, const char *why) {
    if (entry->wrong_count == ENTRY_WRONG_MAX || (*name && why_of(entry, name)))
        return;
    snprintf(entry->wrong[entry->wrong_count].name, ENTRY_NAME_SIZE, "%s", name);
    complaint_text(entry->wrong[entry->wrong_count++].why, entry->view->language, why);
}

void entry_wrong_home(struct entry *entry, const char *name, enum home_text why) {
    entry_wrong(entry, name, home_text(entry->view->language, why));
}

const char *entry_error_key(const char *line, char key[ENTRY_KEY_SIZE]) {
    const char *from = line, *at = strchr(line, ':');
    size_t digits = at ? strspn(at + 1, "0123456789") : 0;
    *key = '\0';
    if (digits && strncmp(at + 1 + digits, ": ", 2) == 0)
        from = at + digits + 3;
    const char *end = strstr(from, ": ");
    /* Without a label it is a key only where it looks like one: no sentence. */
    if (!end || end - from >= ENTRY_KEY_SIZE ||
        (from == line && strcspn(line, " ") < (size_t)(end - line)))
        return from;
    snprintf(key, ENTRY_KEY_SIZE, "%.*s", (int)(end - from), from);
    return end + 2;
}

void entry_complain(struct entry *entry, const char *line, const char *const *names, size_t count) {
    char key[ENTRY_KEY_SIZE];
    const char *what = entry_error_key(line, key);
    for (size_t i = 0; i < count; i++) {
        if (strcmp(names[i], key) == 0) {
            entry_wrong(entry, key, what);
            return;
        }
    }
    entry_wrong(entry, "", what);
}

void entry_each_refusal(const struct page_view *view, const struct web_answer *refused,
                        void (*take)(void *context, const char *line), void *context) {
    json_t *json = refused->body ? json_loadb(refused->body, refused->body_length, 0, NULL) : NULL;
    json_t *lines = json_object_get(json, "errors"), *line;
    const char *why = json_string_value(json_object_get(json, "error"));
    size_t i;
    json_array_foreach(lines, i, line) {
        take(context, json_string_value(line));
    }
    if (json_array_size(lines) == 0)
        take(context, why ? why : page_words(view, PAGE_REFUSED));
    json_decref(json);
}

struct plain_fields {
    struct entry *entry;
    const char *const *names;
    size_t count;
};

static void complain(void *context, const char *line) {
    const struct plain_fields *fields = context;
    entry_complain(fields->entry, line, fields->names, fields->count);
}

void entry_refused(struct entry *entry, const struct web_answer *refused, const char *const *names,
                   size_t count) {
    struct plain_fields fields = {entry, names, count};
    entry_each_refusal(entry->view, refused, complain, &fields);
}

bool entry_has(struct entry *entry, const char *const *names, size_t count) {
    size_t before = entry->wrong_count;
    for (size_t i = 0; i < count; i++) {
        if (!*page_form_value(entry->typed, names[i]))
            entry_wrong_home(entry, names[i], HOME_WRONG_MISSING);
    }
    return entry->wrong_count == before;
}

void entry_summary(const struct entry *entry) {
    struct page_view *view = entry->view;
    size_t fields = 0;
    if (entry->wrong_count == 0)
        return;
    for (size_t i = 0; i < entry->wrong_count; i++)
        fields += *entry->wrong[i].name != '\0';
    html_markup(&view->html, "<div class=\"notice\" role=\"alert\"><p>");
    page_element(view, "strong", PAGE_NOTHING_CHANGED);
    if (fields)
        page_fill(view, fields == 1 ? PAGE_FIELD_WRONG : PAGE_FIELDS_WRONG, slot_count(fields));
    html_markup(&view->html, "</p>");
    for (size_t i = 0; i < entry->wrong_count; i++) {
        if (!*entry->wrong[i].name)
            html_element(&view->html, "p", entry->wrong[i].why, NULL);
    }
    html_markup(&view->html, "</div>");
}

void entry_begin_again(const struct entry *entry, size_t system, enum page_text title) {
    const struct page_head head = {.title = page_words(entry->view, title), .system = system};
    page_begin(entry->view, &head);
    page_element(entry->view, "h1", title);
    entry_summary(entry);
}

void entry_end_again(const struct entry *entry, size_t system, int status) {
    struct page_view *view = entry->view;
    struct html_address back = system == FLEET_NONE ? page_address(view, "/alarms")
                                                    : page_system_address(view, system, "");
    page_link_line(
        view, &back,
        page_words(view, system == FLEET_NONE ? PAGE_BACK_TO_ALARMS : PAGE_BACK_TO_SYSTEM));
    page_end(view, status);
}

/* ---- fields ---- */

const char *entry_value(const struct entry *entry, const char *name, const char *otherwise) {
    return entry->typed ? page_form_value(entry->typed, name) : otherwise ? otherwise : "";
}

struct field_id {
    char text[ENTRY_NAME_SIZE + 40];
};

static struct field_id id_of(const struct entry *entry, const char *what, const char *name) {
    struct field_id id;
    snprintf(id.text, sizeof id.text, "%s%.79s%.30s", what, name,
             entry->behind ? entry->behind : "");
    return id;
}

/* The ids that describe a field to those who hear it: "wrong-value hint-value". */
struct described {
    char text[2 * sizeof(struct field_id) + 2];
};

static struct described described_by(const struct entry *entry, const struct entry_field *field) {
    struct described by = {""};
    bool wrong = why_of(entry, field->name) != NULL;
    snprintf(by.text, sizeof by.text, "%s%s%s",
             wrong ? id_of(entry, "wrong-", field->name).text : "", wrong && field->hint ? " " : "",
             field->hint ? id_of(entry, "hint-", field->name).text : "");
    return by;
}

static void write_beside(struct entry *entry, const struct entry_field *field) {
    struct html *html = &entry->view->html;
    const char *why = why_of(entry, field->name);
    if (field->hint)
        html_element(html, "span", field->hint, "id", id_of(entry, "hint-", field->name).text,
                     "class", "hint", NULL);
    if (why)
        html_element(html, "span", why, "id", id_of(entry, "wrong-", field->name).text, "class",
                     "wrong", NULL);
}

static void begin_field(struct entry *entry, const struct entry_field *field) {
    html_markup(&entry->view->html, "<p class=\"field\">");
    html_element(&entry->view->html, "label", field->label, "for",
                 id_of(entry, "", field->name).text, NULL);
    html_markup(&entry->view->html, " ");
    write_beside(entry, field);
}

void entry_input(struct entry *entry, const struct entry_field *field) {
    const struct described by = described_by(entry, field);
    begin_field(entry, field);
    html_empty(&entry->view->html, "input", "id", id_of(entry, "", field->name).text, "name",
               field->name, "type", field->type ? field->type : "text", "value",
               entry_value(entry, field->name, field->otherwise), "inputmode", field->mode,
               "maxlength", field->most, "required", field->needed ? "" : NULL, "autocomplete",
               "off", "aria-describedby", *by.text ? by.text : NULL, "aria-invalid",
               why_of(entry, field->name) ? "true" : NULL, NULL);
    html_markup(&entry->view->html, "</p>");
}

void entry_text(struct entry *entry, const struct entry_field *field) {
    const struct described by = described_by(entry, field);
    begin_field(entry, field);
    html_open(&entry->view->html, "textarea", "id", id_of(entry, "", field->name).text, "name",
              field->name, "rows", "3", "maxlength", field->most, "required",
              field->needed ? "" : NULL, "aria-describedby", *by.text ? by.text : NULL,
              "aria-invalid", why_of(entry, field->name) ? "true" : NULL, NULL);
    html_text(&entry->view->html, entry_value(entry, field->name, field->otherwise));
    html_markup(&entry->view->html, "</textarea></p>");
}

void entry_choices(struct entry *entry, const struct entry_field *field,
                   const struct entry_choice *choices, size_t count) {
    const struct described by = described_by(entry, field);
    const char *chosen = entry_value(entry, field->name, field->otherwise);
    html_open(&entry->view->html, "fieldset", "class", "choices", "aria-describedby",
              *by.text ? by.text : NULL, NULL);
    html_element(&entry->view->html, "legend", field->label, NULL);
    write_beside(entry, field);
    for (size_t i = 0; i < count; i++) {
        html_markup(&entry->view->html, "<label>");
        html_empty(&entry->view->html, "input", "type", "radio", "name", field->name, "value",
                   choices[i].word, "checked", strcmp(choices[i].word, chosen) == 0 ? "" : NULL,
                   "required", field->needed ? "" : NULL, NULL);
        html_markup(&entry->view->html, " ");
        html_text(&entry->view->html, choices[i].text);
        html_markup(&entry->view->html, "</label>");
    }
    html_markup(&entry->view->html, "</fieldset>");
}

void entry_select(struct entry *entry, const struct entry_field *field, const char *const *words,
                  const char *const *texts, size_t count) {
    const struct described by = described_by(entry, field);
    const char *chosen = entry_value(entry, field->name, field->otherwise);
    begin_field(entry, field);
    html_open(&entry->view->html, "select", "id", id_of(entry, "", field->name).text, "name",
              field->name, "required", field->needed ? "" : NULL, "aria-describedby",
              *by.text ? by.text : NULL, "aria-invalid", why_of(entry, field->name) ? "true" : NULL,
              NULL);
    for (size_t i = 0; i < count; i++)
        html_element(&entry->view->html, "option", *words[i] ? texts[i] : "–", "value", words[i],
                     "selected", strcmp(words[i], chosen) == 0 ? "" : NULL, NULL);
    html_markup(&entry->view->html, "</select></p>");
}

void entry_for_a_while(struct entry *entry, const char *otherwise, const char *const *words,
                       const char *const *texts, size_t count) {
    const struct page_view *view = entry->view;
    const struct entry_field until = {"until", page_words(view, PAGE_FOR), .otherwise = otherwise,
                                      .needed = true},
                             why = {"why", page_words(view, PAGE_WHY), .most = "300",
                                    .needed = true};
    entry_select(entry, &until, words, texts, count);
    entry_input(entry, &why);
}

void entry_box(struct entry *entry, const struct entry_field *field) {
    const struct described by = described_by(entry, field);
    html_markup(&entry->view->html, "<p class=\"field\">");
    write_beside(entry, field);
    html_markup(&entry->view->html, "<label>");
    html_empty(&entry->view->html, "input", "type", "checkbox", "id",
               id_of(entry, "", field->name).text, "name", field->name, "value", "yes", "checked",
               *entry_value(entry, field->name, NULL) ? "" : NULL, "aria-describedby",
               *by.text ? by.text : NULL, NULL);
    html_markup(&entry->view->html, " ");
    html_text(&entry->view->html, field->label);
    html_markup(&entry->view->html, "</label></p>");
}

void entry_changes(struct entry *entry, enum page_text legend) {
    html_markup(&entry->view->html, "<fieldset>");
    page_element(entry->view, "legend", legend);
    for (unsigned n = 0; change_word(n); n++) {
        char name[ENTRY_NAME_SIZE];
        snprintf(name, sizeof name, "changed-%s", change_word(n));
        const struct entry_field field = {.name = name,
                                          .label = page_words_of(entry->view, change_word(n))};
        entry_box(entry, &field);
    }
    html_markup(&entry->view->html, "</fieldset>");
}

json_t *entry_values(const struct entry *entry, size_t system) {
    struct page_view *view = entry->view;
    const struct fleet_system *owner = &view->api->fleet->systems[system];
    json_t *values = json_object();
    for (size_t i = 0; i < owner->point_count; i++) {
        const char *id = owner->description->points[i].id;
        size_t point = owner->first_point + i;
        char name[ENTRY_NAME_SIZE];
        enum unit_system kept = page_units_of_point(view, point);
        snprintf(name, sizeof name, "value-%s", id);
        page_form_set_value(values, id, page_form_value(entry->typed, name),
                            page_unit(view, point));
        view->units = kept;
    }
    return values;
}

const char *entry_record_field(const char *key, char name[ENTRY_NAME_SIZE]) {
    *name = '\0';
    if (strncmp(key, "values.", 7) == 0 || strncmp(key, "points.", 7) == 0)
        snprintf(name, ENTRY_NAME_SIZE, "value-%.70s", key + 7);
    if (strcmp(key, "changed") == 0)
        snprintf(name, ENTRY_NAME_SIZE, "changed-%s", change_word(0));
    return name;
}

void entry_fan_model(struct entry *entry, const char *name) {
    enum { FANS_MOST = 200 };
    const struct page_view *view = entry->view;
    const struct fan_models *fans = &view->api->fleet->settings->fans;
    const struct entry_field field = {name, page_words(view, PAGE_FAN_MODEL), .most = "64"};
    const char *words[FANS_MOST + 1] = {""};
    size_t count = 1;
    for (size_t i = 0; i < fans->count && count <= FANS_MOST; i++)
        words[count++] = fans->models[i]->id;
    if (fans->folder)
        entry_select(entry, &field, words, words, count);
    else
        entry_input(entry, &field);
}

void entry_units(const struct entry *entry) {
    struct page_view *view = entry->view;
    html_hidden(&view->html, "units",
                entry_value(entry, "units", view->units == UNIT_SYSTEM_SI ? "si" : "us"));
}

void entry_take_units(const struct entry *entry) {
    struct page_view *view = entry->view;
    const char *units = page_form_value(entry->typed, "units");
    if (*units)
        view->units = strcmp(units, "si") == 0 ? UNIT_SYSTEM_SI : UNIT_SYSTEM_US;
}
