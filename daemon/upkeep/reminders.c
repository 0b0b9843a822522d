#include "upkeep/reminders.h"

#include "alarm/reminder.h"
#include "measure/duration.h"
#include "pipeline/pipeline.h"
#include "store/outbox_bundle.h"
#include "store/records.h"
#include "upkeep/digest.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { ALARMS_A_STEP = 200, QUEUE_MOST = 500, THIN_A_STEP = 200 };
static const int64_t every_ms = DURATION_MINUTE_MS; /* at most, between two steps */
static const int64_t ahead_least_ms = 5 * DURATION_MINUTE_MS;
static const int64_t outdated_ms = 90 * DURATION_DAY_MS;

struct reminders_step {
    struct pipeline *pipeline;
    const struct fleet *fleet;
    struct alarm_book *book;
    struct announce *announce;
    struct store *store;
    int64_t now_ms;
};

/* Short spans of a contact need more steps than the usual hours and days. */
static int64_t step_every_ms(const struct settings *settings) {
    int64_t shortest_ms = 4 * every_ms;
    for (size_t i = 0; i < settings->contact_count; i++) {
        const struct settings_contact *contact = &settings->contacts[i];
        if (contact->remind_every_ms > 0 && contact->remind_every_ms < shortest_ms)
            shortest_ms = contact->remind_every_ms;
        if (contact->escalate_to && contact->escalate_after_ms < shortest_ms)
            shortest_ms = contact->escalate_after_ms;
    }
    return shortest_ms / 4 > DURATION_SECOND_MS ? shortest_ms / 4 : DURATION_SECOND_MS;
}

/* ---- one alarm ---- */

static bool note(struct reminders_step *step, enum store_status status) {
    return pipeline_note(step->pipeline, status);
}

static bool look(struct reminders_step *step, const struct settings_contact *contact,
                 const struct alarm *alarm, struct reminder *reminder) {
    struct outbox_told told, next = {.rows = 0};
    if (!note(step, outbox_told(step->store, contact->id, alarm->id, &told)) || told.rows == 0)
        return false;
    if (contact->escalate_to &&
        !note(step, outbox_told(step->store, contact->escalate_to, alarm->id, &next)))
        return false;
    bool waits_for_nobody = alarm->priority == PRIORITY_HIGH;
    int64_t first_ms = waits_for_nobody ? told.first_ms
                                        : announce_after_quiet_hours(step->fleet, contact,
                                                                     alarm->system, told.first_ms);
    *reminder = (struct reminder){
        .first_ms = first_ms,
        .last_ms = told.last_ms > first_ms ? told.last_ms : first_ms,
        .every_ms = contact->remind_every_ms,
        .escalate_after_ms = contact->escalate_to ? contact->escalate_after_ms : 0,
        .escalated = next.escalated_ms != 0,
        .undelivered = told.raise_waits,
    };
    return true;
}

static void escalate(struct reminders_step *step, const struct settings_contact *contact,
                     struct alarm *alarm) {
    const struct settings_contact *next = fleet_contact(step->fleet, contact->escalate_to);
    if (!next ||
        !note(step, announce_to(step->announce, next, alarm, WORDING_ESCALATED, step->now_ms)))
        return;
    alarm->escalated_ms = step->now_ms;
    alarm_book_touch(step->book, alarm);
}

static void remind(struct reminders_step *step, const struct settings_contact *contact,
                   struct alarm *alarm, enum wording_kind kind) {
    if (!note(step, announce_to(step->announce, contact, alarm, kind, step->now_ms)))
        return;
    alarm->reminded_ms = step->now_ms;
    alarm_book_touch(step->book, alarm);
}

static void decide(struct reminders_step *step, struct alarm *alarm) {
    const struct settings *settings = step->fleet->settings;
    alarm->next_reminder_ms = INT64_MAX;
    for (size_t i = 0; i < settings->contact_count && pipeline_begin(step->pipeline); i++) {
        const struct settings_contact *contact = &settings->contacts[i];
        struct reminder reminder;
        if ((contact->remind_every_ms == 0 && !contact->escalate_to) ||
            !look(step, contact, alarm, &reminder))
            continue;
        struct reminder_decision decision = reminder_decide(alarm, &reminder, step->now_ms);
        if (decision.remind)
            remind(step, contact, alarm, WORDING_REMINDER);
        if (decision.escalate) {
            escalate(step, contact, alarm);
            decision.next_ms = step->now_ms; /* the next one may escalate too */
        }
        if (decision.next_ms < alarm->next_reminder_ms)
            alarm->next_reminder_ms = decision.next_ms;
    }
}

static void remind_of_shelving(struct reminders_step *step, struct alarm *alarm) {
    const struct settings *settings = step->fleet->settings;
    if (!alarm_stands(alarm) ||
        !reminder_end_is_near(alarm->shelved.until_ms, alarm->reminded_ms, step->now_ms))
        return;
    for (size_t i = 0; i < settings->contact_count; i++)
        if (settings->contacts[i].role != ROLE_HOMEOWNER &&
            announce_hears(step->fleet, &settings->contacts[i], alarm))
            remind(step, &settings->contacts[i], alarm, WORDING_SHELVING_ENDS);
}

/* True when all alarms were looked at. */
static bool step_alarms(struct reminders_step *step, struct reminders *reminders) {
    size_t count = alarm_book_count(step->book), worked = 0;
    for (; reminders->at < count && pipeline_begin(step->pipeline); reminders->at++) {
        struct alarm *alarm = alarm_book_get(step->book, reminders->at);
        enum alarm_state state = alarm_state(alarm);
        if (state == ALARM_SHELVED) {
            remind_of_shelving(step, alarm);
        } else if (state == ALARM_UNACKNOWLEDGED && alarm->told &&
                   alarm->next_reminder_ms <= step->now_ms) {
            if (worked++ == ALARMS_A_STEP)
                return false;
            decide(step, alarm);
        }
    }
    reminders->at = 0;
    return true;
}

/* ---- systems out of service ---- */

struct due_service {
    const char *system;
    struct reminders_step *step;
    size_t index;
};

static bool remind_of_service(void *context, const struct record_service *row) {
    const struct due_service *search = context;
    struct reminders_step *step = search->step;
    const struct settings *settings = step->fleet->settings;
    if (strcmp(row->system, search->system) != 0)
        return true;
    for (size_t i = 0; i < settings->contact_count; i++) {
        const struct settings_contact *contact = &settings->contacts[i];
        if (contact->role != ROLE_HOMEOWNER && fleet_concerns(step->fleet, contact, search->index))
            note(step, announce_service_ends(step->announce, contact, search->index, row->by,
                                             row->why, row->until_ms, step->now_ms));
    }
    return false;
}

static void step_services(struct reminders_step *step) {
    const struct monitor *monitor = pipeline_monitor(step->pipeline);
    for (size_t s = 0; s < step->fleet->system_count && pipeline_begin(step->pipeline); s++) {
        int64_t until_ms = monitor_out_of_service_until(monitor, s), reminded_ms = TIMESTAMP_NONE;
        char name[200], text[40] = "";
        if (until_ms == TIMESTAMP_NONE ||
            !reminder_end_is_near(until_ms, TIMESTAMP_NONE, step->now_ms))
            continue;
        snprintf(name, sizeof name, "service reminded %s", fleet_system_id(step->fleet, s));
        if (record_note_get(step->store, name, text, sizeof text) == STORE_OK)
            reminded_ms = strtoll(text, NULL, 10);
        if (!reminder_end_is_near(until_ms, reminded_ms, step->now_ms))
            continue;
        struct due_service search = {fleet_system_id(step->fleet, s), step, s};
        note(step, record_service_list(step->store, remind_of_service, &search));
        snprintf(text, sizeof text, "%lld", (long long)step->now_ms);
        note(step, record_note_put(step->store, name, text));
    }
}

/* ---- contacts ---- */

static void step_digest(struct reminders_step *step, const struct settings_contact *contact) {
    char name[200], text[40] = "";
    if (!contact->digest)
        return;
    snprintf(name, sizeof name, "digest %s", contact->id);
    enum store_status status = record_note_get(step->store, name, text, sizeof text);
    if (status != STORE_OK && status != STORE_NOT_FOUND) {
        note(step, status);
        return;
    }
    bool weekly = strcmp(contact->digest, "weekly") == 0;
    int64_t last_ms = status == STORE_OK ? strtoll(text, NULL, 10) : INT64_MAX;
    /* A clock that was ahead has told it, or it never was: the next one is that after now. */
    if (last_ms <= step->now_ms) {
        int64_t due_ms =
            reminder_digest_at(announce_contact_zone(step->fleet, contact), weekly, last_ms);
        if (due_ms > step->now_ms ||
            !note(step, digest_write(step->pipeline, contact, weekly, step->now_ms)))
            return;
    }
    snprintf(text, sizeof text, "%lld", (long long)step->now_ms);
    note(step, record_note_put(step->store, name, text));
}

static void step_queue(struct reminders_step *step, const struct settings_contact *contact) {
    int64_t rows = 0, oldest_ms = 0;
    int thinned = 0, outdated = 0;
    if (!note(step, outbox_waiting(step->store, contact->id, &rows, &oldest_ms)))
        return;
    /* Behind an endpoint that is gone for good nothing is ever tried. */
    if (rows > 0 && oldest_ms < step->now_ms - outdated_ms)
        note(step, outbox_outdate(step->store, contact->id, step->now_ms - outdated_ms, THIN_A_STEP,
                                  step->now_ms, "set aside: it waited for 90 days", &outdated));
    if (rows <= QUEUE_MOST)
        return;
    int most = rows - QUEUE_MOST < THIN_A_STEP ? (int)(rows - QUEUE_MOST) : THIN_A_STEP;
    note(step, outbox_thin(step->store, contact->id, most, step->now_ms,
                           "set aside: too many messages wait for this contact", &thinned));
}

/* ---- what chattered ---- */

static enum store_status tell_calm(void *context, const char *name) {
    struct reminders_step *step = context;
    const struct alarm *newest = NULL;
    for (size_t i = 0; i < alarm_book_count(step->book); i++) {
        const struct alarm *alarm = alarm_book_at(step->book, i);
        char *place = announce_place_name(step->fleet, alarm);
        if (place && strcmp(place, name) == 0 && (!newest || alarm->id > newest->id))
            newest = alarm;
        free(place);
    }
    if (!newest || !alarm_annunciates(newest))
        return STORE_OK;
    return announce_again(step->announce, newest, step->now_ms);
}

/* ---- a clock that was set right while we were away ---- */

static void put_back(struct reminders_step *step) {
    int64_t newest_ms = 0;
    enum store_status status = outbox_newest(step->store, &newest_ms);
    if (status == STORE_OK && newest_ms > step->now_ms + ahead_least_ms)
        pipeline_clock_back(step->pipeline, newest_ms - step->now_ms, step->now_ms);
    else if (status != STORE_NOT_FOUND)
        note(step, status);
}

/* ---- a step ---- */

int64_t reminders_step(struct reminders *reminders, struct pipeline *pipeline, int64_t now_ms) {
    struct monitor *monitor = pipeline_monitor(pipeline);
    /* A clock that was set back must not silence us. */
    if (now_ms < reminders->next_ms && reminders->next_ms <= now_ms + every_ms)
        return reminders->next_ms;
    if (!pipeline_begin(pipeline))
        return now_ms + every_ms;
    struct reminders_step step = {
        .pipeline = pipeline,
        .fleet = monitor_fleet(monitor),
        .book = monitor_alarms(monitor),
        .announce = pipeline_announce(pipeline),
        .store = pipeline_store(pipeline),
        .now_ms = now_ms,
    };
    put_back(&step);
    bool all = step_alarms(&step, reminders);
    if (all) {
        const struct settings *settings = step.fleet->settings;
        step_services(&step);
        for (size_t i = 0; i < settings->contact_count && pipeline_begin(pipeline); i++) {
            step_digest(&step, &settings->contacts[i]);
            step_queue(&step, &settings->contacts[i]);
        }
        note(&step, announce_calm(step.announce, now_ms, tell_calm, &step));
    }
    reminders->next_ms = all ? now_ms + step_every_ms(step.fleet->settings) : now_ms;
    return reminders->next_ms;
}
