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
#include "link/intake.h"

#include "link/broker_reason.h"
#include "link/broker_tls.h"
#include "link/name_lookup.h"
#include "link/reconnect.h"
#include "measure/array.h"

#include <assert.h>
#include <mosquitto.h>
#include <mqtt_protocol.h>
#include <poll.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

#define LOOKUP_LIMIT_MS 5000
#define CONNECT_LIMIT_MS 10000 /* TCP, TLS and CONNACK together, for each address */
/* Silence before the SUBACK; a broker may send a kept session's whole backlog first. */
#define SUBSCRIBE_LIMIT_MS 10000
#define SUBSCRIBE_AGAIN_MS 60000 /* after a refused subscription */
#define KEEPALIVE_MIN_S 5        /* libmosquitto takes no less */
#define IDLE_TURN_MS 1000

enum step { STEP_IDLE, STEP_LOOKING_UP, STEP_CONNECTING, STEP_SUBSCRIBING, STEP_RUNNING };

struct intake {
    struct intake_callbacks callbacks;
    char *host, *client_id, *username, *password;
    char **filters;
    size_t filter_count;
    char **former; /* filters to leave */
    size_t former_count;
    int port, protocol, keepalive_s, receive_maximum;
    uint32_t maximum_packet;
    struct broker_tls *tls; /* NULL: plain */

    enum step step;
    bool stopped;
    struct mosquitto *client; /* from CONNECTING on */
    bool tcp_up, subscribe_due, subscribe_refused, session_present;
    int lookup; /* descriptor, -1: none */
    struct name_lookup_answer addresses;
    size_t address_index;
    int silence_limit_ms; /* 1.5 keepalive: nothing heard for so long is a dead connection */

    int64_t step_ms, heard_ms, up_ms, retry_ms; /* monotonic; set by intake_tick alone */
    bool step_is_new, heard, retry_is_open, was_up;
    struct reconnect reconnect;
    enum reconnect_cause cause;

    bool ended; /* noted by a callback: the client has to go */
    size_t handed_over;
    struct intake_counters counters;
    char why[320], told[320];
};

/* ---- words ---- */

__attribute__((format(printf, 2, 3))) static void set_why(struct intake *intake, const char *format,
                                                          ...) {
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

static void enter(struct intake *intake, enum step step) {
    intake->step = step;
    intake->step_is_new = true;
}

static void drop_client(struct intake *intake) {
    mosquitto_destroy(intake->client);
    intake->client = NULL;
    intake->ended = intake->tcp_up = intake->subscribe_due = intake->subscribe_refused = false;
    if (intake->lookup >= 0)
        close(intake->lookup);
    intake->lookup = -1;
}

static bool connect_to_next_address(struct intake *intake);

/** The connection or the try is over, intake->why says why: wait, then try again. */
static void lost(struct intake *intake, enum reconnect_cause cause) {
    bool was_running = intake->step == STEP_RUNNING;
    bool was_connecting = intake->step == STEP_CONNECTING;
    drop_client(intake);
    intake->cause = cause;
    if (intake->stopped)
        return; /* the end we asked for is no loss */
    if (was_connecting && cause == RECONNECT_FAILED && connect_to_next_address(intake))
        return;
    enter(intake, STEP_IDLE);
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

static void note_failure(struct intake *intake, int error) {
    const char *tls_failure = intake->tls ? broker_tls_failure(intake->tls) : "";
    if (tls_failure[0]) {
        set_why(intake, "broker %s: TLS: %s", intake->host, tls_failure);
        note_end(intake, RECONNECT_REFUSED);
    } else if (error == MOSQ_ERR_CONN_LOST || error == MOSQ_ERR_SUCCESS) {
        set_why(intake, "broker %s closed the connection", intake->host);
        note_end(intake, RECONNECT_CLOSED);
    } else if (error == MOSQ_ERR_KEEPALIVE) {
        set_why(intake, "broker %s no longer answers", intake->host);
        note_end(intake, RECONNECT_FAILED);
    } else {
        set_why(intake, "connection to broker %s broke: %s", intake->host,
                error != MOSQ_ERR_ERRNO ? mosquitto_strerror(error)
                : intake->tcp_up        ? "connection reset"
                                        : "no way to this address and port");
        note_end(intake, RECONNECT_FAILED);
    }
}

/** After every library call: has a callback noted the end, or did the call itself fail? */
static bool still_there(struct intake *intake, int error) {
    if (!intake->client)
        return false;
    if (!intake->ended && error == MOSQ_ERR_SUCCESS)
        return true;
    if (!intake->ended)
        note_failure(intake, error); /* a failed handshake comes without a callback */
    lost(intake, intake->cause);
    return false;
}

/* ---- callbacks of the library ---- */

static void on_connect(struct mosquitto *client, void *object, int code, int flags,
                       const mosquitto_property *properties) {
    (void)client;
    struct intake *intake = object;
    if (code != 0) {
        set_why(intake, "broker %s refuses the connection: %s (code %d)", intake->host,
                broker_reason_refused(intake->protocol, code), code);
        note_end(intake, RECONNECT_REFUSED);
        return;
    }
    uint16_t keepalive_s = 0;
    uint32_t expiry_s = 0;
    if (mosquitto_property_read_int16(properties, MQTT_PROP_SERVER_KEEP_ALIVE, &keepalive_s, false))
        intake->silence_limit_ms = keepalive_s * 1500; /* the broker's word counts; 0: none */
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
    enter(intake, STEP_SUBSCRIBING);
}

static void on_disconnect(struct mosquitto *client, void *object, int code,
                          const mosquitto_property *properties) {
    (void)client;
    (void)properties;
    struct intake *intake = object;
    if (intake->ended)
        return; /* the refusal or the handshake's own reason came first */
    if (code >= MQTT_RC_UNSPECIFIED) {
        set_why(intake, "broker %s closed the connection: %s (code %d)", intake->host,
                broker_reason_closed(code), code);
        note_end(intake,
                 code == MQTT_RC_SESSION_TAKEN_OVER ? RECONNECT_TAKEN_OVER : RECONNECT_FAILED);
    } else {
        note_failure(intake, code);
    }
}

static void on_subscribe(struct mosquitto *client, void *object, int packet_id, int count,
                         const int *granted) {
    (void)client;
    (void)packet_id;
    struct intake *intake = object;
    size_t answered = count > 0 ? (size_t)count : 0;
    for (size_t i = 0; i < intake->filter_count; i++) {
        int code = i < answered ? granted[i] : MQTT_RC_UNSPECIFIED;
        if (code == 1)
            continue;
        set_why(intake, "broker %s: subscription to %s: %s", intake->host, intake->filters[i],
                broker_reason_subscription(code));
        intake->subscribe_refused = true;
        return;
    }
    intake->subscribe_refused = false;
    if (intake->step == STEP_SUBSCRIBING)
        enter(intake, STEP_RUNNING);
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
    intake->counters.messages++;
    intake->counters.bytes += handed.length;
    intake->callbacks.message(intake->callbacks.context, &handed);
}

/* ---- the one place that writes ---- */

static int queue_subscriptions(struct intake *intake) {
    intake->subscribe_due = false;
    int error = intake->former_count == 0
                    ? MOSQ_ERR_SUCCESS
                    : mosquitto_unsubscribe_multiple(
                          intake->client, NULL, (int)intake->former_count, intake->former, NULL);
    if (error != MOSQ_ERR_SUCCESS)
        return error;
    /* QoS 1, never 2: at QoS 2 the library confirms what exists only in memory. */
    return mosquitto_subscribe_multiple(intake->client, NULL, (int)intake->filter_count,
                                        intake->filters, 1, 0, NULL);
}

static void write_queue(struct intake *intake) {
    assert(!intake->callbacks.uncommitted(intake->callbacks.context));
    if (!intake->client || !intake->tcp_up)
        return;
    if (intake->subscribe_due && !still_there(intake, queue_subscriptions(intake)))
        return;
    still_there(intake, mosquitto_loop_write(intake->client, 1));
}

static bool may_write(const struct intake *intake) {
    return !intake->callbacks.uncommitted(intake->callbacks.context);
}

/* ---- connecting ---- */

static int set_client_options(struct intake *intake, struct mosquitto *client) {
    mosquitto_threaded_set(client, true);
    mosquitto_connect_v5_callback_set(client, on_connect);
    mosquitto_disconnect_v5_callback_set(client, on_disconnect);
    mosquitto_subscribe_callback_set(client, on_subscribe);
    mosquitto_message_callback_set(client, on_message);
    int error = mosquitto_int_option(client, MOSQ_OPT_PROTOCOL_VERSION,
                                     intake->protocol == 5 ? MQTT_PROTOCOL_V5 : MQTT_PROTOCOL_V311);
    if (!error)
        error = mosquitto_int_option(client, MOSQ_OPT_TCP_NODELAY, 1);
    if (!error && intake->username)
        error = mosquitto_username_pw_set(client, intake->username, intake->password);
    if (!error && intake->tls)
        error = mosquitto_void_option(client, MOSQ_OPT_SSL_CTX, broker_tls_context(intake->tls));
    if (!error && intake->tls)
        error = mosquitto_int_option(client, MOSQ_OPT_SSL_CTX_WITH_DEFAULTS, 0);
    return error;
}

/**
 * The CONNECT properties of MQTT 5. mosquitto_connect_bind_v5 takes them but connects blocking; it
 * copies them before it looks at the keepalive, so a keepalive that it refuses leaves just the
 * properties behind for mosquitto_connect_async. The contract test reads them in the CONNECT bytes.
 */
static int set_connect_properties(const struct intake *intake, struct mosquitto *client) {
    mosquitto_property *list = NULL;
    int error = mosquitto_property_add_int32(&list, MQTT_PROP_SESSION_EXPIRY_INTERVAL, UINT32_MAX);
    if (!error)
        error = mosquitto_property_add_int16(&list, MQTT_PROP_RECEIVE_MAXIMUM,
                                             (uint16_t)intake->receive_maximum);
    if (!error)
        error = mosquitto_property_add_int32(&list, MQTT_PROP_MAXIMUM_PACKET_SIZE,
                                             intake->maximum_packet);
    if (!error) {
        error = mosquitto_connect_bind_v5(client, "127.0.0.1", 1883, 1, NULL, list);
        error = error == MOSQ_ERR_INVAL ? MOSQ_ERR_SUCCESS : MOSQ_ERR_UNKNOWN;
    }
    mosquitto_property_free_all(&list);
    return error;
}

static int open_client(struct intake *intake, const char *address) {
    /* Clean start false: the session, and with it the queue of unread messages, stays. */
    intake->client = mosquitto_new(intake->client_id, false, intake);
    if (!intake->client)
        return MOSQ_ERR_NOMEM;
    int error = set_client_options(intake, intake->client);
    if (!error && intake->protocol == 5)
        error = set_connect_properties(intake, intake->client);
    if (!error)
        error = mosquitto_connect_async(intake->client, address, intake->port, intake->keepalive_s);
    return error;
}

/** False when no address is left; then intake->why is what the last one said. */
static bool connect_to_next_address(struct intake *intake) {
    while (intake->address_index < intake->addresses.count) {
        const char *address = intake->addresses.address[intake->address_index++];
        intake->silence_limit_ms = intake->keepalive_s * 1500;
        if (intake->tls)
            broker_tls_begin(intake->tls);
        int error = open_client(intake, address);
        if (!error && mosquitto_socket(intake->client) >= 0) {
            enter(intake, STEP_CONNECTING);
            return true;
        }
        note_failure(intake, error); /* on loopback a handshake can fail at once */
        drop_client(intake);
    }
    return false;
}

static void connect_to_addresses(struct intake *intake) {
    intake->address_index = 0;
    intake->cause = RECONNECT_FAILED;
    if (!connect_to_next_address(intake))
        lost(intake, intake->cause);
}

static void start_try(struct intake *intake) {
    if (name_lookup_is_address(intake->host)) {
        intake->addresses.count = 1;
        snprintf(intake->addresses.address[0], NAME_LOOKUP_ADDRESS_BYTES, "%s", intake->host);
        connect_to_addresses(intake);
        return;
    }
    enter(intake, STEP_LOOKING_UP);
    intake->lookup = name_lookup_start(intake->host);
    if (intake->lookup < 0) {
        set_why(intake, "broker %s: earlier look-ups of this name still hang", intake->host);
        lost(intake, RECONNECT_FAILED);
    }
}

static void take_lookup(struct intake *intake, int64_t now_ms) {
    if (name_lookup_take(intake->lookup, &intake->addresses)) {
        close(intake->lookup);
        intake->lookup = -1;
        if (intake->addresses.count == 0)
            set_why(intake, "broker %s: the name does not resolve: %s", intake->host,
                    intake->addresses.why);
        connect_to_addresses(intake);
    } else if (now_ms - intake->step_ms >= LOOKUP_LIMIT_MS) {
        set_why(intake, "broker %s: the name server gives no answer within 5 s", intake->host);
        lost(intake, RECONNECT_FAILED);
    }
}

static short poll_now(int descriptor, short events) {
    struct pollfd set = {.fd = descriptor, .events = events};
    return poll(&set, 1, 0) > 0 ? set.revents : 0;
}

/** TCP up? Then the handshake, which the library carries on only in mosquitto_loop_read. */
static void advance_connect(struct intake *intake) {
    int descriptor = mosquitto_socket(intake->client);
    if (!intake->tcp_up) {
        if (!poll_now(descriptor, POLLOUT))
            return;
        int error = 0;
        socklen_t length = sizeof(error);
        getsockopt(descriptor, SOL_SOCKET, SO_ERROR, &error, &length);
        if (error) {
            set_why(intake, "broker %s, port %d: %s", intake->host, intake->port, strerror(error));
            lost(intake, RECONNECT_FAILED);
            return;
        }
        intake->tcp_up = true;
    }
    if (intake->tls && !still_there(intake, mosquitto_loop_read(intake->client, 1)))
        return;
    if (may_write(intake))
        write_queue(intake);
}

/* ---- reading ---- */

/** Inside TLS a record that was read may hold further packets, which poll cannot see. */
static bool more_to_read(const struct intake *intake) {
    if (poll_now(mosquitto_socket(intake->client), POLLIN))
        return true;
    return intake->tls && broker_tls_pending(mosquitto_ssl_get(intake->client));
}

enum intake_read_result intake_read(struct intake *intake, size_t most, size_t *messages) {
    enum intake_read_result result = INTAKE_DRAINED;
    intake->handed_over = 0;
    if (intake->step == STEP_CONNECTING)
        advance_connect(intake);
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
        if (!still_there(intake, mosquitto_loop_read(intake->client, 1)))
            break;
        flowing = intake->handed_over > before;
    }
    if (messages)
        *messages = intake->handed_over;
    return result;
}

void intake_release(struct intake *intake) {
    write_queue(intake);
}

void intake_abandon(struct intake *intake, const char *why) {
    if (!intake->client)
        return;
    set_why(intake, "%s: left the broker %s so that it sends them again", why, intake->host);
    lost(intake, RECONNECT_FAILED);
}

/* ---- time ---- */

static double chance(void) {
    return (double)arc4random() / 4294967296.0;
}

static void schedule_retry(struct intake *intake, int64_t now_ms) {
    int64_t lasted_ms = intake->was_up ? now_ms - intake->up_ms : -1;
    bool contested = reconnect_contested(&intake->reconnect);
    intake->retry_ms =
        now_ms + reconnect_wait_ms(&intake->reconnect, intake->cause, lasted_ms, now_ms, chance());
    intake->retry_is_open = false;
    intake->was_up = false;
    if (!contested && reconnect_contested(&intake->reconnect)) {
        set_why(intake,
                "another client uses the id \"%s\" on broker %s: it and we keep throwing "
                "each other out; give each its own broker.client_id",
                intake->client_id, intake->host);
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
    return intake->silence_limit_ms > 0 && now_ms - intake->heard_ms >= intake->silence_limit_ms &&
           !more_to_read(intake); /* what we have not read yet is not the broker's silence */
}

static void watch_connection(struct intake *intake, int64_t now_ms) {
    int64_t in_step_ms = now_ms - intake->step_ms;
    if (intake->step == STEP_SUBSCRIBING && intake->subscribe_refused) {
        tell_why(intake);
        if (in_step_ms >= SUBSCRIBE_AGAIN_MS) {
            intake->subscribe_due = true;
            intake->subscribe_refused = false;
            enter(intake, STEP_SUBSCRIBING);
        }
    } else if (intake->step == STEP_SUBSCRIBING && !intake->subscribe_due &&
               now_ms - intake->heard_ms >= SUBSCRIBE_LIMIT_MS && !more_to_read(intake)) {
        set_why(intake, "broker %s does not answer the subscription", intake->host);
        lost(intake, RECONNECT_FAILED);
        return;
    }
    if (gone_silent(intake, now_ms)) {
        set_why(intake, "broker %s no longer answers: nothing heard for %d s", intake->host,
                intake->silence_limit_ms / 1000);
        lost(intake, RECONNECT_FAILED);
        return;
    }
    still_there(intake, mosquitto_loop_misc(intake->client)); /* queues a PINGREQ when due */
}

static void do_step(struct intake *intake, int64_t now_ms) {
    switch (intake->step) {
    case STEP_IDLE:
        if (intake->retry_is_open)
            schedule_retry(intake, now_ms);
        if (now_ms >= intake->retry_ms)
            start_try(intake);
        break;
    case STEP_LOOKING_UP:
        take_lookup(intake, now_ms);
        break;
    case STEP_CONNECTING:
        advance_connect(intake);
        if (intake->step == STEP_CONNECTING && now_ms - intake->step_ms >= CONNECT_LIMIT_MS) {
            set_why(intake, "broker %s: %s within 10 s", intake->host,
                    intake->tcp_up ? "no answer" : "no connection");
            lost(intake, RECONNECT_FAILED);
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
        return intake->silence_limit_ms > 0 && intake->heard_ms + intake->silence_limit_ms > now_ms
                   ? earlier(now_ms + IDLE_TURN_MS, intake->heard_ms + intake->silence_limit_ms)
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
    if (intake->step >= STEP_SUBSCRIBING && may_write(intake) &&
        (intake->subscribe_due || mosquitto_want_write(intake->client)))
        write_queue(intake);
    if (intake->step_is_new)
        begin_step(intake, monotonic_ms);
    return next_tick_ms(intake, monotonic_ms);
}

/* ---- life ---- */

static char *copy(const char *text, bool *complete) {
    char *copied = text ? strdup(text) : NULL;
    if (text && !copied)
        *complete = false;
    return copied;
}

static bool copy_settings(struct intake *intake, const struct settings_broker *broker,
                          const char *password) {
    bool complete = true;
    intake->host = copy(broker->host, &complete);
    intake->client_id = copy(broker->client_id, &complete);
    intake->username = copy(broker->username, &complete);
    intake->password = copy(password, &complete);
    intake->filters = calloc(broker->subscribe_count + 1, sizeof(*intake->filters));
    if (!intake->filters)
        return false;
    for (; intake->filter_count < broker->subscribe_count; intake->filter_count++)
        intake->filters[intake->filter_count] =
            copy(broker->subscribe[intake->filter_count], &complete);
    intake->port = broker->port;
    intake->protocol = broker->protocol;
    intake->keepalive_s =
        broker->keepalive_s < KEEPALIVE_MIN_S ? KEEPALIVE_MIN_S : broker->keepalive_s;
    intake->receive_maximum = broker->receive_maximum;
    intake->maximum_packet = broker->maximum_packet;
    return complete;
}

struct intake *intake_create(const struct settings *settings, const char *password,
                             const struct intake_callbacks *callbacks, char *why, size_t why_size) {
    const struct settings_broker *broker = &settings->broker;
    struct intake *intake = calloc(1, sizeof(*intake));
    if (!intake) {
        snprintf(why, why_size, "out of memory");
        return NULL;
    }
    mosquitto_lib_init();
    intake->lookup = -1;
    intake->callbacks = *callbacks;
    snprintf(intake->why, sizeof(intake->why), "not connected yet");
    if (!copy_settings(intake, broker, password)) {
        snprintf(why, why_size, "out of memory");
    } else if (!broker->tls && !broker->ca_file) {
        return intake;
    } else {
        const struct broker_tls_files files = {broker->ca_file, broker->certificate_file,
                                               broker->key_file};
        intake->tls = broker_tls_create(broker->host, &files, why, why_size);
        if (intake->tls)
            return intake;
    }
    intake_destroy(intake);
    return NULL;
}

void intake_leave(struct intake *intake, const char *filter) {
    char **longer = array_room(intake->former, intake->former_count, sizeof(*intake->former));
    char *copied = longer ? strdup(filter) : NULL;
    if (longer)
        intake->former = longer;
    if (copied)
        intake->former[intake->former_count++] = copied;
}

void intake_destroy(struct intake *intake) {
    if (!intake)
        return;
    drop_client(intake);
    broker_tls_destroy(intake->tls);
    for (size_t i = 0; i < intake->filter_count; i++)
        free(intake->filters[i]);
    free(intake->filters);
    for (size_t i = 0; i < intake->former_count; i++)
        free(intake->former[i]);
    free(intake->former);
    free(intake->host);
    free(intake->client_id);
    free(intake->username);
    if (intake->password)
        explicit_bzero(intake->password, strlen(intake->password));
    free(intake->password);
    free(intake);
    mosquitto_lib_cleanup();
}

void intake_stop(struct intake *intake) {
    intake->stopped = true;
    /* Uncommitted readings: leave without a word, the broker keeps them. */
    if (intake->step >= STEP_SUBSCRIBING && may_write(intake)) {
        write_queue(intake);
        if (intake->client && mosquitto_disconnect(intake->client) == MOSQ_ERR_SUCCESS)
            write_queue(intake);
    }
    drop_client(intake);
    enter(intake, STEP_IDLE);
    set_why(intake, "stopped");
}

/* ---- answers ---- */

int intake_descriptor(const struct intake *intake) {
    if (intake->client)
        return mosquitto_socket(intake->client);
    return intake->lookup;
}

bool intake_wants_write(const struct intake *intake) {
    if (!intake->client)
        return false;
    if (!intake->tcp_up)
        return true;
    return mosquitto_want_write(intake->client) && may_write(intake);
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

void intake_count(const struct intake *intake, struct intake_counters *counters) {
    *counters = intake->counters;
}
