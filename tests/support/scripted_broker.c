#include "scripted_broker.h"

#include "test_support.h"

#include <arpa/inet.h>
#include <netinet/tcp.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

void scripted_broker_open(struct scripted_broker *broker) {
    struct sockaddr_in address = {.sin_family = AF_INET, .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    socklen_t length = sizeof(address);
    memset(broker, 0, sizeof(*broker));
    broker->connection = -1;
    broker->listener = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
    ck_assert_int_ge(broker->listener, 0);
    ck_assert_int_eq(bind(broker->listener, (struct sockaddr *)&address, sizeof(address)), 0);
    ck_assert_int_eq(listen(broker->listener, 4), 0);
    ck_assert_int_eq(getsockname(broker->listener, (struct sockaddr *)&address, &length), 0);
    broker->port = ntohs(address.sin_port);
}

void scripted_broker_close(struct scripted_broker *broker) {
    scripted_broker_hang_up(broker);
    close(broker->listener);
}

void scripted_broker_hang_up(struct scripted_broker *broker) {
    if (broker->connection >= 0)
        close(broker->connection);
    broker->connection = -1;
}

void scripted_broker_forget(struct scripted_broker *broker) {
    broker->length = 0;
}

void scripted_broker_pump(struct scripted_broker *broker) {
    int accepted = accept4(broker->listener, NULL, NULL, SOCK_CLOEXEC | SOCK_NONBLOCK);
    if (accepted >= 0) {
        scripted_broker_hang_up(broker);
        const int on = 1; /* bytes leave when the test says so */
        setsockopt(accepted, IPPROTO_TCP, TCP_NODELAY, &on, sizeof(on));
        broker->connection = accepted;
        broker->connections++;
        broker->ended = false;
        broker->length = 0;
    }
    while (broker->connection >= 0 && broker->length < sizeof(broker->received)) {
        ssize_t got = recv(broker->connection, broker->received + broker->length,
                           sizeof(broker->received) - broker->length, 0);
        if (got <= 0) {
            broker->ended = got == 0 || broker->ended;
            break;
        }
        broker->length += (size_t)got;
    }
}

void scripted_broker_send(struct scripted_broker *broker, const void *bytes, size_t length) {
    ck_assert_int_ge(broker->connection, 0);
    ck_assert_int_eq((int)send(broker->connection, bytes, length, MSG_NOSIGNAL), (int)length);
}

/** The packet that begins at `bytes`; its whole length, 0 when it is not complete. */
static size_t parse(const uint8_t *bytes, size_t have, struct scripted_packet *packet) {
    size_t body_length = 0, at = 1;
    for (unsigned shift = 0;; shift += 7) {
        if (at >= have || shift > 21)
            return 0;
        body_length |= (size_t)(bytes[at] & 0x7f) << shift;
        if (!(bytes[at++] & 0x80))
            break;
    }
    if (have - at < body_length)
        return 0;
    *packet = (struct scripted_packet){bytes[0] >> 4, bytes[0] & 0x0f, bytes + at, body_length};
    return at + body_length;
}

bool scripted_broker_packet(const struct scripted_broker *broker, size_t n,
                            struct scripted_packet *packet) {
    size_t at = 0;
    for (size_t i = 0; at < broker->length; i++) {
        size_t length = parse(broker->received + at, broker->length - at, packet);
        if (length == 0)
            return false;
        if (i == n)
            return true;
        at += length;
    }
    return false;
}

size_t scripted_broker_count(const struct scripted_broker *broker, enum packet_type type) {
    struct scripted_packet packet;
    size_t count = 0;
    for (size_t i = 0; scripted_broker_packet(broker, i, &packet); i++)
        count += packet.type == (int)type;
    return count;
}

static size_t finish(uint8_t *bytes, int first, const uint8_t *body, size_t length) {
    size_t at = 0, rest = length;
    bytes[at++] = (uint8_t)first;
    do {
        bytes[at++] = (uint8_t)((rest & 0x7f) | (rest > 0x7f ? 0x80 : 0));
        rest >>= 7;
    } while (rest);
    memcpy(bytes + at, body, length);
    return at + length;
}

size_t scripted_connack(uint8_t *bytes, int protocol, bool session_present, int code) {
    const uint8_t body[] = {session_present, (uint8_t)code, 0};
    return finish(bytes, 0x20, body, protocol == 5 ? 3 : 2);
}

size_t scripted_suback(uint8_t *bytes, int protocol, int packet_id, const uint8_t *codes,
                       size_t count) {
    uint8_t body[64] = {(uint8_t)(packet_id >> 8), (uint8_t)packet_id};
    size_t at = protocol == 5 ? 3 : 2;
    memcpy(body + at, codes, count);
    return finish(bytes, 0x90, body, at + count);
}

size_t scripted_publish(uint8_t *bytes, int protocol, int flags, int packet_id, const char *topic,
                        const void *payload, size_t length) {
    uint8_t body[4096];
    size_t topic_length = strlen(topic), at = 2;
    body[0] = (uint8_t)(topic_length >> 8);
    body[1] = (uint8_t)topic_length;
    memcpy(body + at, topic, topic_length);
    at += topic_length;
    if (flags & 0x06) {
        body[at++] = (uint8_t)(packet_id >> 8);
        body[at++] = (uint8_t)packet_id;
    }
    if (protocol == 5)
        body[at++] = 0; /* no properties */
    memcpy(body + at, payload, length);
    return finish(bytes, 0x30 | flags, body, at + length);
}

size_t scripted_disconnect(uint8_t *bytes, int code) {
    const uint8_t body[] = {(uint8_t)code, 0};
    return finish(bytes, 0xe0, body, 2);
}
