/*
 * Bodies and rows of messages.
 */
#include "tell/announce_private.h"

#include "tell/alarm_details.h"
#include "words/event.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>

const char *announce_event_type(const struct announce_draft *draft) {
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
        [WORDING_BUNDLE] = EVENT_TYPE_DIGEST,
        [WORDING_BUNDLE_OVER] = EVENT_TYPE_DIGEST,
        [WORDING_CHATTERING] = EVENT_TYPE_RAISED,
        [WORDING_RECURRING] = EVENT_TYPE_RAISED,
        [WORDING_SHELVING_ENDS] = EVENT_TYPE_REMINDER,
        [WORDING_SERVICE_ENDS] = EVENT_TYPE_REMINDER,
        [WORDING_UNDELIVERED] = EVENT_TYPE_DIGEST,
        [WORDING_HOME_REPORT] = EVENT_TYPE_HOME_REPORT,
    };
    if (draft->kind == WORDING_RAISED && draft->alarm &&
        condition_info(draft->alarm->condition)->measure == MEASURE_DATE)
        return EVENT_TYPE_VISIT_DUE;
    return types[draft->kind];
}

bool announce_make_id(char id[40]) {
    unsigned char random[16];
    if (getrandom(random, sizeof random, 0) != (ssize_t)sizeof random)
        return false;
    int used = snprintf(id, 40, "msg_");
    for (size_t i = 0; i < sizeof random; i++)
        used += snprintf(id + used, 40 - (size_t)used, "%02x", random[i]);
    return true;
}

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
                         const struct alarm_details *details, struct rendered *room,
                         struct template_values *values) {
    const struct fleet *fleet = announce->fleet;
    values->strings[TEMPLATE_POINT] =
        alarm->subject ? alarm->subject : fleet_point_id(fleet, alarm->point);
    values->strings[TEMPLATE_CONDITION] = condition_info(alarm->condition)->name;
    values->strings[TEMPLATE_PRIORITY] = priority_word(alarm->priority);
    values->strings[TEMPLATE_STATE] = alarm_state_word(alarm_state(alarm));
    values->strings[TEMPLATE_UNIT] = announce_unit(fleet, alarm);
    values->strings[TEMPLATE_DIAGNOSIS] = details->explained.cause;
    values->value = alarm->value;
    set_time(room->since, sizeof room->since, alarm->since_ms, &values->strings[TEMPLATE_SINCE]);
    set_time(room->raised, sizeof room->raised, alarm->raised_ms,
             &values->strings[TEMPLATE_RAISED]);
    set_time(room->returned, sizeof room->returned, alarm->returned_ms,
             &values->strings[TEMPLATE_RETURNED]);
    join(room->check, sizeof room->check, details->explained.check,
         &values->strings[TEMPLATE_CHECK]);
    join(room->bring, sizeof room->bring, details->explained.bring,
         &values->strings[TEMPLATE_BRING]);
}

static char *from_template(const struct announce *announce, const struct announce_draft *draft,
                           const char *id) {
    struct template_values values = {.value = NAN};
    struct rendered room;
    struct alarm_details details = {.root = NULL};
    char why[200];
    values.strings[TEMPLATE_TEXT] = draft->text;
    values.strings[TEMPLATE_ID] = id;
    values.strings[TEMPLATE_TYPE] = announce_event_type(draft);
    values.strings[TEMPLATE_CONTACT] = draft->contact->id;
    values.strings[TEMPLATE_SYSTEM] = fleet_system_id(announce->fleet, draft->system);
    if (draft->system != FLEET_NONE) {
        const struct system_description *system =
            announce->fleet->systems[draft->system].description;
        values.strings[TEMPLATE_NAME] = system->name;
        values.strings[TEMPLATE_ADDRESS] = system->address;
    }
    if (draft->alarm) {
        alarm_details_open(&details, draft->alarm->details,
                           announce_reader(announce->fleet, draft->contact));
        alarm_values(announce, draft->alarm, &details, &room, &values);
    }
    char *body = template_render(draft->contact->template_text, &values, why, sizeof why);
    alarm_details_close(&details);
    return body;
}

char *announce_body(const struct announce *announce, const struct announce_draft *draft,
                    const char *id, const char **content_type) {
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
        .type = announce_event_type(draft),
        .subject = fleet_system_id(announce->fleet, draft->system),
        .time_ms = draft->now_ms,
        .data = draft->data,
        .text = draft->text,
    };
    return event_render(&event);
}

/* High priority does not wait behind what quiet hours hold back of the same contact and system. */
static enum store_status hasten(struct announce *announce, const struct outbox_message *message) {
    if (message->priority < PRIORITY_HIGH || !*message->system)
        return STORE_OK;
    return outbox_hasten(announce->store, message->contact, message->system,
                         message->not_before_ms);
}

static int64_t not_before(const struct announce *announce, const struct announce_draft *draft) {
    int64_t time_ms = draft->hold_until_ms > draft->now_ms ? draft->hold_until_ms : draft->now_ms;
    if (draft->priority >= PRIORITY_HIGH)
        return time_ms;
    return announce_after_quiet_hours(announce->fleet, draft->contact, draft->system, time_ms);
}

enum store_status announce_row(struct announce *announce, const struct announce_draft *draft,
                               char id_out[40]) {
    int64_t row = 0;
    struct outbox_message message = {
        .contact = draft->contact->id,
        .system = draft->shared ? "" : fleet_system_id(announce->fleet, draft->system),
        .type = announce_event_type(draft),
        .alarm = draft->alarm ? draft->alarm->id : 0,
        .priority = draft->priority,
        .created_ms = draft->now_ms,
        .not_before_ms = not_before(announce, draft),
        .state = OUTBOX_WAITING,
    };
    char *body = announce_make_id(message.id)
                     ? announce_body(announce, draft, message.id, &message.content_type)
                     : NULL;
    if (!body)
        return STORE_OUT_OF_MEMORY;
    message.body = body;
    enum store_status status = outbox_insert(announce->store, &message, &row);
    if (status == STORE_OK && draft->alarm) {
        const struct outbox_member member = {draft->alarm->id, draft->line, draft->data};
        status = outbox_member_put(announce->store, row, &member);
    }
    THEN(status, hasten(announce, &message));
    if (id_out)
        memcpy(id_out, message.id, sizeof message.id);
    free(body);
    return status;
}

bool announce_draft_alarm(const struct announce *announce, const struct settings_contact *contact,
                          const struct alarm *alarm, enum wording_kind kind, int occurrences,
                          int64_t now_ms, struct announce_draft *draft) {
    *draft = (struct announce_draft){.contact = contact,
                                     .alarm = alarm,
                                     .system = alarm->system,
                                     .kind = kind,
                                     .priority = (int)alarm->priority,
                                     .now_ms = now_ms};
    draft->text = announce_words(announce->fleet, contact, alarm, kind, occurrences, false);
    draft->line = announce_words(announce->fleet, contact, alarm, kind, occurrences, true);
    draft->data = draft->line ? announce_json(announce->fleet, contact, alarm, draft->line) : NULL;
    if (draft->text && draft->line && draft->data)
        return true;
    announce_draft_clear(draft);
    return false;
}

void announce_draft_clear(struct announce_draft *draft) {
    free(draft->text);
    free(draft->line);
    free(draft->data);
}
