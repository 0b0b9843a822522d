#include "settings/contact_settings.h"

#include "measure/duration.h"
#include "settings/checked_text.h"
#include "settings/name_index.h"
#include "words/template.h"
#include "words/wording.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#define AT(field) offsetof(struct settings_contact, field)

static const struct key_word role_words[] = {{"contractor", ROLE_CONTRACTOR},
                                             {"homeowner", ROLE_HOMEOWNER},
                                             {"technician", ROLE_TECHNICIAN},
                                             {NULL, 0}};
static const struct key_word body_words[] = {
    {"cloudevents", BODY_CLOUDEVENTS}, {"text", BODY_TEXT}, {"template", BODY_TEMPLATE}, {NULL, 0}};
static const struct key_word unit_words[] = {
    {"us", UNIT_SYSTEM_US}, {"si", UNIT_SYSTEM_SI}, {NULL, 0}};
static const struct key_word digest_words[] = {{"daily", 0}, {"weekly", 0}, {NULL, 0}};

static void read_header_value(struct key_reader *reader, const struct key_path *path,
                              const struct yaml_tree_node *node, struct settings_header *header) {
    const char *text = key_scalar(reader, path, node, "a text, or file:NAME");
    if (!text)
        return;
    bool in_file = strncmp(text, "file:", 5) == 0;
    const char *problem =
        in_file ? checked_text_file_name(text + 5) : checked_text_header_value(text);
    if (problem)
        key_error(reader, path, node->line, "%s", problem);
    else if (in_file)
        header->value_file = key_copy(reader, text + 5);
    else
        header->value = key_copy(reader, text);
}

static bool has_header(const struct settings_contact *contact, const char *name) {
    for (size_t i = 0; i < contact->header_count; i++)
        if (strcasecmp(contact->headers[i].name, name) == 0)
            return true;
    return false;
}

static void read_headers(struct key_reader *reader, const struct key_path *path,
                         const struct yaml_tree_node *node, void *target) {
    struct settings_contact *contact = target;
    if (!key_is(reader, path, node, YAML_TREE_MAP, "a map of header names and values"))
        return;
    if (node->count > 32) {
        key_error(reader, path, node->line, "are too many; allowed: 32 headers");
        return;
    }
    contact->headers = key_allocate(reader, node->count, sizeof *contact->headers);
    for (size_t i = 0; contact->headers && i < node->count; i++) {
        const struct yaml_tree_entry *entry = &node->entries[i];
        struct key_path here = {.up = path, .name = entry->key};
        const char *problem = checked_text_header_name(entry->key);
        if (problem || has_header(contact, entry->key)) {
            key_error(reader, &here, entry->line, "%s",
                      problem ? problem : "is given twice; allowed: once, whatever its case");
            continue;
        }
        struct settings_header *header = &contact->headers[contact->header_count];
        header->name = key_copy(reader, entry->key);
        if (!header->name)
            return;
        header->line = entry->line;
        contact->header_count++;
        read_header_value(reader, &here, &entry->value, header);
    }
}

static const struct key_row webhook_rows[] = {
    {.key = "url",
     KEY_TEXT_AT(AT(url), checked_text_url, "https://HOST/PATH"),
     .required = true,
     .secret = true}, /* many services put their key into the path */
    {.key = "body",
     KEY_WORD_AT(AT(body), body_words, "a body", "cloudevents, text, template"),
     .otherwise = "cloudevents"},
    {.key = "template",
     KEY_TEXT_AT(AT(template_text), checked_text_note,
                 "JSON with placeholders such as {\"text\": {{text}}}"),
     .line_offset = AT(lines.template_text),
     .secret = true},
    {.key = "signing_secret_file",
     KEY_TEXT_AT(AT(signing_secret_file), checked_text_file_name, "a file name"),
     .line_offset = AT(lines.signing_secret_file)},
    {.key = "headers", .kind = KEY_PART, .read = read_headers},
    {.key = "allow_private", KEY_SWITCH_AT(AT(allow_private_address)), .otherwise = "no"},
    {.key = "tls_ca_file",
     KEY_TEXT_AT(AT(tls_ca_file), checked_text_file_name, "a file name"),
     .line_offset = AT(lines.tls_ca_file)},
};

static int line_of(const struct yaml_tree_node *node, const char *key) {
    const struct yaml_tree_entry *entry = yaml_tree_find(node, key);
    return entry ? entry->value.line : node->line;
}

static void check_template(struct key_reader *reader, const struct key_path *path,
                           const struct yaml_tree_node *node,
                           const struct settings_contact *contact) {
    struct key_path here = {.up = path, .name = "template"};
    char why[300] = "", words[400] = "";
    size_t used = 0;
    int line = line_of(node, "template");
    if (!contact->template_text) {
        if (contact->body == BODY_TEMPLATE && !yaml_tree_find(node, "template"))
            key_error(reader, &here, line_of(node, "body"),
                      "is missing; allowed: JSON with placeholders such as {\"text\": {{text}}}");
        return;
    }
    for (int i = 0; i < TEMPLATE_NAME_COUNT; i++)
        used += (size_t)snprintf(words + used, sizeof words - used, "%s%s", i ? ", " : "",
                                 template_name_text((enum template_name)i));
    if (!strstr(contact->template_text, "{{"))
        key_error(reader, &here, line,
                  "has no placeholder; allowed: JSON with at least one {{NAME}} of %s", words);
    else if (!template_check(contact->template_text, why, sizeof why))
        key_error(reader, &here, line, "%s; allowed: JSON with {{NAME}} of %s", why, words);
}

static void read_webhook(struct key_reader *reader, const struct key_path *path,
                         const struct yaml_tree_node *node, void *target) {
    struct settings_contact *contact = target;
    key_map_read(reader, path, node, KEY_ROWS(webhook_rows), contact);
    if (node->kind != YAML_TREE_MAP)
        return;
    struct key_path here = {.up = path, .name = "url"};
    if (contact->url && !checked_text_url_is_https(contact->url) &&
        !checked_text_url_is_loopback(contact->url) && !contact->allow_private_address)
        key_error(reader, &here, line_of(node, "url"),
                  "is not encrypted; allowed: https://HOST/PATH, plain http only to this machine "
                  "or with allow_private: yes");
    check_template(reader, path, node, contact);
}

/* "21:00" to minutes since midnight; the place behind it, NULL when it is none. */
static const char *read_clock(const char *text, int *minute) {
    int hours = 0, minutes = 0, used = 0;
    while (*text == ' ')
        text++;
    for (; text[used] >= '0' && text[used] <= '9' && used < 2; used++)
        hours = hours * 10 + (text[used] - '0');
    if (used < 1 || text[used] != ':')
        return NULL;
    text += used + 1;
    if (text[0] < '0' || text[0] > '5' || text[1] < '0' || text[1] > '9')
        return NULL;
    minutes = (text[0] - '0') * 10 + (text[1] - '0');
    if (hours > 23)
        return NULL;
    *minute = hours * 60 + minutes;
    text += 2;
    while (*text == ' ')
        text++;
    return text;
}

static void read_quiet_hours(struct key_reader *reader, const struct key_path *path,
                             const struct yaml_tree_node *node, void *target) {
    static const char allowed[] = "two different local times such as 21:00-07:00";
    struct settings_contact *contact = target;
    const char *text = key_scalar(reader, path, node, allowed);
    if (!text)
        return;
    int from = 0, to = 0;
    const char *at = read_clock(text, &from);
    at = at && *at == '-' ? read_clock(at + 1, &to) : NULL;
    if (!at || *at || from == to) {
        key_error(reader, path, node->line, "%.40s is not a span of the day; allowed: %s", text,
                  allowed);
        return;
    }
    contact->quiet.given = true;
    contact->quiet.from_minute = from;
    contact->quiet.to_minute = to;
}

static const struct key_row escalate_rows[] = {
    {.key = "contact",
     KEY_TEXT_AT(AT(escalate_to), checked_text_id, "the id of another contact"),
     .required = true},
    {.key = "after",
     KEY_RANGE_AT(KEY_SPAN, AT(escalate_after_ms), DURATION_SECOND_MS, 30 * DURATION_DAY_MS,
                  "a time to wait", "1 s to 30 d, such as 4 h"),
     .required = true},
};

static void read_escalation(struct key_reader *reader, const struct key_path *path,
                            const struct yaml_tree_node *node, void *target) {
    key_map_read(reader, path, node, KEY_ROWS(escalate_rows), target);
}

static const char *check_language(const char *text) {
    size_t language;
    return wording_language_find(text, &language) ? NULL
                                                  : "is no language of the messages; allowed: "
                                                    "the code of one, such as en or es-MX";
}

/* yes or no, else an error and false. */
static bool read_yes(struct key_reader *reader, const struct key_path *path,
                     const struct yaml_tree_node *node, bool *yes) {
    static const char allowed[] = "yes or no";
    const char *text = key_scalar(reader, path, node, allowed);
    if (text && key_switch_parse(text, yes))
        return true;
    if (text)
        key_error(reader, path, node->line, "%.40s is not a switch; allowed: %s", text, allowed);
    return false;
}

static void refuse_heard(struct key_reader *reader, const struct key_path *path,
                         const struct yaml_tree_entry *entry) {
    const char *names[CONDITION_COUNT];
    for (size_t i = 0; i < CONDITION_COUNT; i++)
        names[i] = condition_info((enum condition)i)->name;
    const char *nearest = key_nearest(entry->key, names, CONDITION_COUNT);
    key_error(reader, path, entry->line, "is no condition%s%s%s; allowed: %s",
              nearest ? "; did you mean \"" : "", nearest ? nearest : "", nearest ? "\"?" : "",
              "names of conditions, or high, medium, low for all of that priority");
}

/* What this contact hears of although its role does not, or does not although its role does. */
static void read_hears(struct key_reader *reader, const struct key_path *path,
                       const struct yaml_tree_node *node, void *target) {
    struct settings_contact *contact = target;
    if (!key_is(reader, path, node, YAML_TREE_MAP, "a map such as {radon-rising: yes, low: no}"))
        return;
    for (size_t i = 0; i < node->count; i++) {
        const struct yaml_tree_entry *entry = &node->entries[i];
        struct key_path here = {.up = path, .name = entry->key};
        enum condition condition = CONDITION_COUNT;
        enum priority priority = PRIORITY_LOW;
        bool known = condition_find(entry->key, &condition) || priority_find(entry->key, &priority);
        bool yes = false;
        if (!known)
            refuse_heard(reader, &here, entry);
        else if (!read_yes(reader, &here, &entry->value, &yes))
            continue;
        else if (condition < CONDITION_COUNT)
            *(yes ? &contact->hears.conditions : &contact->hears_not.conditions) |= UINT64_C(1)
                                                                                    << condition;
        else
            *(yes ? &contact->hears.priorities : &contact->hears_not.priorities) |= 1U << priority;
    }
}

static const struct key_row contact_rows[] = {
    {.key = "id", KEY_TEXT_AT(AT(id), checked_text_id, "an id such as office"), .required = true},
    {.key = "role",
     KEY_WORD_AT(AT(role), role_words, "a role", "contractor, homeowner, technician"),
     .required = true},
    {.key = "webhook",
     .kind = KEY_PART,
     .required = true,
     .allowed = "a map with url",
     .read = read_webhook},
    {.key = "quiet_hours", .kind = KEY_PART, .read = read_quiet_hours},
    {.key = "time_zone",
     KEY_TEXT_AT(AT(time_zone), checked_text_time_zone, "an IANA name such as America/Denver")},
    {.key = "units", KEY_WORD_AT(AT(units), unit_words, "a system of units", "us or si")},
    {.key = "language",
     KEY_TEXT_AT(AT(language), check_language,
                 "the code of a language of the messages, such as en or es-MX")},
    {.key = "hears", .kind = KEY_PART, .read = read_hears},
    {.key = "remind_every",
     KEY_RANGE_AT(KEY_SPAN, AT(remind_every_ms), 0.0, 90 * DURATION_DAY_MS, "a span of reminders",
                  "none, or 1 s to 90 d"),
     .otherwise = "none"},
    {.key = "escalate_to", .kind = KEY_PART, .read = read_escalation},
    {.key = "digest",
     .kind = KEY_WORD_TEXT,
     .offset = AT(digest),
     .what = "a digest",
     .allowed = "daily or weekly",
     .words = digest_words},
    {.key = "at_most_every",
     KEY_RANGE_AT(KEY_SPAN, AT(least_interval_ms), 0.0, DURATION_DAY_MS, "a span between messages",
                  "none, or to 24 h"),
     .otherwise = "none"},
};

static void read_contact(struct key_reader *reader, const struct key_path *list,
                         const struct yaml_tree_node *node, size_t index,
                         struct settings_contact *contact) {
    const struct yaml_tree_entry *id = yaml_tree_find(node, "id");
    bool named = id && id->value.kind == YAML_TREE_SCALAR && !checked_text_id(id->value.text);
    struct key_path here = {
        .up = list, .in_brackets = true, .index = index, .name = named ? id->value.text : NULL};
    contact->line = node->line;
    key_map_read(reader, &here, node, KEY_ROWS(contact_rows), contact);
    contact->has_units = yaml_tree_find(node, "units") != NULL;
    struct key_path remind = {.up = &here, .name = "remind_every"};
    if (contact->remind_every_ms > 0 && contact->remind_every_ms < DURATION_SECOND_MS)
        key_error(reader, &remind, line_of(node, "remind_every"),
                  "is too often; allowed: none, or 1 s to 90 d");
}

static int escalation_line(const struct yaml_tree_node *list, size_t index) {
    const struct yaml_tree_node *node = &list->entries[index].value;
    const struct yaml_tree_entry *entry = yaml_tree_find(node, "escalate_to");
    return entry ? line_of(&entry->value, "contact") : node->line;
}

static void refuse_escalation(struct key_reader *reader, const struct key_path *path,
                              const struct yaml_tree_node *list,
                              const struct settings_contact *contact, size_t index,
                              const char *what) {
    struct key_path here = {.up = path, .in_brackets = true, .index = index, .name = contact->id};
    struct key_path part = {.up = &here, .name = "escalate_to"};
    struct key_path key = {.up = &part, .name = "contact"};
    key_error(reader, &key, escalation_line(list, index), "\"%s\" %s", contact->escalate_to, what);
}

/*
 * Each contact escalates to at most one other, so a walk that is longer than the list is a ring.
 * Marks keep the walks together linear: 1 on the present walk, 2 known to end.
 */
static void check_rings(struct key_reader *reader, const struct key_path *path,
                        const struct yaml_tree_node *list, const struct contact_list *all,
                        const size_t *next) {
    unsigned char *mark = key_allocate(reader, all->count, 1);
    for (size_t start = 0; mark && start < all->count; start++) {
        size_t at = start;
        while (at != NAME_INDEX_NONE && mark[at] == 0) {
            mark[at] = 1;
            at = next[at];
        }
        if (at != NAME_INDEX_NONE && mark[at] == 1)
            refuse_escalation(reader, path, list, &all->contacts[at], at,
                              "leads back to the contact itself; allowed: a chain that ends");
        for (at = start; at != NAME_INDEX_NONE && mark[at] == 1; at = next[at])
            mark[at] = 2;
    }
    free(mark);
}

static void check_escalations(struct key_reader *reader, const struct key_path *path,
                              const struct yaml_tree_node *list, const struct contact_list *all,
                              const struct name_index *index) {
    size_t *next = key_allocate(reader, all->count, sizeof *next);
    for (size_t i = 0; next && i < all->count; i++) {
        const struct settings_contact *contact = &all->contacts[i];
        next[i] = NAME_INDEX_NONE;
        if (!contact->escalate_to)
            continue;
        size_t found = name_index_find(index, contact->escalate_to);
        if (found == NAME_INDEX_NONE)
            refuse_escalation(reader, path, list, contact, i,
                              "is no contact; allowed: the id of another contact");
        else if (contact->id && found == name_index_find(index, contact->id))
            refuse_escalation(reader, path, list, contact, i,
                              "is the contact itself; allowed: the id of another contact");
        else
            next[i] = found;
    }
    if (next)
        check_rings(reader, path, list, all, next);
    free(next);
}

static void check_together(struct key_reader *reader, const struct key_path *path,
                           const struct yaml_tree_node *list, const struct contact_list *all) {
    struct name_index index = {0};
    if (!name_index_build(&index, &all->contacts[0].id, sizeof *all->contacts, all->count)) {
        key_error(reader, NULL, 0, "out of memory");
        return;
    }
    for (size_t i = 0; i < all->count; i++) {
        size_t first = all->contacts[i].id ? name_index_find(&index, all->contacts[i].id) : i;
        struct key_path here = {.up = path, .in_brackets = true, .index = i};
        struct key_path id = {.up = &here, .name = "id"};
        if (first != i && first != NAME_INDEX_NONE)
            key_error(reader, &id, line_of(&list->entries[i].value, "id"),
                      "\"%s\" is taken by the contact in line %d; allowed: an id of its own",
                      all->contacts[i].id, all->contacts[first].line);
    }
    check_escalations(reader, path, list, all, &index);
    name_index_free(&index);
}

struct contact_list contact_settings_read(struct key_reader *reader, const struct key_path *path,
                                          const struct yaml_tree_node *node) {
    struct contact_list all = {0};
    if (!key_is(reader, path, node, YAML_TREE_LIST, "a list of contacts") || node->count == 0)
        return all;
    all.contacts = key_allocate(reader, node->count, sizeof *all.contacts);
    if (!all.contacts)
        return all;
    all.count = node->count;
    for (size_t i = 0; i < node->count; i++)
        read_contact(reader, path, &node->entries[i].value, i, &all.contacts[i]);
    check_together(reader, path, node, &all);
    return all;
}

void contact_settings_clear(struct settings_contact *contact) {
    for (size_t i = 0; i < contact->header_count; i++) {
        free(contact->headers[i].name);
        free(contact->headers[i].value);
        free(contact->headers[i].value_file);
    }
    free(contact->headers);
    free(contact->id);
    free(contact->url);
    free(contact->template_text);
    free(contact->signing_secret_file);
    free(contact->time_zone);
    free(contact->language);
    free(contact->escalate_to);
    free(contact->digest);
    free(contact->tls_ca_file);
}
