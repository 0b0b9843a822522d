/*
 * scripted_intake: the intake of a bench connected with a broker of scripted bytes, and what a test
 * does on both sides. Functions in a header, because only programs that link the edges can use
 * them.
 */
#ifndef SCRIPTED_INTAKE_H
#define SCRIPTED_INTAKE_H

#include "intake_bench.h"
#include "link/name_lookup.h"
#include "link/reconnect.h"
#include "scripted_broker.h"

#include <mosquitto.h>
#include <unistd.h>

static struct scripted_broker broker;

static struct intake_bench bench;

static uint8_t bytes[1 << 16];

static inline void begin(int protocol) {
    scripted_broker_open(&broker);
    intake_bench_set_up(&bench, broker.port, protocol);
}

static inline void end(void) {
    intake_bench_destroy(&bench);
    scripted_broker_close(&broker);
}

/** Turns on both sides until a packet of this type has come. */
static inline void await(enum packet_type type, struct scripted_packet *packet) {
    for (int i = 0; i < 2000; i++) {
        intake_bench_turn(&bench);
        scripted_broker_pump(&broker);
        for (size_t n = 0; scripted_broker_packet(&broker, n, packet); n++) {
            if (packet->type == (int)type)
                return;
        }
        usleep(1000);
    }
    ck_abort_msg("no packet of type %d; the intake says: %s", type, intake_why(bench.intake));
}

static inline void turns(int count) {
    for (int i = 0; i < count; i++) {
        intake_bench_turn(&bench);
        scripted_broker_pump(&broker);
        usleep(1000);
    }
}

static inline void send_suback(const uint8_t *codes, size_t count,
                               const struct scripted_packet *request) {
    int id = request->body[0] << 8 | request->body[1];
    scripted_broker_send(&broker, bytes,
                         scripted_suback(bytes, bench.settings.broker.protocol, id, codes, count));
}

/** CONNECT, CONNACK, SUBSCRIBE, SUBACK; what was received is forgotten. */
static inline void connect_fully(bool session_present) {
    struct scripted_packet packet;
    await(PACKET_CONNECT, &packet);
    scripted_broker_send(
        &broker, bytes,
        scripted_connack(bytes, bench.settings.broker.protocol, session_present, 0));
    await(PACKET_SUBSCRIBE, &packet);
    send_suback((const uint8_t[]){1, 1}, 2, &packet);
    for (int i = 0; i < 1000 && !intake_bench_is_connected(&bench); i++)
        turns(1);
    ck_assert(intake_bench_is_connected(&bench));
    scripted_broker_forget(&broker);
}

static inline void publish(int flags, int id, const char *topic, const char *payload) {
    scripted_broker_send(&broker, bytes,
                         scripted_publish(bytes, bench.settings.broker.protocol, flags, id, topic,
                                          payload, strlen(payload)));
}

/** After a loss: over the wait, whatever it is. */
static inline void pass_the_wait(void) {
    intake_bench_turn(&bench);
    bench.clock_ms += RECONNECT_WAIT_MAX_MS;
}

static const int protocols[] = {4, 5};

#endif
