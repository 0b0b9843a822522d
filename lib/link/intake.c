/*
 * One struct mosquitto lives for one connection: it is made for a try and destroyed at its end.
 * Destroying writes nothing, so acknowledgements that were not released vanish and the broker sends
 * those messages again; nothing of an old connection can leak into the next one.
 *
 *   IDLE ─► LOOKING_UP ─► CONNECTING (TCP, TLS, CONNECT) ─► SUBSCRIBING ─► RUNNING
 *    ▲  waiting             │                                  │             │
 *    └──────────────────────┴──────────── lost() ──────────────┴─────────────┘
 *
 * The library's callbacks only note what happened; the client is destroyed after the library call
 * has returned. In threaded mode every packet is queued, so CONNECT, SUBSCRIBE and PINGREQ stand in
 * one queue with the acknowledgements: all of them leave in write_queue, and nowhere else.
 *
 * The library's "asynchronous" connect still looks names up in the calling thread, so it only ever
 * gets addresses that name_lookup found.
 */
#include "link/intake_private.h"

#include "link/broker_reason.h"

#include <assert.h>
#include <mqtt_protocol.h>
#include <poll.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>
#include <unistd.h>

#define CONNECT_LIMIT_MS 10000 /* TCP, TLS and CONNACK together, for each address */
/* Silence before the SUBACK; a broker may send a kept session's whole backlog first. */
#define SUBSCRIBE_LIMIT_MS 10000
#define SUBSCRIBE_AGAIN_MS 60000 /* after a refused subscription */
#define IDLE_TURN_MS 1000

/* ---- words ---- */

void intake_set_why(struct intake *intake, const char *format, ...) {
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(intake->why, sizeof(intake->why), format, arguments);
    va_end(arguments);
}

/** The same fault is told once, not at every try. */
static void tell_why(struct intake *intake) {
    if (strcmp(intake->why, intake->told) == 0)
        return;
    memcpy(intake->told, intake->why, sizeof(intake->told));
    intake->callbacks.log(intake->callbacks.context, intake->why);
}

/** Notes the end of the connection from within the library; the first reason is the true one. */
static void note_end(struct intake *intake, enum reconnect_cause cause) {
    intake->ended = true;
    intake->cause = cause;
}

/* ---- steps ---- */

void intake_enter(struct intake *intake, enum intake_step step) {
    intake->step = step;
    intake->step_is_new = true;
}

void intake_drop_client(struct intake *intake) {
    mosquitto_destroy(intake->client);
    intake->client = NULL;
    intake->publications.unconfirmed = 0;
    intake->ended = intake->tcp_up = intake->subscribe_due = intake->subscribe_refused = false;
    if (intake->lookup.descriptor >= 0)
        close(intake->lookup.descriptor);
    intake->lookup.descriptor = -1;
}

/** The connection or the try is over, intake->why says why: wait, then try again. */
void intake_lost(struct intake *intake, enum reconnect_cause cause) {
    bool was_running = intake->step == STEP_RUNNING;
    bool was_connecting = intake->step == STEP_CONNECTING;
    intake_drop_client(intake);
    intake->cause = cause;
    if (intake->stopped)
        return; /* the end we asked for is no loss */
    if (was_connecting && cause == RECONNECT_FAILED && intake_connect_to_next_address(intake))
        return;
    intake_enter(intake, STEP_IDLE);
    intake->retry_is_open = true;
    if (!was_running) {
        intake->counters.failed_tries++;
        tell_why(intake);
        return;
    }
    intake->counters.losses++;
    memcpy(intake->told, intake->why, sizeof(intake->told));
    intake->callbacks.disconnected(intake->callbacks.context, intake->why);
}

void intake_note_failure(struct intake *intake, int error) {
    const char *tls_failure = intake->hosts.tls ? broker_tls_failure(intake->hosts.tls) : "";
    if (tls_failure[0]) {
        intake_set_why(intake, "broker %s: TLS: %s", intake->hosts.name, tls_failure);
        note_end(intake, RECONNECT_REFUSED);
    } else if (error == MOSQ_ERR_CONN_LOST || error == MOSQ_ERR_SUCCESS) {
        bool unanswered = intake->step == STEP_CONNECTING && intake->session.protocol == 5;
        intake_set_why(intake, "broker %s closed the connection%s", intake->hosts.name,
                       unanswered ? " before it answered; if it speaks MQTT 3.1.1 only, set "
                                    "broker.protocol: 3.1.1"
                                  : "");
        note_end(intake, RECONNECT_CLOSED);
    } else if (error == MOSQ_ERR_KEEPALIVE) {
        intake_set_why(intake, "broker %s no longer answers", intake->hosts.name);
        note_end(intake, RECONNECT_FAILED);
    } else {
        intake_set_why(intake, "connection to broker %s broke: %s", intake->hosts.name,
                       error != MOSQ_ERR_ERRNO ? mosquitto_strerror(error)
                       : intake->tcp_up        ? "connection reset"
                                               : "no way to this address and port");
        note_end(intake, RECONNECT_FAILED);
    }
}

/** After every library call: has a callback noted the end, or did the call itself fail? */
bool intake_still_there(struct intake *intake, int error) {
    if (!intake->client)
        return false;
    if (!intake->ended && error == MOSQ_ERR_SUCCESS)
        return true;
    if (!intake->ended)
        intake_note_failure(intake, error); /* a failed handshake comes without a callback */
    intake_lost(intake, intake->cause);
    return false;
}

/* ---- callbacks of the library ---- */

static void on_connect(struct mosquitto *client, void *object, int code, int flags,
                       const mosquitto_property *properties) {
    (void)client;
    struct intake *intake = object;
    if (code != 0) {
        intake_set_why(intake, "broker %s refuses the connection: %s (code %d)", intake->hosts.name,
                       broker_reason_refused(intake->session.protocol, code), code);
        note_end(intake, RECONNECT_REFUSED);
        return;
    }
    uint16_t keepalive_s = 0;
    uint32_t expiry_s = 0;
    if (mosquitto_property_read_int16(properties, MQTT_PROP_SERVER_KEEP_ALIVE, &keepalive_s, false))
        intake->session.silence_limit_ms =
            keepalive_s * 1500; /* the broker's word counts; 0: none */
    if (mosquitto_property_read_int32(properties, MQTT_PROP_SESSION_EXPIRY_INTERVAL, &expiry_s,
                                      false) &&
        expiry_s != UINT32_MAX) {
        char text[160];
        snprintf(text, sizeof(text),
                 "the broker keeps our session for only %lu s after a loss: longer outages lose "
                 "readings",
                 (unsigned long)expiry_s);
        intake->callbacks.log(intake->callbacks.context, text);
    }
    intake->session_present = (flags & 1) != 0;
    intake->subscribe_due = true;
    intake_enter(intake, STEP_SUBSCRIBING);
}

static void on_disconnect(struct mosquitto *client, void *object, int code,
                          const mosquitto_property *properties) {
    (void)client;
    (void)properties;
    struct intake *intake = object;
    if (intake->ended)
        return; /* the refusal or the handshake's own reason came first */
    if (code >= MQTT_RC_UNSPECIFIED) {
        intake_set_why(intake, "broker %s closed the connection: %s (code %d)", intake->hosts.name,
                       broker_reason_closed(code), code);
        note_end(intake,
                 code == MQTT_RC_SESSION_TAKEN_OVER ? RECONNECT_TAKEN_OVER : RECONNECT_FAILED);
    } else {
        intake_note_failure(intake, code);
    }
}

static void on_subscribe(struct mosquitto *client, void *object, int packet_id, int count,
                         const int *granted) {
    (void)client;
    (void)packet_id;
    struct intake *intake = object;
    size_t answered = count > 0 ? (size_t)count : 0;
    for (size_t i = 0; i < intake->topics.count; i++) {
        int code = i < answered ? granted[i] : MQTT_RC_UNSPECIFIED;
        if (code == 1)
            continue;
        intake_set_why(intake, "broker %s: subscription to %s: %s", intake->hosts.name,
                       intake->topics.filters[i], broker_reason_subscription(code));
        intake->subscribe_refused = true;
        return;
    }
    intake->subscribe_refused = false;
    if (intake->step == STEP_SUBSCRIBING)
        intake_enter(intake, STEP_RUNNING);
}

static void on_message(struct mosquitto *client, void *object,
                       const struct mosquitto_message *message) {
    (void)client;
    struct intake *intake = object;
    const struct intake_message handed = {
        .topic = message->topic ? message->topic : "",
        .payload = message->payload ? message->payload : "",
        .length = message->payloadlen > 0 ? (size_t)message->payloadlen : 0,
        .retain = message->retain,
    };
    intake->handed_over++;
    intake->owes_acknowledgement |= message->qos == 1;
    intake->counters.messages++;
    intake->counters.bytes += handed.length;
    intake->callbacks.message(intake->callbacks.context, &handed);
}

void intake_set_callbacks(struct mosquitto *client) {
    mosquitto_publish_v5_callback_set(client, intake_published);
    mosquitto_connect_v5_callback_set(client, on_connect);
    mosquitto_disconnect_v5_callback_set(client, on_disconnect);
    mosquitto_subscribe_callback_set(client, on_subscribe);
    mosquitto_message_callback_set(client, on_message);
}

/* ---- the one place that writes ---- */

static int queue_subscriptions(struct intake *intake) {
    intake->subscribe_due = false;
    int error =
        intake->topics.former_count == 0
            ? MOSQ_ERR_SUCCESS
            : mosquitto_unsubscribe_multiple(intake->client, NULL, (int)intake->topics.former_count,
                                             intake->topics.former, NULL);
    if (error != MOSQ_ERR_SUCCESS)
        return error;
    /* QoS 1, never 2: at QoS 2 the library confirms what exists only in memory. */
    return mosquitto_subscribe_multiple(intake->client, NULL, (int)intake->topics.count,
                                        intake->topics.filters, 1, 0, NULL);
}

void intake_write_queue(struct intake *intake) {
    assert(!intake->callbacks.uncommitted(intake->callbacks.context));
    if (!intake->client || !intake->tcp_up)
        return;
    if (intake->subscribe_due && !intake_still_there(intake, queue_subscriptions(intake)))
        return;
    intake_still_there(intake, mosquitto_loop_write(intake->client, 1));
}

bool intake_may_write(const struct intake *intake) {
    return !intake->callbacks.uncommitted(intake->callbacks.context);
}

/* ---- reading ---- */

/* That the library queues an acknowledgement and leaves sending it to mosquitto_loop_write is
   nowhere promised, and every promise of ours rests on it. */
static void check_acknowledgement_waits(struct intake *intake) {
    bool owes = intake->owes_acknowledgement;
    intake->owes_acknowledgement = false;
    if (!owes || mosquitto_want_write(intake->client))
        return;
    intake->callbacks.log(intake->callbacks.context,
                          "this version of libmosquitto acknowledges readings before they are on "
                          "disk; stopped, use another version");
    abort();
}

/** Inside TLS a record that was read may hold further packets, which poll cannot see. */
static bool more_to_read(const struct intake *intake) {
    if (intake_poll_now(mosquitto_socket(intake->client), POLLIN))
        return true;
    return intake->hosts.tls && broker_tls_pending(mosquitto_ssl_get(intake->client));
}

enum intake_read_result intake_read(struct intake *intake, size_t most, size_t *messages) {
    enum intake_read_result result = INTAKE_DRAINED;
    intake->handed_over = 0;
    if (intake->step == STEP_CONNECTING)
        intake_advance_connect(intake);
    /* After a message comes another, mostly: asking poll only when none came saves a call for each.
     */
    for (bool flowing = false; intake->client && intake->tcp_up;) {
        size_t before = intake->handed_over;
        if (!flowing && !more_to_read(intake))
            break;
        if (before >= most) {
            result = more_to_read(intake) ? INTAKE_MORE : INTAKE_DRAINED;
            break;
        }
        intake->heard = true;
        if (!intake_still_there(intake, mosquitto_loop_read(intake->client, 1)))
            break;
        check_acknowledgement_waits(intake);
        flowing = intake->handed_over > before;
    }
    if (messages)
        *messages = intake->handed_over;
    return result;
}

void intake_release(struct intake *intake) {
    intake_write_queue(intake);
}

void intake_abandon(struct intake *intake, const char *why) {
    if (!intake->client)
        return;
    intake_set_why(intake, "%s: left the broker %s so that it sends them again", why,
                   intake->hosts.name);
    intake_lost(intake, RECONNECT_FAILED);
}

/* ---- time ---- */

static double chance(void) {
    uint32_t bits = 0;
    bool drawn = getrandom(&bits, sizeof bits, 0) == (ssize_t)sizeof bits;
    return drawn ? bits / 4294967296.0 : 0.5;
}

/* The next host at once, until each has failed once; after a connection that was up there is a wait
   in between, for what ended it may be another client of our name. */
static bool another_host(struct intake *intake) {
    bool untried = !intake->was_up && ++intake->hosts.tried < intake->hosts.count;
    intake_use_host(intake, (intake->hosts.at + 1) % intake->hosts.count);
    return untried;
}

static void schedule_retry(struct intake *intake, int64_t now_ms) {
    if (another_host(intake)) {
        intake->retry_ms = now_ms;
        intake->retry_is_open = false;
        return;
    }
    intake->hosts.tried = 0;
    int64_t lasted_ms = intake->was_up ? now_ms - intake->up_ms : -1;
    bool contested = reconnect_contested(&intake->reconnect);
    intake->retry_ms =
        now_ms + reconnect_wait_ms(&intake->reconnect, intake->cause, lasted_ms, now_ms, chance());
    intake->retry_is_open = false;
    intake->was_up = false;
    if (!contested && reconnect_contested(&intake->reconnect)) {
        intake_set_why(intake,
                       "another client uses the id \"%s\" on broker %s: it and we keep throwing "
                       "each other out; give each its own broker.client_id",
                       intake->session.client_id, intake->hosts.name);
        tell_why(intake);
    }
}

static void begin_step(struct intake *intake, int64_t now_ms) {
    intake->step_is_new = false;
    intake->step_ms = now_ms;
    intake->heard_ms = now_ms;
    if (intake->step != STEP_RUNNING)
        return;
    intake->up_ms = now_ms;
    intake->was_up = true;
    intake->why[0] = intake->told[0] = '\0';
    intake->counters.connections++;
    intake->callbacks.connected(intake->callbacks.context, intake->session_present);
}

/** A half-open connection: nothing heard although the library has asked (PINGREQ). */
static bool gone_silent(const struct intake *intake, int64_t now_ms) {
    return intake->session.silence_limit_ms > 0 &&
           now_ms - intake->heard_ms >= intake->session.silence_limit_ms &&
           !more_to_read(intake); /* what we have not read yet is not the broker's silence */
}

static void watch_connection(struct intake *intake, int64_t now_ms) {
    int64_t in_step_ms = now_ms - intake->step_ms;
    if (intake->step == STEP_SUBSCRIBING && intake->subscribe_refused) {
        tell_why(intake);
        if (in_step_ms >= SUBSCRIBE_AGAIN_MS) {
            intake->subscribe_due = true;
            intake->subscribe_refused = false;
            intake_enter(intake, STEP_SUBSCRIBING);
        }
    } else if (intake->step == STEP_SUBSCRIBING && !intake->subscribe_due &&
               now_ms - intake->heard_ms >= SUBSCRIBE_LIMIT_MS && !more_to_read(intake)) {
        intake_set_why(intake, "broker %s does not answer the subscription", intake->hosts.name);
        intake_lost(intake, RECONNECT_FAILED);
        return;
    }
    if (gone_silent(intake, now_ms)) {
        intake_set_why(intake, "broker %s no longer answers: nothing heard for %d s",
                       intake->hosts.name, intake->session.silence_limit_ms / 1000);
        intake_lost(intake, RECONNECT_FAILED);
        return;
    }
    intake_still_there(intake, mosquitto_loop_misc(intake->client)); /* queues a PINGREQ when due */
}

static void do_step(struct intake *intake, int64_t now_ms) {
    switch (intake->step) {
    case STEP_IDLE:
        if (intake->retry_is_open)
            schedule_retry(intake, now_ms);
        if (now_ms >= intake->retry_ms)
            intake_start_try(intake);
        break;
    case STEP_LOOKING_UP:
        intake_take_lookup(intake, now_ms);
        break;
    case STEP_CONNECTING:
        intake_advance_connect(intake);
        if (intake->step == STEP_CONNECTING && now_ms - intake->step_ms >= CONNECT_LIMIT_MS) {
            intake_set_why(intake, "broker %s: %s within 10 s", intake->hosts.name,
                           intake->tcp_up ? "no answer" : "no connection");
            intake_lost(intake, RECONNECT_FAILED);
        }
        break;
    case STEP_SUBSCRIBING:
    case STEP_RUNNING:
        watch_connection(intake, now_ms);
        break;
    }
}

static int64_t earlier(int64_t a_ms, int64_t b_ms) {
    return a_ms < b_ms ? a_ms : b_ms;
}

static int64_t next_tick_ms(const struct intake *intake, int64_t now_ms) {
    if (intake->step_is_new || intake->retry_is_open)
        return now_ms;
    switch (intake->step) {
    case STEP_IDLE:
        return intake->retry_ms;
    case STEP_LOOKING_UP:
        return intake->step_ms + LOOKUP_LIMIT_MS;
    case STEP_CONNECTING:
        return intake->step_ms + CONNECT_LIMIT_MS;
    default: /* the library's keepalive counts in whole seconds of its own clock */
        return intake->session.silence_limit_ms > 0 &&
                       intake->heard_ms + intake->session.silence_limit_ms > now_ms
                   ? earlier(now_ms + IDLE_TURN_MS,
                             intake->heard_ms + intake->session.silence_limit_ms)
                   : now_ms + IDLE_TURN_MS;
    }
}

int64_t intake_tick(struct intake *intake, int64_t monotonic_ms) {
    if (intake->stopped)
        return monotonic_ms + RECONNECT_WAIT_MAX_MS;
    if (intake->step_is_new)
        begin_step(intake, monotonic_ms);
    if (intake->heard)
        intake->heard_ms = monotonic_ms;
    intake->heard = false;
    do_step(intake, monotonic_ms);
    if (intake->step >= STEP_SUBSCRIBING && intake_may_write(intake) &&
        (intake->subscribe_due || mosquitto_want_write(intake->client)))
        intake_write_queue(intake);
    if (intake->step_is_new)
        begin_step(intake, monotonic_ms);
    return next_tick_ms(intake, monotonic_ms);
}

/* ---- answers ---- */

int intake_descriptor(const struct intake *intake) {
    if (intake->client)
        return mosquitto_socket(intake->client);
    return intake->lookup.descriptor;
}

bool intake_wants_write(const struct intake *intake) {
    if (!intake->client)
        return false;
    if (!intake->tcp_up)
        return true;
    return mosquitto_want_write(intake->client) && intake_may_write(intake);
}

enum intake_state intake_state(const struct intake *intake) {
    if (intake->step == STEP_IDLE)
        return INTAKE_DISCONNECTED;
    return intake->step == STEP_RUNNING && !intake->step_is_new ? INTAKE_CONNECTED
                                                                : INTAKE_CONNECTING;
}

const char *intake_why(const struct intake *intake) {
    return intake->why;
}

const char *intake_host(const struct intake *intake, int *port) {
    *port = intake->hosts.list[intake->hosts.at].port;
    return intake->hosts.name;
}

void intake_count(const struct intake *intake, struct intake_counters *counters) {
    *counters = intake->counters;
}
