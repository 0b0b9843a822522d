/*
 * announce_bench: the real pipeline and store on a virtual clock, with endpoints that take
 * everything or nothing, and what they took. For one test program each: it holds its state.
 */
#ifndef ANNOUNCE_BENCH_H
#define ANNOUNCE_BENCH_H

#include "pipeline/pipeline.h"

#include "measure/duration.h"
#include "small_fleet.h"
#include "store/outbox_bundle.h"
#include "store_support.h"
#include "upkeep/upkeep.h"

#include <math.h>

#define START INT64_C(1773273600000) /* 2026-03-12T00:00:00Z */
#define MINUTE DURATION_MINUTE_MS

static const char *folder;
static struct fleet *fleet;
static struct store *store;
static struct pipeline *pipeline;
static struct upkeep *upkeep;
static int64_t now;

struct sent {
    char contact[20], system[20], type[40], id[40];
    char *body;
    int64_t at_ms;
};
static struct sent sent[5000];
static size_t sent_count;
static bool endpoint_works;
static int64_t run_step_ms = 10 * DURATION_SECOND_MS;

#define SETTINGS(contacts)                                                                         \
    "broker: {host: 127.0.0.1}\nstore: {file: test.db}\noperator_socket: test.sock\n"              \
    "systems: systems/\ncontacts:\n" contacts
#define CONTACT(id, role, more)                                                                    \
    "  - {id: " id ", role: " role ", webhook: {url: \"http://127.0.0.1:9/\", body: text}" more    \
    "}\n"

static inline void open_fleet(const char *settings, size_t systems) {
    char **texts = calloc(systems, sizeof(char *));
    for (size_t i = 0; i < systems; i++)
        ck_assert_int_gt(asprintf(&texts[i],
                                  "id: house-%zu\nname: House %zu\ntime_zone: America/Denver\n"
                                  "points:\n  - {id: suction, quantity: suction, unit: Pa, "
                                  "every: 10 min}\n"
                                  "  - {id: hole, quantity: field, unit: Pa, every: 10 min}\n",
                                  i, i),
                         0);
    fleet = small_fleet(settings, (const char *const *)texts, systems);
    for (size_t i = 0; i < systems; i++)
        free(texts[i]);
    free(texts);
}

static inline void open_pipeline(void) {
    char why[300] = "";
    pipeline = pipeline_open(fleet, store, now, why, sizeof why);
    ck_assert_msg(pipeline != NULL, "%s", why);
    pipeline_set_backlog(pipeline, false, now);
    upkeep = upkeep_open(fleet);
    ck_assert_ptr_nonnull(upkeep);
}

static inline void close_pipeline(void) {
    pipeline_close(pipeline);
    upkeep_close(upkeep);
}

static inline void begin(const char *settings, size_t systems) {
    now = START + 18 * DURATION_HOUR_MS; /* noon in Denver */
    endpoint_works = true;
    folder = store_test_folder();
    store = store_test_open(store_test_path(folder, "s.db"), NULL);
    open_fleet(settings, systems);
    open_pipeline();
}

static inline void set_up(void) {
    sent_count = 0;
}

static inline void tear_down(void) {
    close_pipeline();
    fleet_destroy(fleet);
    store_test_verify(store);
    store_close(store);
    store_test_remove(folder);
    for (size_t i = 0; i < sent_count; i++)
        free(sent[i].body);
}

static inline void note_sent(const struct outbox_message *message) {
    struct sent *one = &sent[sent_count++];
    ck_assert_uint_lt(sent_count, sizeof sent / sizeof sent[0]);
    snprintf(one->contact, sizeof one->contact, "%s", message->contact);
    snprintf(one->system, sizeof one->system, "%s", message->system);
    snprintf(one->type, sizeof one->type, "%s", message->type);
    snprintf(one->id, sizeof one->id, "%s", message->id);
    one->body = strdup(message->body);
    one->at_ms = now;
}

static inline void deliver(void) {
    struct outbox_message *due[64];
    size_t count = 1;
    while (endpoint_works && count > 0) {
        ck_assert_int_eq(outbox_due(store, now, NULL, 0, due, 64, &count), STORE_OK);
        for (size_t i = 0; i < count; i++) {
            ck_assert_int_eq(outbox_begun(store, due[i]->row), STORE_OK);
            ck_assert_int_eq(outbox_sent(store, due[i]->row, now, "204"), STORE_OK);
            note_sent(due[i]);
            outbox_message_free(due[i]);
        }
    }
}

static inline void settle(void) {
    ck_assert_int_eq(pipeline_settle(pipeline, now), STORE_OK);
    deliver();
}

static inline void run(int64_t span_ms) {
    for (int64_t until = now + span_ms; now < until;) {
        now += run_step_ms;
        pipeline_tick(pipeline, now);
        upkeep_step(upkeep, pipeline, now, false);
        settle();
    }
}

static inline struct alarm *raise_alarm(size_t system, size_t point, enum condition condition) {
    const struct alarm facts = {.system = system,
                                .point = point,
                                .condition = condition,
                                .priority = condition_info(condition)->priority,
                                .since_ms = now - MINUTE,
                                .raised_ms = now,
                                .value = NAN,
                                .setpoint = NAN,
                                .baseline = NAN};
    return alarm_book_raise(pipeline_alarms(pipeline), &facts);
}

static inline void end_alarm(size_t system, size_t point, enum condition condition) {
    alarm_book_return(pipeline_alarms(pipeline), system, point, condition, now);
}

static inline size_t count_sent(const char *contact, const char *type) {
    size_t count = 0;
    for (size_t i = 0; i < sent_count; i++)
        count +=
            strcmp(sent[i].contact, contact) == 0 && (!type || strcmp(sent[i].type, type) == 0);
    return count;
}

#endif
