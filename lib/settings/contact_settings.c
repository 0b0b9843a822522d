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

static void read_header_value(const struct key_at *at, struct settings_header *header) {
    const char *text = key_scalar(at, "a text, or file:NAME");
    if (!text)
        return;
    bool in_file = strncmp(text, "file:", 5) == 0;
    const char *problem =
        in_file ? checked_text_file_name(text + 5) : checked_text_header_value(text);
    if (problem)
        key_error(at, "%s", problem);
    else if (in_file)
        header->value_file = key_copy(at, text + 5);
    else
        header->value = key_copy(at, text);
}

static bool has_header(const struct settings_contact *contact, const char *name) {
    for (size_t i = 0; i < contact->header_count; i++)
        if (strcasecmp(contact->headers[i].name, name) == 0)
            return true;
    return false;
}

static void read_headers(const struct key_at *at, void *target) {
    struct settings_contact *contact = target;
    if (!key_is(at, YAML_TREE_MAP, "a map of header names and values"))
        return;
    size_t count = at->node->count;
    if (count > 32) {
        key_error(at, "are too many; allowed: 32 headers");
        return;
    }
    contact->headers = key_allocate(at, count, sizeof *contact->headers);
    for (size_t i = 0; contact->headers && i < count; i++) {
        const struct key_at here = key_item(at, i);
        const char *problem = checked_text_header_name(here.name);
        if (problem || has_header(contact, here.name)) {
            key_refuse(&here, "%s",
                       problem ? problem : "is given twice; allowed: once, whatever its case");
            continue;
        }
        struct settings_header *header = &contact->headers[contact->header_count];
        header->name = key_copy(at, here.name);
        if (!header->name)
            return;
        header->line = here.key_line;
        contact->header_count++;
        read_header_value(&here, header);
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
     KEY_FILE_AT(AT(signing_secret_file), AT(lines.signing_secret_file))},
    {.key = "headers", KEY_PART_AT(0, read_headers)},
    {.key = "allow_private", KEY_SWITCH_AT(AT(allow_private_address)), .otherwise = "no"},
    {.key = "tls_ca_file", KEY_FILE_AT(AT(tls_ca_file), AT(lines.tls_ca_file))},
};

static void check_template(const struct key_at *at, const struct settings_contact *contact) {
    const struct key_at here = key_child(at, "template");
    const char *names[TEMPLATE_NAME_COUNT];
    char why[300] = "", words[400];
    if (!contact->template_text) {
        struct key_at missing = here;
        missing.line = key_child(at, "body").line;
        if (contact->body == BODY_TEMPLATE && !here.node)
            key_error(&missing,
                      "is missing; allowed: JSON with placeholders such as {\"text\": {{text}}}");
        return;
    }
    for (int i = 0; i < TEMPLATE_NAME_COUNT; i++)
        names[i] = template_name_text((enum template_name)i);
    key_join(words, sizeof words, names, TEMPLATE_NAME_COUNT);
    if (!strstr(contact->template_text, "{{"))
        key_error(&here, "has no placeholder; allowed: JSON with at least one {{NAME}} of %s",
                  words);
    else if (!template_check(contact->template_text, why, sizeof why))
        key_error(&here, "%s; allowed: JSON with {{NAME}} of %s", why, words);
}

static void read_webhook(const struct key_at *at, void *target) {
    struct settings_contact *contact = target;
    key_map_read(at, KEY_ROWS(webhook_rows), contact);
    if (at->node->kind != YAML_TREE_MAP)
        return;
    const struct key_at url = key_child(at, "url");
    if (contact->url && !checked_text_url_is_https(contact->url) &&
        !checked_text_url_is_loopback(contact->url) && !contact->allow_private_address)
        key_error(&url, "is not encrypted; allowed: https://HOST/PATH, plain http only to this "
                        "machine or with allow_private: yes");
    check_template(at, contact);
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

static void read_quiet_hours(const struct key_at *at, void *target) {
    static const char allowed[] = "two different local times such as 21:00-07:00";
    struct settings_contact *contact = target;
    const char *text = key_scalar(at, allowed);
    if (!text)
        return;
    int from = 0, to = 0;
    const char *behind = read_clock(text, &from);
    behind = behind && *behind == '-' ? read_clock(behind + 1, &to) : NULL;
    if (!behind || *behind || from == to) {
        key_error(at, "%.40s is not a span of the day; allowed: %s", text, allowed);
        return;
    }
    contact->quiet = (struct settings_quiet_hours){true, from, to};
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

static const char *check_language(const char *text) {
    size_t language;
    return wording_language_find(text, &language) ? NULL
                                                  : "is no language of the messages; allowed: "
                                                    "the code of one, such as en or es-MX";
}

/* yes or no, else an error and false. */
static bool read_yes(const struct key_at *at, bool *yes) {
    static const char allowed[] = "yes or no";
    const char *text = key_scalar(at, allowed);
    if (text && key_switch_parse(text, yes))
        return true;
    if (text)
        key_error(at, "%.40s is not a switch; allowed: %s", text, allowed);
    return false;
}

static void refuse_heard(const struct key_at *at) {
    const char *names[CONDITION_COUNT];
    for (size_t i = 0; i < CONDITION_COUNT; i++)
        names[i] = condition_info((enum condition)i)->name;
    const char *nearest = key_nearest(at->name, names, CONDITION_COUNT);
    key_refuse(at, "is no condition%s%s%s; allowed: %s", nearest ? "; did you mean \"" : "",
               nearest ? nearest : "", nearest ? "\"?" : "",
               "names of conditions, or high, medium, low for all of that priority");
}

/* What this contact hears of although its role does not, or does not although its role does. */
static void read_hears(const struct key_at *at, void *target) {
    struct settings_contact *contact = target;
    if (!key_is(at, YAML_TREE_MAP, "a map such as {radon-rising: yes, low: no}"))
        return;
    for (size_t i = 0; i < at->node->count; i++) {
        const struct key_at here = key_item(at, i);
        enum condition condition = CONDITION_COUNT;
        enum priority priority = PRIORITY_LOW;
        bool known = condition_find(here.name, &condition) || priority_find(here.name, &priority);
        bool yes = false;
        if (!known) {
            refuse_heard(&here);
            continue;
        }
        if (!read_yes(&here, &yes))
            continue;
        struct settings_hearing *hearing = yes ? &contact->hears : &contact->hears_not;
        if (condition < CONDITION_COUNT)
            hearing->conditions |= UINT64_C(1) << condition;
        else
            hearing->priorities |= 1U << priority;
    }
}

static const struct key_row contact_rows[] = {
    {.key = "id", KEY_TEXT_AT(AT(id), checked_text_id, "an id such as office"), .required = true},
    {.key = "role",
     KEY_WORD_AT(AT(role), role_words, "a role", "contractor, homeowner, technician"),
     .required = true},
    {.key = "webhook", KEY_PART_AT(0, read_webhook), .required = true, .allowed = "a map with url"},
    {.key = "quiet_hours", KEY_PART_AT(0, read_quiet_hours)},
    {.key = "time_zone",
     KEY_TEXT_AT(AT(time_zone), checked_text_time_zone, "an IANA name such as America/Denver")},
    {.key = "units", KEY_WORD_AT(AT(units), unit_words, "a system of units", "us or si")},
    {.key = "language",
     KEY_TEXT_AT(AT(language), check_language,
                 "the code of a language of the messages, such as en or es-MX")},
    {.key = "hears", KEY_PART_AT(0, read_hears)},
    {.key = "remind_every",
     KEY_RANGE_AT(KEY_SPAN, AT(remind_every_ms), 0.0, 90 * DURATION_DAY_MS, "a span of reminders",
                  "none, or 1 s to 90 d"),
     .otherwise = "none"},
    {.key = "escalate_to", KEY_MAP_BY(escalate_rows)},
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

static void read_contact(const struct key_at *at, struct settings_contact *contact) {
    contact->line = at->line;
    key_map_read(at, KEY_ROWS(contact_rows), contact);
    contact->has_units = key_child(at, "units").node != NULL;
    const struct key_at remind = key_child(at, "remind_every");
    if (contact->remind_every_ms > 0 && contact->remind_every_ms < DURATION_SECOND_MS)
        key_error(&remind, "is too often; allowed: none, or 1 s to 90 d");
}

/* `list` is of the contacts. */
static void refuse_escalation(const struct key_at *list, const struct settings_contact *contact,
                              size_t index, const char *what) {
    struct key_at here = key_item(list, index);
    here.name = contact->id;
    const struct key_at part = key_child(&here, "escalate_to"), key = key_child(&part, "contact");
    key_error(&key, "\"%s\" %s", contact->escalate_to, what);
}

/*
 * Each contact escalates to at most one other, so a walk that is longer than the list is a ring.
 * Marks keep the walks together linear: 1 on the present walk, 2 known to end.
 */
static void check_rings(const struct key_at *list, const struct contact_list *all,
                        const size_t *next) {
    unsigned char *mark = calloc(all->count, 1);
    if (!mark)
        key_no_memory(list->reader);
    for (size_t start = 0; mark && start < all->count; start++) {
        size_t at = start;
        while (at != NAME_INDEX_NONE && mark[at] == 0) {
            mark[at] = 1;
            at = next[at];
        }
        if (at != NAME_INDEX_NONE && mark[at] == 1)
            refuse_escalation(list, &all->contacts[at], at,
                              "leads back to the contact itself; allowed: a chain that ends");
        for (at = start; at != NAME_INDEX_NONE && mark[at] == 1; at = next[at])
            mark[at] = 2;
    }
    free(mark);
}

static void check_escalations(const struct key_at *list, const struct contact_list *all,
                              const struct name_index *index) {
    size_t *next = calloc(all->count, sizeof *next);
    if (!next)
        key_no_memory(list->reader);
    for (size_t i = 0; next && i < all->count; i++) {
        const struct settings_contact *contact = &all->contacts[i];
        next[i] = NAME_INDEX_NONE;
        if (!contact->escalate_to)
            continue;
        size_t found = name_index_find(index, contact->escalate_to);
        if (found == NAME_INDEX_NONE)
            refuse_escalation(list, contact, i,
                              "is no contact; allowed: the id of another contact");
        else if (contact->id && found == name_index_find(index, contact->id))
            refuse_escalation(list, contact, i,
                              "is the contact itself; allowed: the id of another contact");
        else
            next[i] = found;
    }
    if (next)
        check_rings(list, all, next);
    free(next);
}

static void check_together(const struct key_at *list, const struct contact_list *all) {
    struct name_index index = {0};
    if (!name_index_build(&index, &all->contacts[0].id, sizeof *all->contacts, all->count)) {
        key_no_memory(list->reader);
        return;
    }
    for (size_t i = 0; i < all->count; i++) {
        size_t first = all->contacts[i].id ? name_index_find(&index, all->contacts[i].id) : i;
        const struct key_at here = key_item(list, i), id = key_child(&here, "id");
        if (first != i && first != NAME_INDEX_NONE)
            key_error(&id, "\"%s\" is taken by the contact in line %d; allowed: an id of its own",
                      all->contacts[i].id, all->contacts[first].line);
    }
    check_escalations(list, all, &index);
    name_index_free(&index);
}

struct contact_list contact_settings_read(const struct key_at *at) {
    struct contact_list all = {0};
    if (!key_is(at, YAML_TREE_LIST, "a list of contacts") || at->node->count == 0)
        return all;
    all.contacts = key_allocate(at, at->node->count, sizeof *all.contacts);
    if (!all.contacts)
        return all;
    all.count = at->node->count;
    for (size_t i = 0; i < all.count; i++) {
        const struct key_at item = key_item_with_id(at, i);
        read_contact(&item, &all.contacts[i]);
    }
    check_together(at, &all);
    return all;
}
