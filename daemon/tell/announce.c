#include "tell/announce_private.h"

#include "measure/duration.h"
#include "words/event.h"

#include <stdlib.h>
#include <string.h>

bool announce_open(struct announce *announce, const struct fleet *fleet, struct store *store) {
    *announce = (struct announce){.fleet = fleet, .store = store};
    announce->source = event_source(fleet->settings->broker.client_id);
    announce->contacts = calloc(fleet->settings->contact_count + 1, sizeof *announce->contacts);
    return announce->source && announce->contacts && announce_chatter_load(announce);
}

void announce_close(struct announce *announce) {
    free(announce->source);
    free(announce->contacts);
    free(announce->lists);
    for (size_t i = 0; i < announce->place_count; i++)
        free(announce->places[i].name);
    free(announce->places);
    *announce = (struct announce){.fleet = announce->fleet};
}

void announce_take_over(struct announce *announce, struct announce *former,
                        const struct fleet_change *change) {
    const struct announce fresh = *announce;
    for (size_t i = 0; i < fresh.fleet->settings->contact_count; i++) {
        if (change->contacts_were[i] != FLEET_NONE)
            fresh.contacts[i] = former->contacts[change->contacts_were[i]];
    }
    announce->places = former->places;
    announce->place_count = former->place_count;
    announce->places_changed = former->places_changed;
    announce->many_quiet = former->many_quiet;
    former->places = fresh.places;
    former->place_count = fresh.place_count;
}

/* ---- who hears ---- */

static struct condition_rule rule_of(const struct fleet *fleet, const struct alarm *alarm) {
    const struct condition_rule *rule =
        alarm->point == FLEET_NONE ? NULL : fleet_point_rule(fleet, alarm->point, alarm->condition);
    return rule ? *rule : fleet_rule(fleet, alarm->system, alarm->condition);
}

/* A contact's own words come first, then those about the condition, then the role's. */
bool announce_hears(const struct fleet *fleet, const struct settings_contact *contact,
                    const struct alarm *alarm) {
    static const unsigned bits[] = {[ROLE_CONTRACTOR] = HEARS_CONTRACTOR,
                                    [ROLE_HOMEOWNER] = HEARS_HOMEOWNER,
                                    [ROLE_TECHNICIAN] = HEARS_TECHNICIAN};
    /* That messages do not reach a contact is for others to hear. */
    if (alarm->condition == CONDITION_DELIVERY_FAILING && alarm->subject &&
        strcmp(alarm->subject, contact->id) == 0)
        return false;
    if (!fleet_concerns(fleet, contact, alarm->system))
        return false;
    if ((contact->hears.conditions | contact->hears_not.conditions) >> alarm->condition & 1U)
        return contact->hears.conditions >> alarm->condition & 1U;
    if ((contact->hears.priorities | contact->hears_not.priorities) >> alarm->priority & 1U)
        return contact->hears.priorities >> alarm->priority & 1U;
    struct condition_rule rule = rule_of(fleet, alarm);
    return (rule.hears & bits[contact->role]) != 0 ||
           (alarm->priority == PRIORITY_HIGH && !rule.tell_given);
}

static bool in_quiet_hours(const struct settings_contact *contact, int minute) {
    int from = contact->quiet.from_minute, to = contact->quiet.to_minute;
    return from <= to ? minute >= from && minute < to : minute >= from || minute < to;
}

int64_t announce_after_quiet_hours(const struct fleet *fleet,
                                   const struct settings_contact *contact, size_t system,
                                   int64_t now_ms) {
    if (!contact->quiet.given)
        return now_ms;
    const struct time_zone *zone = announce_zone(fleet, contact, system);
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

bool announce_write(const struct announce *announce, const struct settings_contact *contact,
                    const struct alarm *alarm, enum wording_kind kind, int64_t now_ms,
                    struct announce_letter *letter) {
    struct announce_draft draft;
    if (!announce_draft_alarm(announce, contact, alarm, kind, 0, now_ms, &draft))
        return false;
    letter->body = announce_make_id(letter->id)
                       ? announce_body(announce, &draft, letter->id, &letter->content_type)
                       : NULL;
    announce_draft_clear(&draft);
    return letter->body != NULL;
}

static enum store_status tell(struct announce *announce, const struct settings_contact *contact,
                              const struct alarm *alarm, enum wording_kind kind, int occurrences,
                              int64_t now_ms) {
    struct announce_draft draft;
    if (!announce_draft_alarm(announce, contact, alarm, kind, occurrences, now_ms, &draft))
        return STORE_OUT_OF_MEMORY;
    enum store_status status;
    if (kind == WORDING_RAISED || kind == WORDING_RECURRING)
        status = announce_raise(announce, &draft);
    else if (kind == WORDING_RETURNED)
        status = announce_return(announce, &draft);
    else
        status = announce_row(announce, &draft, NULL);
    announce_draft_clear(&draft);
    return status;
}

enum store_status announce_to(struct announce *announce, const struct settings_contact *contact,
                              const struct alarm *alarm, enum wording_kind kind, int64_t now_ms) {
    return tell(announce, contact, alarm, kind, 0, now_ms);
}

/* When nobody hears that a contact can't be reached, the next best is told. */
static bool stands_in(const struct settings_contact *contact, const struct alarm *alarm) {
    return alarm->condition == CONDITION_DELIVERY_FAILING && contact->role != ROLE_HOMEOWNER &&
           !(alarm->subject && strcmp(alarm->subject, contact->id) == 0);
}

size_t announce_hearers(const struct fleet *fleet, const struct alarm *alarm,
                        enum wording_kind kind, const struct settings_contact **who) {
    const struct settings *settings = fleet->settings;
    size_t count = 0;
    for (size_t i = 0; i < settings->contact_count; i++) {
        const struct settings_contact *contact = &settings->contacts[i];
        bool spared = kind == WORDING_ACKNOWLEDGED && contact->role == ROLE_HOMEOWNER;
        if (!spared && announce_hears(fleet, contact, alarm))
            who[count++] = contact;
    }
    for (size_t i = 0; i < settings->contact_count && count == 0; i++)
        if (stands_in(&settings->contacts[i], alarm))
            who[count++] = &settings->contacts[i];
    return count;
}

static enum store_status tell_all(struct announce *announce, const struct alarm *alarm,
                                  enum wording_kind kind, int occurrences, int64_t now_ms) {
    const struct settings_contact **who =
        calloc(announce->fleet->settings->contact_count + 1, sizeof(void *));
    size_t count = who ? announce_hearers(announce->fleet, alarm, kind, who) : 0;
    enum store_status status = who ? STORE_OK : STORE_OUT_OF_MEMORY;
    for (size_t i = 0; i < count && status == STORE_OK; i++)
        status = tell(announce, who[i], alarm, kind, occurrences, now_ms);
    free(who);
    return status;
}

enum store_status announce_alarm(struct announce *announce, const struct alarm *alarm,
                                 enum wording_kind kind, int64_t now_ms) {
    int occurrences = 0;
    enum store_status status = STORE_OK;
    if (kind == WORDING_RAISED || kind == WORDING_RETURNED) {
        struct chatter chatter;
        status = announce_changes(announce, alarm, &chatter);
        switch (announce_chatter_note(announce, alarm, &chatter, now_ms)) {
        case CHATTER_GOES_ON:
            return status;
        case CHATTER_BEGINS:
            kind = WORDING_CHATTERING;
            occurrences = chatter.changes;
            break;
        case CHATTER_BEGINS_SLOWLY:
            kind = WORDING_RECURRING;
            break;
        case CHATTER_NONE:
            break;
        }
    }
    return status == STORE_OK ? tell_all(announce, alarm, kind, occurrences, now_ms) : status;
}

enum store_status announce_again(struct announce *announce, const struct alarm *alarm,
                                 int64_t now_ms) {
    enum wording_kind kind = alarm_stands(alarm) ? WORDING_RAISED : WORDING_RETURNED;
    return tell_all(announce, alarm, kind, 0, now_ms);
}

enum store_status announce_facts_row(struct announce *announce, const struct wording_facts *facts,
                                     struct announce_draft draft, char id[40]) {
    enum store_status status = STORE_OUT_OF_MEMORY;
    draft.kind = facts->kind;
    draft.text = wording_render(facts);
    if (draft.text)
        status = announce_row(announce, &draft, id);
    announce_draft_clear(&draft);
    return status;
}

enum store_status announce_test(struct announce *announce, const struct settings_contact *contact,
                                int64_t now_ms, char id[40]) {
    struct wording_facts facts = announce_facts(announce->fleet, contact, FLEET_NONE, WORDING_TEST);
    const struct announce_draft draft = {
        .contact = contact, .system = FLEET_NONE, .priority = PRIORITY_HIGH, .now_ms = now_ms};
    return announce_facts_row(announce, &facts, draft, id);
}

static enum store_status tell_facts(struct announce *announce,
                                    const struct settings_contact *contact, size_t system,
                                    const struct wording_facts *facts, const char *data,
                                    int64_t now_ms) {
    const struct announce_draft draft = {.contact = contact,
                                         .system = system,
                                         .data = data ? strdup(data) : NULL,
                                         .priority = PRIORITY_LOW,
                                         .now_ms = now_ms};
    return draft.data || !data ? announce_facts_row(announce, facts, draft, NULL)
                               : STORE_OUT_OF_MEMORY;
}

enum store_status announce_service_ends(struct announce *announce,
                                        const struct settings_contact *contact, size_t system,
                                        const char *by, const char *why, int64_t until_ms,
                                        int64_t now_ms) {
    struct wording_facts facts =
        announce_facts(announce->fleet, contact, system, WORDING_SERVICE_ENDS);
    facts.by = by;
    facts.note = why;
    facts.until_ms = until_ms;
    return tell_facts(announce, contact, system, &facts, NULL, now_ms);
}

enum store_status announce_digest(struct announce *announce, const struct settings_contact *contact,
                                  struct text_list lines, size_t more, const char *data,
                                  int64_t now_ms) {
    size_t system = announce_only_system(announce->fleet, contact);
    struct wording_facts facts = announce_facts(announce->fleet, contact, system, WORDING_DIGEST);
    facts.lines = lines;
    facts.more = more;
    return tell_facts(announce, contact, system, &facts, data, now_ms);
}

const struct time_zone *announce_contact_zone(const struct fleet *fleet,
                                              const struct settings_contact *contact) {
    for (size_t s = 0; s < fleet->system_count; s++)
        if (fleet_concerns(fleet, contact, s))
            return announce_zone(fleet, contact, s);
    return announce_zone(fleet, contact, FLEET_NONE);
}
