#include "page/entry.h"
#include "page/view_words.h"

#include <stdio.h>
#include <string.h>

static const char *why_of(const struct entry *entry, const char *name) {
    for (size_t i = 0; i < entry->wrong_count; i++) {
        if (strcmp(entry->wrong[i].name, name) == 0)
            return entry->wrong[i].why;
    }
    return NULL;
}

void entry_wrong(struct entry *entry, const char *name, const char *why) {
    if (entry->wrong_count == ENTRY_WRONG_MAX || why_of(entry, name))
        return;
    entry->wrong[entry->wrong_count].name = name;
    entry->wrong[entry->wrong_count++].why = why;
}

void entry_summary(struct page_view *view, const struct entry *entry) {
    if (entry->wrong_count == 0)
        return;
    html_markup(&view->html, "<div class=\"notice\" role=\"alert\"><p>");
    page_element(view, "strong", PAGE_NOTHING_CHANGED);
    page_fill(view, entry->wrong_count == 1 ? PAGE_FIELD_WRONG : PAGE_FIELDS_WRONG,
              slot_count(entry->wrong_count));
    html_markup(&view->html, "</p></div>");
}

const char *entry_value(const struct entry *entry, const char *name, const char *otherwise) {
    return entry->typed ? page_form_value(entry->typed, name) : otherwise ? otherwise : "";
}

/* The ids that describe a field to those who hear it: "wrong-value hint-value". */
struct described {
    char text[160];
};

static struct described described_by(const struct entry *entry, const struct entry_field *field) {
    struct described by = {""};
    bool wrong = why_of(entry, field->name) != NULL;
    snprintf(by.text, sizeof by.text, "%s%s%s%s%s", wrong ? "wrong-" : "", wrong ? field->name : "",
             wrong && field->hint ? " " : "", field->hint ? "hint-" : "",
             field->hint ? field->name : "");
    return by;
}

static void write_beside(struct entry *entry, const struct entry_field *field) {
    char id[100];
    const char *why = why_of(entry, field->name);
    if (field->hint) {
        snprintf(id, sizeof id, "hint-%s", field->name);
        html_element(entry->html, "span", field->hint, "id", id, "class", "hint", NULL);
    }
    if (why) {
        snprintf(id, sizeof id, "wrong-%s", field->name);
        html_element(entry->html, "span", why, "id", id, "class", "wrong", NULL);
    }
}

static void begin_field(struct entry *entry, const struct entry_field *field) {
    html_markup(entry->html, "<p class=\"field\">");
    html_element(entry->html, "label", field->label, "for", field->name, NULL);
    write_beside(entry, field);
}

void entry_input(struct entry *entry, const struct entry_field *field) {
    const struct described by = described_by(entry, field);
    begin_field(entry, field);
    html_empty(entry->html, "input", "id", field->name, "name", field->name, "type",
               field->type ? field->type : "text", "value",
               entry_value(entry, field->name, field->otherwise), "inputmode", field->mode,
               "maxlength", field->most, "required", field->needed ? "" : NULL, "autocomplete",
               "off", "aria-describedby", *by.text ? by.text : NULL, "aria-invalid",
               why_of(entry, field->name) ? "true" : NULL, NULL);
    html_markup(entry->html, "</p>");
}

void entry_text(struct entry *entry, const struct entry_field *field) {
    const struct described by = described_by(entry, field);
    begin_field(entry, field);
    html_open(entry->html, "textarea", "id", field->name, "name", field->name, "rows", "3",
              "maxlength", field->most, "required", field->needed ? "" : NULL, "aria-describedby",
              *by.text ? by.text : NULL, "aria-invalid", why_of(entry, field->name) ? "true" : NULL,
              NULL);
    html_text(entry->html, entry_value(entry, field->name, field->otherwise));
    html_markup(entry->html, "</textarea></p>");
}

void entry_choices(struct entry *entry, const struct entry_field *field,
                   const struct entry_choice *choices, size_t count) {
    const struct described by = described_by(entry, field);
    const char *chosen = entry_value(entry, field->name, field->otherwise);
    html_open(entry->html, "fieldset", "class", "choices", "aria-describedby",
              *by.text ? by.text : NULL, NULL);
    html_element(entry->html, "legend", field->label, NULL);
    write_beside(entry, field);
    for (size_t i = 0; i < count; i++) {
        html_markup(entry->html, "<label>");
        html_empty(entry->html, "input", "type", "radio", "name", field->name, "value",
                   choices[i].word, "checked", strcmp(choices[i].word, chosen) == 0 ? "" : NULL,
                   "required", field->needed ? "" : NULL, NULL);
        html_markup(entry->html, " ");
        html_text(entry->html, choices[i].text);
        html_markup(entry->html, "</label>");
    }
    html_markup(entry->html, "</fieldset>");
}

void entry_select(struct entry *entry, const struct entry_field *field, const char *const *words,
                  const char *const *texts, size_t count) {
    const struct described by = described_by(entry, field);
    const char *chosen = entry_value(entry, field->name, field->otherwise);
    begin_field(entry, field);
    html_open(entry->html, "select", "id", field->name, "name", field->name, "required",
              field->needed ? "" : NULL, "aria-describedby", *by.text ? by.text : NULL,
              "aria-invalid", why_of(entry, field->name) ? "true" : NULL, NULL);
    for (size_t i = 0; i < count; i++)
        html_element(entry->html, "option", *words[i] ? texts[i] : "–", "value", words[i],
                     "selected", strcmp(words[i], chosen) == 0 ? "" : NULL, NULL);
    html_markup(entry->html, "</select></p>");
}

void entry_box(struct entry *entry, const struct entry_field *field) {
    const struct described by = described_by(entry, field);
    html_markup(entry->html, "<p class=\"field\">");
    write_beside(entry, field);
    html_markup(entry->html, "<label>");
    html_empty(entry->html, "input", "type", "checkbox", "id", field->name, "name", field->name,
               "value", "yes", "checked", *entry_value(entry, field->name, NULL) ? "" : NULL,
               "aria-describedby", *by.text ? by.text : NULL, NULL);
    html_markup(entry->html, " ");
    html_text(entry->html, field->label);
    html_markup(entry->html, "</label></p>");
}

void entry_fan_model(const struct page_view *view, struct entry *entry, const char *name) {
    enum { FANS_MOST = 200 };
    const struct fan_models *fans = &view->api->fleet->settings->fans;
    const struct entry_field field = {
        .name = name, .label = page_words(view, PAGE_FAN_MODEL), .most = "64"};
    const char *words[FANS_MOST + 1] = {""};
    size_t count = 1;
    for (size_t i = 0; i < fans->count && count <= FANS_MOST; i++)
        words[count++] = fans->models[i]->id;
    if (fans->folder)
        entry_select(entry, &field, words, words, count);
    else
        entry_input(entry, &field);
}

void entry_units(struct page_view *view, struct entry *entry) {
    html_empty(&view->html, "input", "type", "hidden", "name", "units", "value",
               entry_value(entry, "units", view->units == UNIT_SYSTEM_SI ? "si" : "us"), NULL);
}

void entry_take_units(struct page_view *view, const struct entry *entry) {
    const char *units = page_form_value(entry->typed, "units");
    if (*units)
        view->units = strcmp(units, "si") == 0 ? UNIT_SYSTEM_SI : UNIT_SYSTEM_US;
}

const char *entry_error_key(const char *line, char key[ENTRY_KEY_SIZE]) {
    const char *at = strchr(line, ':');
    *key = '\0';
    if (!at || strspn(at + 1, "0123456789") == 0)
        return line;
    at += 1 + strspn(at + 1, "0123456789");
    const char *from = strncmp(at, ": ", 2) == 0 ? at + 2 : NULL;
    const char *end = from ? strstr(from, ": ") : NULL;
    if (!end || end - from >= ENTRY_KEY_SIZE)
        return line;
    memcpy(key, from, (size_t)(end - from));
    key[end - from] = '\0';
    return end + 2;
}
