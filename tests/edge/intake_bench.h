/*
 * intake_bench: an intake with everything around it that a test needs: settings, a record of what
 * its callbacks told, and a clock of its own, so that waits between tries cost no time. Functions
 * stand here because two test programs share them.
 */
#ifndef INTAKE_BENCH_H
#define INTAKE_BENCH_H

#include "link/intake.h"
#include "test_support.h"

#include <poll.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#define INTAKE_BENCH_NUMBERS 20000

struct intake_bench {
    struct settings settings;
    struct settings_broker_host host;
    char *filters[2];
    const char *password;
    struct intake *intake;
    int64_t clock_ms;   /* handed to intake_tick */
    int64_t next_ms;    /* what it answered */
    size_t uncommitted; /* messages handed over and not committed */
    size_t messages, connected, disconnected, log_lines;
    bool session_present;
    char why[512], logged[4096], topic[256], payload[256];
    bool retain;
    uint16_t seen[INTAKE_BENCH_NUMBERS]; /* how often a payload with this number was committed */
    uint16_t waiting[INTAKE_BENCH_NUMBERS];
};

static void on_message(void *context, const struct intake_message *message) {
    struct intake_bench *bench = context;
    bench->messages++;
    bench->uncommitted++;
    bench->retain = message->retain;
    snprintf(bench->topic, sizeof(bench->topic), "%s", message->topic);
    snprintf(bench->payload, sizeof(bench->payload), "%.*s", (int)message->length,
             (const char *)message->payload);
    long number = strtol(bench->payload, NULL, 10);
    if (number >= 0 && number < INTAKE_BENCH_NUMBERS)
        bench->waiting[number]++;
}

static void on_connected(void *context, bool session_present) {
    struct intake_bench *bench = context;
    bench->connected++;
    bench->session_present = session_present;
}

static void on_disconnected(void *context, const char *why) {
    struct intake_bench *bench = context;
    bench->disconnected++;
    snprintf(bench->why, sizeof(bench->why), "%s", why);
}

static void on_log(void *context, const char *text) {
    struct intake_bench *bench = context;
    bench->log_lines++;
    size_t have = strlen(bench->logged);
    snprintf(bench->logged + have, sizeof(bench->logged) - have, "%s\n", text);
}

static bool is_uncommitted(void *context) {
    const struct intake_bench *bench = context;
    return bench->uncommitted > 0;
}

/** Settings for 127.0.0.1:port, protocol 4 or 5, keepalive 5 s, filters "subslab/#" and "lab/+". */
static inline void intake_bench_set_up(struct intake_bench *bench, int port, int protocol) {
    memset(bench, 0, sizeof(*bench));
    bench->clock_ms = 1000000;
    bench->host = (struct settings_broker_host){(char *)"127.0.0.1", port};
    bench->filters[0] = (char *)"subslab/#";
    bench->filters[1] = (char *)"lab/+";
    bench->settings.broker = (struct settings_broker){
        .hosts = &bench->host,
        .host_count = 1,
        .client_id = (char *)"bench",
        .protocol = protocol,
        .subscribe = bench->filters,
        .subscribe_count = 2,
        .keepalive_s = 5,
        .receive_maximum = 2000,
        .maximum_packet = 131072,
    };
}

static inline void intake_bench_create(struct intake_bench *bench) {
    const struct intake_callbacks callbacks = {bench,           on_message, on_connected,
                                               on_disconnected, on_log,     is_uncommitted};
    char why[256] = "";
    bench->intake = intake_create(&bench->settings, bench->password, &callbacks, why, sizeof(why));
    ck_assert_msg(bench->intake != NULL, "%s", why);
}

static inline void intake_bench_destroy(struct intake_bench *bench) {
    intake_destroy(bench->intake);
    bench->intake = NULL;
}

/** One turn without a commit: read, tick. */
static inline void intake_bench_read(struct intake_bench *bench) {
    size_t messages = 0;
    while (intake_read(bench->intake, 100, &messages) == INTAKE_MORE)
        ck_assert_uint_le(messages, 10000);
    bench->next_ms = intake_tick(bench->intake, bench->clock_ms);
}

static inline void intake_bench_commit(struct intake_bench *bench) {
    for (size_t i = 0; i < INTAKE_BENCH_NUMBERS; i++) {
        bench->seen[i] = (uint16_t)(bench->seen[i] + bench->waiting[i]);
        bench->waiting[i] = 0;
    }
    bench->uncommitted = 0;
}

/** One whole turn: read, commit, release, tick. */
static inline void intake_bench_turn(struct intake_bench *bench) {
    intake_read(bench->intake, 500, NULL);
    if (bench->uncommitted)
        intake_bench_commit(bench);
    intake_release(bench->intake);
    bench->next_ms = intake_tick(bench->intake, bench->clock_ms);
}

static int64_t real_ms(void) {
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (int64_t)now.tv_sec * 1000 + now.tv_nsec / 1000000;
}

/** Turns in real time, sleeping on the descriptor, until `done` or so many milliseconds. */
static inline bool intake_bench_run(struct intake_bench *bench,
                                    bool (*done)(const struct intake_bench *), int limit_ms) {
    int64_t start_ms = real_ms(), clock_ms = bench->clock_ms;
    while (!done || !done(bench)) {
        int64_t passed_ms = real_ms() - start_ms;
        if (passed_ms >= limit_ms)
            return false;
        bench->clock_ms = clock_ms + passed_ms;
        intake_bench_turn(bench);
        struct pollfd set = {.fd = intake_descriptor(bench->intake), .events = POLLIN};
        if (intake_wants_write(bench->intake))
            set.events |= POLLOUT;
        int64_t wait_ms = bench->next_ms - bench->clock_ms;
        poll(&set, 1, wait_ms < 0 ? 0 : wait_ms > 50 ? 50 : (int)wait_ms);
    }
    return true;
}

static inline bool intake_bench_is_connected(const struct intake_bench *bench) {
    return intake_state(bench->intake) == INTAKE_CONNECTED;
}

#endif
