/*
 * From a name to a connection: addresses, TCP, TLS, CONNECT.
 */
#include "link/intake_private.h"

#include <mqtt_protocol.h>
#include <poll.h>
#include <stdio.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

/* ---- connecting ---- */

void intake_use_host(struct intake *intake, size_t host) {
    intake->hosts.at = host;
    intake->hosts.name = intake->hosts.list[host].name;
    intake->hosts.tls = intake->hosts.list[host].tls;
}

static int set_client_options(struct intake *intake, struct mosquitto *client) {
    mosquitto_threaded_set(client, true);
    intake_set_callbacks(client);
    int error =
        mosquitto_int_option(client, MOSQ_OPT_PROTOCOL_VERSION,
                             intake->session.protocol == 5 ? MQTT_PROTOCOL_V5 : MQTT_PROTOCOL_V311);
    if (!error)
        error = mosquitto_int_option(client, MOSQ_OPT_TCP_NODELAY, 1);
    if (!error && intake->session.username)
        error =
            mosquitto_username_pw_set(client, intake->session.username, intake->session.password);
    if (!error && intake->session.state_topic)
        error = mosquitto_will_set(client, intake->session.state_topic, (int)strlen(intake_offline),
                                   intake_offline, 1, true);
    if (!error && intake->hosts.tls)
        error =
            mosquitto_void_option(client, MOSQ_OPT_SSL_CTX, broker_tls_context(intake->hosts.tls));
    if (!error && intake->hosts.tls)
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
                                             (uint16_t)intake->session.receive_maximum);
    if (!error)
        error = mosquitto_property_add_int32(&list, MQTT_PROP_MAXIMUM_PACKET_SIZE,
                                             intake->session.maximum_packet);
    if (!error) {
        error = mosquitto_connect_bind_v5(client, "127.0.0.1", 1883, 1, NULL, list);
        error = error == MOSQ_ERR_INVAL ? MOSQ_ERR_SUCCESS : MOSQ_ERR_UNKNOWN;
    }
    mosquitto_property_free_all(&list);
    return error;
}

static int open_client(struct intake *intake, const char *address) {
    /* Clean start false: the session, and with it the queue of unread messages, stays. */
    intake->client = mosquitto_new(intake->session.client_id, false, intake);
    if (!intake->client)
        return MOSQ_ERR_NOMEM;
    int error = set_client_options(intake, intake->client);
    if (!error && intake->session.protocol == 5)
        error = set_connect_properties(intake, intake->client);
    if (!error)
        error = mosquitto_connect_async(intake->client, address,
                                        intake->hosts.list[intake->hosts.at].port,
                                        intake->session.keepalive_s);
    return error;
}

/** False when no address is left; then intake->why is what the last one said. */
bool intake_connect_to_next_address(struct intake *intake) {
    while (intake->lookup.index < intake->lookup.addresses.count) {
        const char *address = intake->lookup.addresses.address[intake->lookup.index++];
        intake->session.silence_limit_ms = intake->session.keepalive_s * 1500;
        if (intake->hosts.tls)
            broker_tls_begin(intake->hosts.tls);
        int error = open_client(intake, address);
        if (!error && mosquitto_socket(intake->client) >= 0) {
            intake_enter(intake, STEP_CONNECTING);
            return true;
        }
        intake_note_failure(intake, error); /* on loopback a handshake can fail at once */
        intake_drop_client(intake);
    }
    return false;
}

static void connect_to_addresses(struct intake *intake) {
    intake->lookup.index = 0;
    intake->cause = RECONNECT_FAILED;
    if (!intake_connect_to_next_address(intake))
        intake_lost(intake, intake->cause);
}

void intake_start_try(struct intake *intake) {
    if (name_lookup_is_address(intake->hosts.name)) {
        intake->lookup.addresses.count = 1;
        snprintf(intake->lookup.addresses.address[0], NAME_LOOKUP_ADDRESS_BYTES, "%s",
                 intake->hosts.name);
        connect_to_addresses(intake);
        return;
    }
    intake_enter(intake, STEP_LOOKING_UP);
    intake->lookup.descriptor = name_lookup_start(intake->hosts.name);
    if (intake->lookup.descriptor < 0) {
        intake_set_why(intake, "broker %s: earlier look-ups of this name still hang",
                       intake->hosts.name);
        intake_lost(intake, RECONNECT_FAILED);
    }
}

void intake_take_lookup(struct intake *intake, int64_t now_ms) {
    if (name_lookup_take(intake->lookup.descriptor, &intake->lookup.addresses)) {
        close(intake->lookup.descriptor);
        intake->lookup.descriptor = -1;
        if (intake->lookup.addresses.count == 0)
            intake_set_why(intake, "broker %s: the name does not resolve: %s", intake->hosts.name,
                           intake->lookup.addresses.why);
        connect_to_addresses(intake);
    } else if (now_ms - intake->step_ms >= LOOKUP_LIMIT_MS) {
        intake_set_why(intake, "broker %s: the name server gives no answer within 5 s",
                       intake->hosts.name);
        intake_lost(intake, RECONNECT_FAILED);
    }
}

short intake_poll_now(int descriptor, short events) {
    struct pollfd set = {.fd = descriptor, .events = events};
    return poll(&set, 1, 0) > 0 ? set.revents : 0;
}

/** TCP up? Then the handshake, which the library carries on only in mosquitto_loop_read. */
void intake_advance_connect(struct intake *intake) {
    int descriptor = mosquitto_socket(intake->client);
    if (!intake->tcp_up) {
        if (!intake_poll_now(descriptor, POLLOUT))
            return;
        int error = 0;
        socklen_t length = sizeof(error);
        getsockopt(descriptor, SOL_SOCKET, SO_ERROR, &error, &length);
        if (error) {
            intake_set_why(intake, "broker %s, port %d: %s", intake->hosts.name,
                           intake->hosts.list[intake->hosts.at].port, strerror(error));
            intake_lost(intake, RECONNECT_FAILED);
            return;
        }
        intake->tcp_up = true;
    }
    if (intake->hosts.tls && !intake_still_there(intake, mosquitto_loop_read(intake->client, 1)))
        return;
    if (intake_may_write(intake))
        intake_write_queue(intake);
}
