/*
 * While the store fails: nothing is acknowledged, so the broker keeps what comes. The old memory
 * stays for the page. Contractors are told straight from memory, once, because the outbox is part
 * of what fails; when the store works again, the history gets the fact and they get its end.
 */
#include "host/clock.h"
#include "host/log.h"
#include "measure/duration.h"
#include "service/service_private.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const int64_t retry_least_ms = 2 * DURATION_SECOND_MS;
static const int64_t tell_again_ms = 10 * DURATION_MINUTE_MS;
enum { REST_FOR_A_TRY = 30 }; /* tries take a thirtieth of a core, however large the fleet */

static struct alarm failing_alarm(struct service *service) {
    return (struct alarm){
        .system = FLEET_NONE,
        .point = FLEET_NONE,
        .subject = service->trouble.why,
        .condition = CONDITION_STORE_FAILING,
        .priority = PRIORITY_HIGH,
        .since_ms = service->trouble.since_ms,
        .raised_ms = service->trouble.since_ms,
        .returned_ms = TIMESTAMP_NONE,
        .acknowledged.time_ms = TIMESTAMP_NONE,
        .shelved.until_ms = TIMESTAMP_NONE,
        .value = NAN,
        .setpoint = NAN,
        .baseline = NAN,
        .returned_value = NAN,
    };
}

static void tell_from_memory(struct service *service) {
    const struct settings *settings = service->api.fleet->settings;
    const struct alarm alarm = failing_alarm(service);
    for (size_t i = 0; i < settings->contact_count; i++) {
        const struct settings_contact *contact = &settings->contacts[i];
        struct announce_letter letter;
        if (!announce_hears(service->api.fleet, contact, &alarm) ||
            !announce_write(pipeline_announce(service->api.pipeline), contact, &alarm,
                            WORDING_RAISED, service->api.now_ms, &letter))
            continue;
        dispatch_unstored(service->api.dispatch, contact, letter.id, letter.content_type,
                          letter.body, service->api.now_ms);
        free(letter.body);
    }
}

/* A file that opens well may still be damaged where opening does not look. Found damaged a second
   time within the hour, after it was opened anew, it is no slip of the memory: it is set aside. */
static void note_damage(struct service *service, enum store_status status) {
    int64_t last_ms = service->trouble.damaged_monotonic_ms;
    if (status != STORE_DAMAGED)
        return;
    service->trouble.replace = last_ms && service->monotonic_ms - last_ms < DURATION_HOUR_MS;
    service->trouble.damaged_monotonic_ms = service->monotonic_ms;
}

/* Memory that lacks again and again for the same message is as a death by it. */
static void note_lack_of_memory(struct service *service, enum store_status status) {
    char story[400];
    if (status != STORE_OUT_OF_MEMORY)
        in_hand_put_down(service->hand);
    in_hand_failed(service->hand, story, sizeof story);
    if (*story)
        log_line(LOG_LEVEL_WARNING, "store", "memory was short: %s", story);
}

static const char *why_failed(const struct service *service, enum store_status status) {
    return status == STORE_OUT_OF_MEMORY
               ? "out of memory; give the service more (MemoryMax= of its unit)"
               : store_error(service->store);
}

static void rest_before_next_try(struct service *service) {
    int64_t rest_ms = REST_FOR_A_TRY * service->trouble.try_took_ms;
    timers_set(&service->timers, TIMER_STORE,
               clock_monotonic_ms() + (rest_ms > retry_least_ms ? rest_ms : retry_least_ms));
}

/* A disk on which a little has room, then not, fails every few seconds: that is one trouble. */
static void begin_trouble(struct service *service) {
    int64_t told_ms = service->trouble.told_monotonic_ms;
    service->api.store_failing = true;
    service->trouble.since_ms = service->api.now_ms;
    service->trouble.told = !told_ms || service->monotonic_ms - told_ms >= tell_again_ms;
    if (!service->trouble.told)
        return;
    service->trouble.told_monotonic_ms = service->monotonic_ms;
    tell_from_memory(service);
}

void service_store_failed(struct service *service, enum store_status status) {
    note_damage(service, status);
    reload_put_off(&service->reload);
    note_lack_of_memory(service, status);
    snprintf(service->trouble.why, sizeof service->trouble.why, "%s", why_failed(service, status));
    log_event(LOG_EVENT_STORE_FAILING, LOG_LEVEL_ERROR, NULL,
              "%s; nothing more is taken from the broker until it works again",
              service->trouble.why);
    if (service->api.intake)
        intake_abandon(service->api.intake, "readings could not be stored");
    if (!service->api.store_failing)
        begin_trouble(service);
    /* The handle is never used for writing again: after a failed fsync the kernel may have dropped
       the pages. It is kept open only for what the page reads. */
    service->held_store = service->store;
    service->store = NULL;
    rest_before_next_try(service);
}

/* A store that opens but cannot keep a row is not a store that works; and reading what a large
   fleet needs takes long. A damaged one is for service_open_store. */
static bool can_be_written(const struct service *service, char *why, size_t why_size) {
    const struct store_options options = {.mode = STORE_READ_WRITE, .busy_timeout_ms = 400};
    struct store *store = NULL;
    char now[40];
    enum store_status status =
        store_open(service->api.fleet->settings->store_file, &options, &store, why, why_size);
    THEN(status, record_note_put(store, "store tried",
                                 timestamp_format(now, sizeof now, service->api.now_ms)));
    if (status != STORE_OK && store)
        snprintf(why, why_size, "%s", store_error(store));
    store_close(store);
    return status == STORE_OK || status == STORE_DAMAGED;
}

static void recovered(struct service *service) {
    struct monitor *monitor = pipeline_monitor(service->api.pipeline);
    log_event(LOG_EVENT_STORE_WORKS, LOG_LEVEL_NOTICE, NULL, "works again");
    struct alarm facts = failing_alarm(service);
    facts.subject = strdup(service->trouble.why);
    facts.told = service->trouble.told;
    struct alarm *alarm = alarm_book_raise(monitor_alarms(monitor), &facts);
    if (alarm)
        alarm_book_return(monitor_alarms(monitor), FLEET_NONE, FLEET_NONE, CONDITION_STORE_FAILING,
                          service->api.now_ms);
    service->api.store_failing = false;
    timers_wake(&service->timers);
}

static bool try_again(struct service *service, char *why, size_t why_size) {
    /* The lock and the old handle go first; its readers find nothing for a moment. */
    pipeline_forget_store(service->api.pipeline);
    store_close(service->held_store);
    service->held_store = NULL;
    return (service->trouble.replace || can_be_written(service, why, why_size)) &&
           service_open_store(service, why, why_size);
}

void service_store_retry(struct service *service) {
    char why[512];
    if (!service_due(service, TIMER_STORE))
        return;
    int64_t began_ms = clock_processor_ms();
    bool works = try_again(service, why, sizeof why);
    service->trouble.try_took_ms = clock_processor_ms() - began_ms;
    if (works) {
        recovered(service);
        return;
    }
    snprintf(service->trouble.why, sizeof service->trouble.why, "%s", why);
    rest_before_next_try(service);
}
