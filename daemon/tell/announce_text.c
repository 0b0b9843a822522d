/*
 * What is known of an alarm, in words and as JSON.
 */
#include "tell/announce_private.h"

#include "monitor/judge.h"
#include "monitor/judge_mixup.h"
#include "tell/alarm_details.h"
#include "words/event.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static enum wording_value value_kind(enum condition condition) {
    switch (condition) {
    case CONDITION_FAN_WEAK:
    case CONDITION_GROUND_CHANGED:
        return WORDING_VALUE_RATIO;
    case CONDITION_RADON_ABOVE_ACTION:
        return WORDING_VALUE_PROBABILITY;
    case CONDITION_FIELD_REVERSED:
        return WORDING_VALUE_SHARE;
    case CONDITION_SUCTION_FADING:
    case CONDITION_FAN_FADING:
    case CONDITION_CLOCK_JUMPED:
        return WORDING_VALUE_DURATION;
    default:
        return WORDING_VALUE_MEASURED;
    }
}

/* The zone of a message without a system is the contact's, else UTC, which no fleet can lack. */
const struct time_zone *announce_zone(const struct fleet *fleet,
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
    facts->place.system_id = description->id;
    facts->place.system_name = description->name;
    facts->place.system_address = description->address;
}

static void fill_point(struct wording_facts *facts, const struct fleet *fleet, size_t point) {
    facts->quantity = QUANTITY_COUNT;
    facts->dimension = DIMENSION_RATIO;
    if (point == FLEET_NONE)
        return;
    const struct point_description *description = fleet->points[point].description;
    facts->place.point_id = description->id;
    facts->place.point_name = description->name;
    facts->quantity = description->quantity;
    facts->dimension = description->binding.unit->dimension;
}

/* English and the fleet's units for no contact, as the API has it. */
struct wording_reader announce_reader(const struct fleet *fleet,
                                      const struct settings_contact *contact) {
    struct wording_reader reader = {WORDING_ENGLISH, fleet->settings->units};
    if (contact && contact->has_units)
        reader.units = contact->units;
    if (contact)
        wording_language_find(contact->language, &reader.language);
    return reader;
}

struct wording_facts announce_facts(const struct fleet *fleet,
                                    const struct settings_contact *contact, size_t system,
                                    enum wording_kind kind) {
    const struct wording_reader reader = announce_reader(fleet, contact);
    struct wording_facts facts = {
        .role = WORDING_CONTRACTOR,
        .language = reader.language,
        .units = reader.units,
        .zone = announce_zone(fleet, contact, system),
        .kind = kind,
        .value = NAN,
        .setpoint = NAN,
        .baseline = NAN,
        .explained = explanation_none(),
        .action_level_bq_m3 = fleet->settings->radon_action_level_bq_m3,
        .since_ms = TIMESTAMP_NONE,
        .raised_ms = TIMESTAMP_NONE,
        .returned_ms = TIMESTAMP_NONE,
    };
    if (contact) {
        facts.role = (enum wording_role)contact->role;
        facts.remind_every_ms = contact->remind_every_ms;
    }
    const struct contractor *contractor = fleet_contractor(
        fleet, system == FLEET_NONE && contact ? announce_only_system(fleet, contact) : system);
    facts.contractor.name = contractor->name;
    facts.contractor.telephone = contractor->telephone;
    fill_system(&facts, fleet, system);
    fill_point(&facts, fleet, FLEET_NONE);
    return facts;
}

/* What a sensor in another unit seems to send. */
static void fill_other_unit(struct wording_facts *facts, const struct fleet *fleet,
                            const struct alarm *alarm) {
    if (alarm->condition != CONDITION_SENSOR_IMPLAUSIBLE || alarm->point == FLEET_NONE ||
        !isfinite(alarm->value) || !isfinite(alarm->setpoint))
        return;
    const struct unit *declared = fleet->points[alarm->point].description->binding.unit;
    facts->mixup.sent_unit = judge_suspected_unit(declared, alarm->setpoint, alarm->value);
    facts->mixup.declared_unit = declared->spelling;
}

/* When it was, and who did what. */
static void fill_occurrence(struct wording_facts *facts, const struct alarm *alarm) {
    facts->since_ms = alarm->since_ms;
    facts->raised_ms = alarm->raised_ms;
    facts->returned_ms = alarm->returned_ms;
    facts->by = alarm->acknowledged.by;
    facts->subject = alarm->subject;
    facts->note = facts->kind == WORDING_ACKNOWLEDGED ? alarm->acknowledged.note : alarm->subject;
    if (facts->kind == WORDING_SHELVING_ENDS) {
        facts->by = alarm->shelved.by;
        facts->note = alarm->shelved.why;
        facts->until_ms = alarm->shelved.until_ms;
    }
}

/* `facts` says for whom, and which kind. */
static char *alarm_words(const struct fleet *fleet, struct wording_facts facts,
                         const struct alarm *alarm, int occurrences, bool line) {
    bool over = facts.kind == WORDING_RETURNED || facts.kind == WORDING_RAISED_AND_RETURNED;
    if (over && alarm->unwatched)
        facts.kind = WORDING_UNWATCHED;
    struct alarm_details details;
    alarm_details_open(&details, alarm->details,
                       (struct wording_reader){facts.language, facts.units});
    fill_point(&facts, fleet, alarm->point);
    facts.condition = alarm->condition;
    facts.value_kind = value_kind(alarm->condition);
    /* A message that it is over says what is measured now. */
    facts.value = over ? alarm->returned_value : alarm->value;
    /* What the daemon counts about itself is no measured value. */
    if (condition_info(alarm->condition)->scope == SCOPE_DAEMON &&
        facts.value_kind == WORDING_VALUE_MEASURED)
        facts.value = NAN;
    facts.setpoint = alarm->setpoint;
    facts.baseline = alarm->baseline;
    fill_other_unit(&facts, fleet, alarm);
    fill_occurrence(&facts, alarm);
    facts.occurrences = occurrences;
    facts.explained = details.explained;
    char *text = line ? wording_line(&facts) : wording_render(&facts);
    alarm_details_close(&details);
    return text;
}

char *announce_words(const struct fleet *fleet, const struct settings_contact *contact,
                     const struct alarm *alarm, enum wording_kind kind, int occurrences,
                     bool line) {
    return alarm_words(fleet, announce_facts(fleet, contact, alarm->system, kind), alarm,
                       occurrences, line);
}

char *announce_alarm_text(const struct fleet *fleet, const struct alarm *alarm,
                          enum wording_role role, size_t language) {
    struct wording_facts facts = announce_facts(
        fleet, NULL, alarm->system, alarm_stands(alarm) ? WORDING_RAISED : WORDING_RETURNED);
    facts.role = role;
    facts.language = language;
    return alarm_words(fleet, facts, alarm, 0, false);
}

const char *announce_unit(const struct fleet *fleet, const struct alarm *alarm) {
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

static struct event_alarm event_of(const struct fleet *fleet, const struct alarm *alarm,
                                   const struct alarm_details *details, const char *text) {
    return (struct event_alarm){
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
        .unit = announce_unit(fleet, alarm),
        .explained = details->explained,
        .text = text,
    };
}

char *announce_json(const struct fleet *fleet, const struct settings_contact *contact,
                    const struct alarm *alarm, const char *text) {
    struct alarm_details details;
    alarm_details_open(&details, alarm->details, announce_reader(fleet, contact));
    const struct event_alarm event = event_of(fleet, alarm, &details, text);
    char *json = event_alarm_json(&event);
    alarm_details_close(&details);
    return json;
}

json_t *announce_alarm_object(const struct fleet *fleet, const struct alarm *alarm,
                              size_t language) {
    char *text = announce_alarm_text(fleet, alarm, WORDING_CONTRACTOR, language);
    struct alarm_details details;
    struct wording_reader reader = announce_reader(fleet, NULL);
    reader.language = language;
    alarm_details_open(&details, alarm->details, reader);
    const struct event_alarm event = event_of(fleet, alarm, &details, text);
    json_t *json = text ? event_alarm_object(&event) : NULL;
    alarm_details_close(&details);
    free(text);
    return json;
}

/* A contact of one house gets a list about that house. */
size_t announce_only_system(const struct fleet *fleet, const struct settings_contact *contact) {
    size_t found = FLEET_NONE;
    if (contact->role != ROLE_HOMEOWNER)
        return FLEET_NONE;
    for (size_t s = 0; s < fleet->system_count; s++) {
        if (!fleet_concerns(fleet, contact, s))
            continue;
        if (found != FLEET_NONE)
            return FLEET_NONE;
        found = s;
    }
    return found;
}
