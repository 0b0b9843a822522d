#include "world_broker.h"

#include "link/intake.h"
#include "measure/duration.h"
#include "measure/timestamp.h"
#include "service/service_private.h"
#include "world.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const int64_t future_ms = 5 * DURATION_MINUTE_MS; /* a reading's time may be so far ahead */

struct intake {
    struct intake_callbacks callbacks;
    enum intake_state state;
    int64_t next_try_ms, ready_ms; /* true time; ready: the handshake is over */
    bool greeted;                  /* `connected` was called */
    bool session_present;
    char why[100];
    struct intake_counters counters;
};

static struct {
    size_t *queue;              /* readings; a ring would be shorter of memory, not of code */
    size_t first, handed, last; /* not acknowledged from `first` on; handed over up to `handed` */
    size_t next_message;        /* of the script */
    bool session, down;
    bool listening; /* the daemon waits for us too */
    const struct world_fault *last_cut;
    int64_t newest_ms[WORLD_SENSORS_MOST]; /* of what was acknowledged */
    struct intake *client;
} broker;

/* ---- the broker's side ---- */

void world_broker_begin(void) {
    world_broker_end();
    broker.queue = calloc(world.script->message_count + 1, sizeof *broker.queue);
}

void world_broker_end(void) {
    free(broker.queue);
    memset(&broker, 0, sizeof broker);
}

size_t world_broker_waiting(void) {
    return broker.last - broker.first;
}

static const struct world_fault *down_now(void) {
    const struct world_fault *fault = world_fault_now(WORLD_BROKER_FORGETS);
    return fault ? fault : world_fault_now(WORLD_BROKER_DOWN);
}

static void lose_session(void) {
    broker.session = false;
    while (broker.first < broker.last) {
        struct world_reading *reading = &world.readings[broker.queue[broker.first++]];
        reading->forgotten |= !reading->released;
    }
    broker.handed = broker.first;
}

/* A sensor whose broker is away publishes again when it is there. */
static void publish(void) {
    const struct world_script *script = world.script;
    while (broker.next_message < script->message_count &&
           script->messages[broker.next_message].publish_ms <= world.now_ms) {
        size_t number = script->messages[broker.next_message++].reading;
        struct world_reading *reading = &world.readings[number];
        reading->reached = true;
        if (broker.session)
            broker.queue[broker.last++] = number;
        else
            reading->forgotten |= !reading->released;
    }
}

void world_broker_turn(void) {
    const struct world_fault *down = down_now();
    if (down && down->kind == WORLD_BROKER_FORGETS && broker.session)
        lose_session();
    broker.down = down != NULL;
    if (!broker.down)
        publish();
}

void world_broker_listening(bool listening) {
    broker.listening = listening;
}

/* So many may be on their way without an acknowledgement. */
static size_t may_hand_to(void) {
    size_t window = broker.first + (size_t)world.script->receive_maximum;
    return window < broker.last ? window : broker.last;
}

int64_t world_broker_next_ms(void) {
    const struct world_script *script = world.script;
    const struct intake *client = broker.client;
    const struct world_fault *down = down_now();
    int64_t next_ms = INT64_MAX;
    if (down)
        next_ms = down->to_ms;
    else if (broker.next_message < script->message_count)
        next_ms = script->messages[broker.next_message].publish_ms;
    if (!client || !broker.listening)
        return next_ms;
    if (broker.down)
        return client->state != INTAKE_DISCONNECTED ? world.now_ms : next_ms;
    int64_t client_ms = INT64_MAX;
    if (client->state == INTAKE_DISCONNECTED)
        client_ms = client->next_try_ms;
    else if (client->state == INTAKE_CONNECTING)
        client_ms = client->ready_ms;
    else if (broker.handed < may_hand_to())
        client_ms = world.now_ms;
    return client_ms < next_ms ? client_ms : next_ms;
}

void world_broker_dropped(void) {
    broker.handed = broker.first; /* the client itself is abandoned memory */
    broker.client = NULL;
}

/* ---- the daemon's side ---- */

struct intake *intake_create(const struct settings *settings, const char *password,
                             const struct intake_callbacks *callbacks, char *why, size_t why_size) {
    (void)settings, (void)password, (void)why, (void)why_size;
    struct intake *intake = calloc(1, sizeof *intake);
    if (!intake)
        return NULL;
    intake->callbacks = *callbacks;
    world.service = callbacks->context;
    broker.client = intake;
    broker.handed = broker.first;
    return intake;
}

void intake_leave(struct intake *intake, const char *filter) {
    (void)intake, (void)filter;
}

void intake_destroy(struct intake *intake) {
    if (intake && broker.client == intake)
        world_broker_dropped();
    free(intake);
}

int intake_descriptor(const struct intake *intake) {
    (void)intake;
    return WORLD_BROKER_DESCRIPTOR;
}

bool intake_wants_write(const struct intake *intake) {
    (void)intake;
    return false;
}

static void disconnect(struct intake *intake, const char *why) {
    bool greeted = intake->greeted;
    intake->state = INTAKE_DISCONNECTED;
    intake->greeted = false;
    intake->next_try_ms = world.now_ms + 1000 + (int64_t)(world_chance() * 20000);
    intake->counters.losses++;
    snprintf(intake->why, sizeof intake->why, "%s", why);
    broker.handed = broker.first;
    if (greeted)
        intake->callbacks.disconnected(intake->callbacks.context, why);
}

static void greet(struct intake *intake) {
    intake->greeted = true;
    intake->state = INTAKE_CONNECTED;
    intake->counters.connections++;
    intake->why[0] = '\0';
    world_trace("connected, session %s", intake->session_present ? "kept" : "new");
    intake->callbacks.connected(intake->callbacks.context, intake->session_present);
}

static void shake_hands(struct intake *intake) {
    intake->session_present = broker.session;
    broker.session = true;
    intake->state = INTAKE_CONNECTED;
    if (world.script->granted_first)
        greet(intake);
}

static void release_first(void) {
    struct world_reading *reading = &world.readings[broker.queue[broker.first++]];
    int64_t *newest_ms = &broker.newest_ms[reading->sensor];
    if (world.script->sensors[reading->sensor].plain || reading->junk) {
        reading->released = true;
        return;
    }
    reading->late |= !reading->released && reading->time_ms < *newest_ms;
    reading->released = true;
    if (reading->time_ms > *newest_ms)
        *newest_ms = reading->time_ms;
}

static void write_message(const struct world_reading *reading, char *topic, size_t topic_size,
                          char *payload, size_t payload_size) {
    const struct world_sensor *sensor = &world.script->sensors[reading->sensor];
    const struct world_junk *junk = reading->junk ? world_junk(reading->junk) : NULL;
    double value = reading->value;
    if (world.plant == WORLD_PLANT_WRONG_VALUE && world_chance() < 0.001)
        value += 1.0;
    snprintf(topic, topic_size, "subslab/%s/%s", sensor->system,
             junk && junk->elsewhere ? junk->elsewhere : sensor->point);
    if (junk)
        snprintf(payload, payload_size, "%s", junk->payload);
    else if (sensor->plain)
        snprintf(payload, payload_size, "%.6g", value);
    else
        snprintf(payload, payload_size, "[{\"n\":\"x\",\"t\":%.3f,\"v\":%.6g}]",
                 (double)reading->time_ms / 1000.0, value);
}

static void note_time(struct world_reading *reading, int64_t time_ms) {
    if (reading->first_ms == 0 || time_ms < reading->first_ms)
        reading->first_ms = time_ms;
    if (time_ms > reading->last_ms)
        reading->last_ms = time_ms;
}

static void hand_over(struct intake *intake, size_t number) {
    struct world_reading *reading = &world.readings[number];
    char topic[80], payload[120];
    write_message(reading, topic, sizeof topic, payload, sizeof payload);
    const struct intake_message message = {
        .topic = topic, .payload = payload, .length = strlen(payload)};
    world_trace("message %s %s", topic, payload);
    broker.handed++;
    int64_t clock_ms = world.now_ms + world.beside_ms;
    reading->excused |= reading->time_ms > clock_ms + future_ms && world.beside_ms != 0 &&
                        world.woke_beside_ms == world.beside_ms;
    note_time(reading, clock_ms);
    note_time(reading, world.now_ms); /* it may wait until the clock is right */
    reading->handed++;
    intake->counters.messages++;
    if (world.plant == WORLD_PLANT_EARLY_RELEASE && world_chance() < 0.05) {
        while (broker.first < broker.handed)
            release_first();
    }
    world_effect("message");
    if (world.plant == WORLD_PLANT_JUNK_LOST && reading->junk)
        return;
    intake->callbacks.message(intake->callbacks.context, &message);
    if (world.plant == WORLD_PLANT_PLAIN_TWICE && world.script->sensors[reading->sensor].plain &&
        world_chance() < 0.05)
        intake->callbacks.message(intake->callbacks.context, &message);
}

static bool line_is_cut(void) {
    const struct world_fault *cut = world_fault_now(WORLD_LINE_CUT);
    bool fresh = cut && cut != broker.last_cut;
    broker.last_cut = cut;
    return fresh;
}

enum intake_read_result intake_read(struct intake *intake, size_t most, size_t *messages) {
    *messages = 0;
    bool cut = line_is_cut();
    if (intake->state != INTAKE_DISCONNECTED && (broker.down || cut))
        disconnect(intake, broker.down ? "the broker closed the connection" : "connection reset");
    if (intake->state == INTAKE_CONNECTING && world.now_ms >= intake->ready_ms)
        shake_hands(intake);
    if (intake->state != INTAKE_CONNECTED)
        return INTAKE_DRAINED;
    while (*messages < most && broker.handed < may_hand_to()) {
        ++*messages;
        hand_over(intake, broker.queue[broker.handed]);
    }
    if (!intake->greeted && broker.handed == broker.last)
        greet(intake);
    return *messages == most ? INTAKE_MORE : INTAKE_DRAINED;
}

void intake_release(struct intake *intake) {
    if (intake->callbacks.uncommitted(intake->callbacks.context))
        world_broken("acknowledged before the commit");
    world_effect("release");
    while (intake->state != INTAKE_DISCONNECTED && broker.first < broker.handed) {
        release_first();
        world_effect("acknowledgement");
    }
}

void intake_abandon(struct intake *intake, const char *why) {
    if (intake->state != INTAKE_DISCONNECTED)
        disconnect(intake, why);
}

int64_t intake_tick(struct intake *intake, int64_t monotonic_ms) {
    if (intake->state == INTAKE_DISCONNECTED && world.now_ms >= intake->next_try_ms) {
        intake->next_try_ms = world.now_ms + 1000 + (int64_t)(world_chance() * 59000);
        if (broker.down) {
            intake->next_try_ms += down_now() ? down_now()->to_ms - world.now_ms : 0;
            intake->counters.failed_tries++;
        } else {
            intake->state = INTAKE_CONNECTING;
            intake->ready_ms = world.now_ms + 5;
        }
    }
    return monotonic_ms + DURATION_SECOND_MS;
}

void intake_stop(struct intake *intake) {
    intake->state = INTAKE_DISCONNECTED;
    broker.handed = broker.first;
}

bool intake_publish(struct intake *intake, const char *topic, const char *text) {
    (void)intake, (void)topic, (void)text;
    return true;
}

enum intake_state intake_state(const struct intake *intake) {
    return intake->state == INTAKE_CONNECTED && !intake->greeted ? INTAKE_CONNECTING
                                                                 : intake->state;
}

const char *intake_host(const struct intake *intake, int *port) {
    (void)intake;
    *port = 1883;
    return "broker";
}

const char *intake_why(const struct intake *intake) {
    return intake->why;
}

void intake_count(const struct intake *intake, struct intake_counters *counters) {
    *counters = intake->counters;
}
