#include "announce.h"

#include "alarm/event.h"
#include "alarm/template.h"
#include "measure/duration.h"

#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>

enum { LIST_MOST = 32 };

bool announce_open(struct announce *announce, const struct fleet *fleet, struct store *store) {
    *announce = (struct announce){.fleet = fleet, .store = store};
    announce->source = event_source(fleet->settings->broker.client_id);
    return announce->source != NULL;
}

void announce_close(struct announce *announce) {
    free(announce->source);
    announce->source = NULL;
}

/* ---- what is known of an alarm, for words and JSON ---- */

/* Diagnosis, check and bring live in the alarm's details; the lists point into the parsed JSON. */
struct details {
    json_t *root;
    const char *cause;
    double confidence;
    const char *evidence_items[LIST_MOST], *check_items[LIST_MOST], *bring_items[LIST_MOST];
    struct text_list evidence, check, bring;
};

static struct text_list list_of(const json_t *root, const char *name, const char **items) {
    struct text_list list = {items, 0};
    size_t i;
    json_t *item;
    json_array_foreach(json_object_get(root, name), i, item) {
        if (list.count < LIST_MOST && json_is_string(item))
            items[list.count++] = json_string_value(item);
    }
    return list;
}

static void details_open(struct details *details, const struct alarm *alarm) {
    *details = (struct details){.confidence = NAN};
    if (!alarm->details)
        return;
    details->root = json_loads(alarm->details, 0, NULL);
    details->cause = json_string_value(json_object_get(details->root, "cause"));
    json_t *confidence = json_object_get(details->root, "confidence");
    if (json_is_number(confidence))
        details->confidence = json_number_value(confidence);
    details->evidence = list_of(details->root, "evidence", details->evidence_items);
    details->check = list_of(details->root, "check", details->check_items);
    details->bring = list_of(details->root, "bring", details->bring_items);
}

static enum wording_value value_kind(enum condition condition) {
    switch (condition) {
    case CONDITION_FAN_WEAK:
    case CONDITION_GROUND_CHANGED:
        return WORDING_VALUE_RATIO;
    case CONDITION_RADON_ABOVE_ACTION:
        return WORDING_VALUE_PROBABILITY;
    case CONDITION_SUCTION_FADING:
    case CONDITION_CLOCK_JUMPED:
        return WORDING_VALUE_DURATION;
    default:
        return WORDING_VALUE_MEASURED;
    }
}

/* The zone of a message without a system is the contact's, else UTC, which no fleet can lack. */
static const struct time_zone *zone_for(const struct fleet *fleet,
                                        const struct settings_contact *contact, size_t system) {
    static struct time_zone *utc;
    if (contact) {
        size_t index = (size_t)(contact - fleet->settings->contacts);
        if (fleet->contact_zones[index])
            return fleet->contact_zones[index];
    }
    if (system != FLEET_NONE)
        return fleet->systems[system].zone;
    if (fleet->system_count)
        return fleet->systems[0].zone;
    if (!utc)
        utc = time_zone_create_utc();
    return utc;
}

static void fill_system(struct wording_facts *facts, const struct fleet *fleet, size_t system) {
    if (system == FLEET_NONE)
        return;
    const struct system_description *description = fleet->systems[system].description;
    facts->system_id = description->id;
    facts->system_name = description->name;
    facts->system_address = description->address;
}

static void fill_point(struct wording_facts *facts, const struct fleet *fleet, size_t point) {
    facts->quantity = QUANTITY_COUNT;
    facts->dimension = DIMENSION_RATIO;
    if (point == FLEET_NONE)
        return;
    const struct point_description *description = fleet->points[point].description;
    facts->point_id = description->id;
    facts->point_name = description->name;
    facts->quantity = description->quantity;
    facts->dimension = description->binding.unit->dimension;
}

static struct wording_facts facts_for(const struct fleet *fleet,
                                      const struct settings_contact *contact, size_t system,
                                      enum wording_kind kind) {
    struct wording_facts facts = {
        .role = WORDING_CONTRACTOR,
        .units = fleet->settings->units,
        .zone = zone_for(fleet, contact, system),
        .kind = kind,
        .value = NAN,
        .setpoint = NAN,
        .baseline = NAN,
        .confidence = NAN,
        .since_ms = TIMESTAMP_NONE,
        .raised_ms = TIMESTAMP_NONE,
        .returned_ms = TIMESTAMP_NONE,
    };
    if (contact) {
        facts.role = (enum wording_role)contact->role;
        if (contact->has_units)
            facts.units = contact->units;
        wording_language_find(contact->language, &facts.language);
    }
    fill_system(&facts, fleet, system);
    fill_point(&facts, fleet, FLEET_NONE);
    return facts;
}

char *announce_text(const struct fleet *fleet, const struct settings_contact *contact,
                    const struct alarm *alarm, enum wording_kind kind) {
    struct wording_facts facts = facts_for(fleet, contact, alarm->system, kind);
    struct details details;
    details_open(&details, alarm);
    fill_point(&facts, fleet, alarm->point);
    facts.condition = alarm->condition;
    facts.value_kind = value_kind(alarm->condition);
    /* A message that it is over says what is measured now. */
    bool over = kind == WORDING_RETURNED || kind == WORDING_RAISED_AND_RETURNED;
    facts.value = over ? alarm->returned_value : alarm->value;
    facts.setpoint = alarm->setpoint;
    facts.baseline = alarm->baseline;
    facts.since_ms = alarm->since_ms;
    facts.raised_ms = alarm->raised_ms;
    facts.returned_ms = alarm->returned_ms;
    facts.by = alarm->acknowledged_by;
    facts.note = kind == WORDING_ACKNOWLEDGED ? alarm->note : alarm->subject;
    facts.cause = details.cause;
    facts.confidence = details.confidence;
    facts.evidence = details.evidence;
    facts.check = details.check;
    facts.bring = details.bring;
    char *text = wording_render(&facts);
    json_decref(details.root);
    return text;
}

static const char *unit_word(const struct fleet *fleet, const struct alarm *alarm) {
    switch (value_kind(alarm->condition)) {
    case WORDING_VALUE_MEASURED:
        return alarm->point == FLEET_NONE
                   ? ""
                   : unit_si_word(fleet->points[alarm->point].description->binding.unit->dimension);
    case WORDING_VALUE_DURATION:
        return "ms";
    default:
        return "";
    }
}

static char *alarm_json(const struct fleet *fleet, const struct alarm *alarm, const char *text) {
    struct details details;
    details_open(&details, alarm);
    const struct event_alarm object = {
        .id = alarm->id,
        .system = fleet_system_id(fleet, alarm->system),
        .point = alarm->subject ? alarm->subject : fleet_point_id(fleet, alarm->point),
        .condition = condition_info(alarm->condition)->name,
        .priority = priority_word(alarm->priority),
        .state = alarm_state_word(alarm_state(alarm)),
        .since_ms = alarm->since_ms,
        .raised_ms = alarm->raised_ms,
        .returned_ms = alarm->returned_ms,
        .value = alarm->value,
        .setpoint = alarm->setpoint,
        .unit = unit_word(fleet, alarm),
        .cause = details.cause,
        .confidence = details.confidence,
        .evidence = details.evidence,
        .check = details.check,
        .bring = details.bring,
        .text = text,
    };
    char *json = event_alarm_json(&object);
    json_decref(details.root);
    return json;
}

char *announce_alarm_json(const struct fleet *fleet, const struct alarm *alarm) {
    char *text =
        announce_text(fleet, NULL, alarm, alarm_stands(alarm) ? WORDING_RAISED : WORDING_RETURNED);
    char *json = text ? alarm_json(fleet, alarm, text) : NULL;
    free(text);
    return json;
}

/* ---- one row ---- */

static const char *event_type(enum wording_kind kind) {
    static const char *const types[WORDING_KIND_COUNT] = {
        [WORDING_RAISED] = EVENT_TYPE_RAISED,
        [WORDING_RETURNED] = EVENT_TYPE_RETURNED,
        [WORDING_RAISED_AND_RETURNED] = EVENT_TYPE_RETURNED,
        [WORDING_ACKNOWLEDGED] = EVENT_TYPE_ACKNOWLEDGED,
        [WORDING_REMINDER] = EVENT_TYPE_REMINDER,
        [WORDING_ESCALATED] = EVENT_TYPE_ESCALATED,
        [WORDING_TEST] = EVENT_TYPE_TEST,
        [WORDING_DIGEST] = EVENT_TYPE_DIGEST,
        [WORDING_VISIT_DUE] = EVENT_TYPE_VISIT_DUE,
    };
    return types[kind];
}

static bool make_id(char id[40]) {
    unsigned char random[16];
    if (getrandom(random, sizeof random, 0) != (ssize_t)sizeof random)
        return false;
    memcpy(id, "msg_", 4);
    for (size_t i = 0; i < sizeof random; i++)
        snprintf(id + 4 + 2 * i, 3, "%02x", random[i]);
    return true;
}

struct draft {
    const struct settings_contact *contact;
    const struct alarm *alarm; /* NULL: about none */
    size_t system;
    enum wording_kind kind;
    char *text, *data;
    int priority;
    int64_t now_ms;
};

static void set_time(char *buffer, size_t size, int64_t time_ms, const char **value) {
    if (time_ms != TIMESTAMP_NONE)
        *value = timestamp_format(buffer, size, time_ms);
}

static void join(char *buffer, size_t size, struct text_list list, const char **value) {
    size_t used = 0;
    buffer[0] = '\0';
    for (size_t i = 0; i < list.count && used + 1 < size; i++)
        used += (size_t)snprintf(buffer + used, size - used, "%s%s", i ? "\n" : "", list.items[i]);
    *value = buffer;
}

struct rendered {
    char since[40], raised[40], returned[40], check[4096], bring[4096];
};

static void alarm_values(const struct announce *announce, const struct alarm *alarm,
                         const struct details *details, struct rendered *room,
                         struct template_values *values) {
    const struct fleet *fleet = announce->fleet;
    values->strings[TEMPLATE_POINT] =
        alarm->subject ? alarm->subject : fleet_point_id(fleet, alarm->point);
    values->strings[TEMPLATE_CONDITION] = condition_info(alarm->condition)->name;
    values->strings[TEMPLATE_PRIORITY] = priority_word(alarm->priority);
    values->strings[TEMPLATE_STATE] = alarm_state_word(alarm_state(alarm));
    values->strings[TEMPLATE_UNIT] = unit_word(fleet, alarm);
    values->strings[TEMPLATE_DIAGNOSIS] = details->cause;
    values->value = alarm->value;
    set_time(room->since, sizeof room->since, alarm->since_ms, &values->strings[TEMPLATE_SINCE]);
    set_time(room->raised, sizeof room->raised, alarm->raised_ms,
             &values->strings[TEMPLATE_RAISED]);
    set_time(room->returned, sizeof room->returned, alarm->returned_ms,
             &values->strings[TEMPLATE_RETURNED]);
    join(room->check, sizeof room->check, details->check, &values->strings[TEMPLATE_CHECK]);
    join(room->bring, sizeof room->bring, details->bring, &values->strings[TEMPLATE_BRING]);
}

static char *from_template(const struct announce *announce, const struct draft *draft,
                           const char *id) {
    struct template_values values = {.value = NAN};
    struct rendered room;
    struct details details = {.root = NULL};
    char why[200];
    values.strings[TEMPLATE_TEXT] = draft->text;
    values.strings[TEMPLATE_ID] = id;
    values.strings[TEMPLATE_TYPE] = event_type(draft->kind);
    values.strings[TEMPLATE_CONTACT] = draft->contact->id;
    values.strings[TEMPLATE_SYSTEM] = fleet_system_id(announce->fleet, draft->system);
    if (draft->system != FLEET_NONE) {
        const struct system_description *system =
            announce->fleet->systems[draft->system].description;
        values.strings[TEMPLATE_NAME] = system->name;
        values.strings[TEMPLATE_ADDRESS] = system->address;
    }
    if (draft->alarm) {
        details_open(&details, draft->alarm);
        alarm_values(announce, draft->alarm, &details, &room, &values);
    }
    char *body = template_render(draft->contact->template_text, &values, why, sizeof why);
    json_decref(details.root);
    return body;
}

static char *body_of(const struct announce *announce, const struct draft *draft, const char *id,
                     const char **content_type) {
    if (draft->contact->body == BODY_TEXT) {
        *content_type = "text/plain; charset=utf-8";
        return strdup(draft->text);
    }
    if (draft->contact->body == BODY_TEMPLATE) {
        *content_type = "application/json";
        return from_template(announce, draft, id);
    }
    *content_type = "application/cloudevents+json";
    const struct event event = {
        .id = id,
        .source = announce->source,
        .type = event_type(draft->kind),
        .subject = fleet_system_id(announce->fleet, draft->system),
        .time_ms = draft->now_ms,
        .data = draft->data,
        .text = draft->text,
    };
    return event_render(&event);
}

static bool write_letter(const struct announce *announce, const struct draft *draft,
                         struct announce_letter *letter) {
    if (!make_id(letter->id))
        return false;
    letter->body = body_of(announce, draft, letter->id, &letter->content_type);
    return letter->body != NULL;
}

static enum store_status write_row(struct announce *announce, const struct draft *draft,
                                   char id_out[40]) {
    struct announce_letter letter;
    int64_t row = 0;
    if (!write_letter(announce, draft, &letter))
        return STORE_OUT_OF_MEMORY;
    struct outbox_message message = {
        .contact = draft->contact->id,
        .system = fleet_system_id(announce->fleet, draft->system),
        .type = event_type(draft->kind),
        .content_type = letter.content_type,
        .body = letter.body,
        .alarm = draft->alarm ? draft->alarm->id : 0,
        .priority = draft->priority,
        .created_ms = draft->now_ms,
        .not_before_ms = draft->now_ms,
        .state = OUTBOX_WAITING,
    };
    memcpy(message.id, letter.id, sizeof message.id);
    if (draft->priority < PRIORITY_HIGH)
        message.not_before_ms = announce_after_quiet_hours(announce->fleet, draft->contact,
                                                           draft->system, draft->now_ms);
    enum store_status status = outbox_insert(announce->store, &message, &row);
    if (id_out)
        memcpy(id_out, letter.id, sizeof letter.id);
    free(letter.body);
    return status;
}

/* ---- who hears ---- */

bool announce_hears(const struct fleet *fleet, const struct settings_contact *contact,
                    const struct alarm *alarm) {
    static const unsigned bits[] = {[ROLE_CONTRACTOR] = HEARS_CONTRACTOR,
                                    [ROLE_HOMEOWNER] = HEARS_HOMEOWNER,
                                    [ROLE_TECHNICIAN] = HEARS_TECHNICIAN};
    bool role = alarm->priority == PRIORITY_HIGH ||
                (condition_info(alarm->condition)->hears & bits[contact->role]) != 0;
    return role && fleet_concerns(fleet, contact, alarm->system);
}

static bool in_quiet_hours(const struct settings_contact *contact, int minute) {
    int from = contact->quiet_from_minute, to = contact->quiet_to_minute;
    return from <= to ? minute >= from && minute < to : minute >= from || minute < to;
}

int64_t announce_after_quiet_hours(const struct fleet *fleet,
                                   const struct settings_contact *contact, size_t system,
                                   int64_t now_ms) {
    if (!contact->has_quiet_hours)
        return now_ms;
    const struct time_zone *zone = zone_for(fleet, contact, system);
    int64_t time_ms = now_ms;
    /* Minute by minute over at most two days, so that a changed clock in the night is right too. */
    for (int i = 0; i < 2 * 24 * 60; i++) {
        if (!in_quiet_hours(contact, time_zone_minute_of_day(zone, time_ms)))
            return time_ms;
        time_ms = (time_ms / DURATION_MINUTE_MS + 1) * DURATION_MINUTE_MS;
    }
    return now_ms;
}

/* ---- what callers ask for ---- */

/* The draft's text and data are the caller's to free. */
static bool draft_alarm(const struct announce *announce, const struct settings_contact *contact,
                        const struct alarm *alarm, enum wording_kind kind, int64_t now_ms,
                        struct draft *draft) {
    char *text = announce_text(announce->fleet, contact, alarm, kind);
    char *data = text ? alarm_json(announce->fleet, alarm, text) : NULL;
    if (!data) {
        free(text);
        return false;
    }
    *draft = (struct draft){contact, alarm, alarm->system,        kind,
                            text,    data,  (int)alarm->priority, now_ms};
    return true;
}

static void draft_clear(struct draft *draft) {
    free(draft->text);
    free(draft->data);
}

bool announce_write(const struct announce *announce, const struct settings_contact *contact,
                    const struct alarm *alarm, enum wording_kind kind, int64_t now_ms,
                    struct announce_letter *letter) {
    struct draft draft;
    if (!draft_alarm(announce, contact, alarm, kind, now_ms, &draft))
        return false;
    bool written = write_letter(announce, &draft, letter);
    draft_clear(&draft);
    return written;
}

enum store_status announce_to(struct announce *announce, const struct settings_contact *contact,
                              const struct alarm *alarm, enum wording_kind kind, int64_t now_ms) {
    struct draft draft;
    if (!draft_alarm(announce, contact, alarm, kind, now_ms, &draft))
        return STORE_OUT_OF_MEMORY;
    enum store_status status = write_row(announce, &draft, NULL);
    draft_clear(&draft);
    return status;
}

enum store_status announce_alarm(struct announce *announce, const struct alarm *alarm,
                                 enum wording_kind kind, int64_t now_ms) {
    const struct settings *settings = announce->fleet->settings;
    announce->failed = STORE_OK;
    for (size_t i = 0; i < settings->contact_count && announce->failed == STORE_OK; i++) {
        const struct settings_contact *contact = &settings->contacts[i];
        bool spared = kind == WORDING_ACKNOWLEDGED && contact->role == ROLE_HOMEOWNER;
        if (!spared && announce_hears(announce->fleet, contact, alarm))
            announce->failed = announce_to(announce, contact, alarm, kind, now_ms);
    }
    return announce->failed;
}

enum store_status announce_test(struct announce *announce, const struct settings_contact *contact,
                                int64_t now_ms, char id[40]) {
    struct wording_facts facts = facts_for(announce->fleet, contact, FLEET_NONE, WORDING_TEST);
    char *text = wording_render(&facts);
    if (!text)
        return STORE_OUT_OF_MEMORY;
    struct draft draft = {contact, NULL, FLEET_NONE,    WORDING_TEST,
                          text,    NULL, PRIORITY_HIGH, now_ms};
    enum store_status status = write_row(announce, &draft, id);
    draft_clear(&draft);
    return status;
}

enum store_status announce_lines(struct announce *announce, const struct settings_contact *contact,
                                 size_t system, enum wording_kind kind, struct text_list lines,
                                 const char *data, int64_t now_ms) {
    struct wording_facts facts = facts_for(announce->fleet, contact, system, kind);
    facts.lines = lines;
    char *text = wording_render(&facts);
    if (!text)
        return STORE_OUT_OF_MEMORY;
    struct draft draft = {contact, NULL, system, kind, text, NULL, PRIORITY_LOW, now_ms};
    draft.data = data ? strdup(data) : NULL;
    enum store_status status = write_row(announce, &draft, NULL);
    draft_clear(&draft);
    return status;
}
