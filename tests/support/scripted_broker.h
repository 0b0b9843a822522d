/*
 * scripted_broker: the other end of an MQTT connection, in raw bytes, under the test's full
 * control. It runs in the test's own thread: nothing happens between two calls, so the order of
 * bytes is exactly what the test did. One connection at a time. Packet layouts: OASIS MQTT 3.1.1
 * and 5.0, chapters 2 and 3.
 */
#ifndef SCRIPTED_BROKER_H
#define SCRIPTED_BROKER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum packet_type {
    PACKET_CONNECT = 1,
    PACKET_PUBACK = 4,
    PACKET_PUBREC = 5,
    PACKET_SUBSCRIBE = 8,
    PACKET_PINGREQ = 12,
    PACKET_DISCONNECT = 14,
};

struct scripted_broker {
    int listener, port, connection; /* connection -1: none */
    size_t connections;             /* accepted so far */
    bool ended;                     /* the client closed this connection */
    uint8_t received[1 << 16];      /* from this connection, in order */
    size_t length;
};

struct scripted_packet {
    int type, flags;
    const uint8_t *body;
    size_t length;
};

void scripted_broker_open(struct scripted_broker *broker);
void scripted_broker_close(struct scripted_broker *broker);
/** Accepts (which forgets the connection before) and takes what has come. */
void scripted_broker_pump(struct scripted_broker *broker);
/** Forgets what was received, keeps the connection. */
void scripted_broker_forget(struct scripted_broker *broker);
void scripted_broker_hang_up(struct scripted_broker *broker);
void scripted_broker_send(struct scripted_broker *broker, const void *bytes, size_t length);

/** The n-th whole packet received on this connection; false when there is none. */
bool scripted_broker_packet(const struct scripted_broker *broker, size_t n,
                            struct scripted_packet *packet);
/** How many whole packets of this type. */
size_t scripted_broker_count(const struct scripted_broker *broker, enum packet_type type);

/* Packets to send; each writes to `bytes` (large enough) and returns the length. */
size_t scripted_connack(uint8_t *bytes, int protocol, bool session_present, int code);
size_t scripted_suback(uint8_t *bytes, int protocol, int packet_id, const uint8_t *codes,
                       size_t count);
size_t scripted_publish(uint8_t *bytes, int protocol, int flags, int packet_id, const char *topic,
                        const void *payload, size_t length);
size_t scripted_disconnect(uint8_t *bytes, int code);

#endif
