/*
 * What did not reach a contact, to the others. That they were told is a note in the store, so that
 * a restart tells nobody again.
 */
#include "tell/announce_private.h"

#include "measure/duration.h"
#include "store/records.h"
#include "words/event.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Endpoints of one host fail together: each then fails by itself first, and is asked no more. */
static const int64_t hold_ms = 10 * DURATION_SECOND_MS;

static void note_name(char name[200], const struct settings_contact *contact) {
    snprintf(name, 200, "undelivered %s", contact->id);
}

static bool tells_of_a_raise(const struct outbox_message *message) {
    return message->alarm == OUTBOX_RAISES || strcmp(message->type, EVENT_TYPE_RAISED) == 0 ||
           strcmp(message->type, EVENT_TYPE_VISIT_DUE) == 0;
}

/* The fields are those of the alarm delivery-failing, as far as they say something. */
static json_t *data_of(const struct alarm *failing, const char *answer) {
    return json_pack("{s:s,s:s,s:s,s:s}", "condition", condition_info(failing->condition)->name,
                     "point", failing->subject, "priority", priority_word(failing->priority),
                     "last_answer", answer);
}

/* Is a contact known to be out of reach itself? */
static bool is_unreached(const struct announce *announce, const struct settings_contact *contact) {
    char name[200], value[8];
    note_name(name, contact);
    return record_note_get(announce->store, name, value, sizeof value) == STORE_OK;
}

static enum store_status tell(struct announce *announce, const struct settings_contact *hearer,
                              const struct alarm *failing, const struct announce_members *members,
                              const char *answer, int64_t now_ms) {
    char whom[400];
    snprintf(whom, sizeof whom, "%s: %s", failing->subject, answer);
    struct wording_facts facts =
        announce_facts(announce->fleet, hearer, FLEET_NONE, WORDING_UNDELIVERED);
    facts.subject = whom;
    announce_members_tell(members, &facts);
    const struct announce_draft draft = {
        .contact = hearer,
        .system = FLEET_NONE,
        .data = announce_members_json(members, data_of(failing, answer)),
        .priority = (int)failing->priority,
        .now_ms = now_ms,
        .hold_until_ms = now_ms + hold_ms};
    return draft.data ? announce_facts_row(announce, &facts, draft, NULL) : STORE_OUT_OF_MEMORY;
}

static enum store_status tell_hearers(struct announce *announce, const struct alarm *failing,
                                      int64_t row, const char *answer, int64_t now_ms) {
    struct announce_members members;
    const struct settings_contact **who =
        calloc(announce->fleet->settings->contact_count + 1, sizeof(void *));
    enum store_status status = announce_members_open(&members) && who
                                   ? outbox_unreached(announce->store, failing->subject, row,
                                                      announce_members_add, &members)
                                   : STORE_OUT_OF_MEMORY;
    size_t count =
        status == STORE_OK ? announce_hearers(announce->fleet, failing, WORDING_RAISED, who) : 0;
    for (size_t i = 0; i < count && status == STORE_OK; i++) {
        if (!is_unreached(announce, who[i]))
            status = tell(announce, who[i], failing, &members, answer, now_ms);
    }
    announce_members_close(&members);
    free(who);
    return status;
}

enum store_status announce_undelivered(struct announce *announce,
                                       const struct settings_contact *contact,
                                       const struct outbox_message *message, const char *answer,
                                       int64_t now_ms) {
    char name[200], before[8];
    if (!tells_of_a_raise(message) || message->priority < PRIORITY_MEDIUM)
        return STORE_OK;
    note_name(name, contact);
    enum store_status status = record_note_get(announce->store, name, before, sizeof before);
    if (status != STORE_NOT_FOUND)
        return status;
    const struct alarm failing = {.system = FLEET_NONE,
                                  .point = FLEET_NONE,
                                  .subject = contact->id,
                                  .condition = CONDITION_DELIVERY_FAILING,
                                  .priority = (enum priority)message->priority};
    status = tell_hearers(announce, &failing, message->row, answer, now_ms);
    return status == STORE_OK ? record_note_put(announce->store, name, "told") : status;
}

enum store_status announce_reached(struct announce *announce,
                                   const struct settings_contact *contact) {
    char name[200];
    note_name(name, contact);
    return record_note_delete(announce->store, name);
}
