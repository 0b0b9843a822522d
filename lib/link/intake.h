/*
 * intake: readings from the MQTT broker (libmosquitto 2.0.11, threaded mode, our own poll loop).
 *
 * libmosquitto queues the QoS 1 acknowledgement during mosquitto_loop_read and writes it only in
 * mosquitto_loop_write. So the owner calls intake_read, commits what the messages caused, and then
 * intake_release: nothing is acknowledged before it is on disk. intake_release is the only place in
 * the program that calls mosquitto_loop_write, and it asserts that nothing is uncommitted.
 */
#ifndef LINK_INTAKE_H
#define LINK_INTAKE_H

#include "settings/settings.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct intake;

struct intake_message {
    const char *topic; /* null-terminated, valid UTF-8 */
    const void *payload;
    size_t length;
    bool retain; /* the retain flag of the message as received */
};

enum intake_state {
    INTAKE_DISCONNECTED,
    INTAKE_CONNECTING, /* TCP, TLS, CONNECT or SUBSCRIBE under way */
    INTAKE_CONNECTED   /* every subscription granted */
};

struct intake_callbacks {
    void *context;
    /** One message; called from within intake_read. The bytes are valid only during the call. */
    void (*message)(void *context, const struct intake_message *message);
    /**
     * Connected: every subscription is granted (session_present tells whether the broker kept our
     * session; its queued messages arrive before this call, for mosquitto grants behind the
     * backlog). Or a connection lost, and why.
     */
    void (*connected)(void *context, bool session_present);
    void (*disconnected)(void *context, const char *why);
    /** A line for the log. */
    void (*log)(void *context, const char *text);
    /** Is anything uncommitted? Asserted before every write to the broker. */
    bool (*uncommitted)(void *context);
};

/**
 * Makes a client of these settings; `password` may be NULL and is copied; file names are already
 * resolved by settings_path. Does not connect yet. NULL with a sentence in `why` on failure.
 */
struct intake *intake_create(const struct settings *settings, const char *password,
                             const struct intake_callbacks *callbacks, char *why, size_t why_size);
/**
 * A filter of an earlier subscription that a kept session still holds: unsubscribed at each
 * connection. Copied; out of memory it stays. Before the first intake_tick.
 */
void intake_leave(struct intake *intake, const char *filter);
/** Leaves without acknowledging anything. NULL does nothing. */
void intake_destroy(struct intake *intake);

/** Descriptor to poll, -1 while there is none. */
int intake_descriptor(const struct intake *intake);
/** Poll also for writing? (TCP or TLS connect under way, or a half-sent packet.) */
bool intake_wants_write(const struct intake *intake);

enum intake_read_result {
    INTAKE_DRAINED, /* reading would block: everything the broker sent has been handed over */
    INTAKE_MORE     /* stopped at `most` messages: commit, release, read on */
};
/** Reads while the socket is readable and fewer than `most` messages were handed over. */
enum intake_read_result intake_read(struct intake *intake, size_t most, size_t *messages);

/** Acknowledges everything handed over and sends what is queued. Only after a commit. */
void intake_release(struct intake *intake);

/**
 * Has the broker keep a text at a topic (retained, QoS 1); intake_release sends it. False: not
 * connected, or as many as may be wait for the broker's acknowledgement; try again later. What was
 * not acknowledged when the connection ends is forgotten: say it again at the next one.
 */
bool intake_publish(struct intake *intake, const char *topic, const char *text);

/** Drops the connection so that the broker sends everything again; `why` says what kept us. */
void intake_abandon(struct intake *intake, const char *why);

/**
 * Keepalive, time limits, reconnects: the next host of the list, with growing jittered waits (1 s
 * to 60 s) when each has failed or a working connection has ended. Call each turn; returns the
 * monotonic time of the next call needed at the latest.
 */
int64_t intake_tick(struct intake *intake, int64_t monotonic_ms);

/** Says "offline" where the state is published, then DISCONNECT (after a last release) for a clean
    stop; the session stays with the broker. */
void intake_stop(struct intake *intake);

enum intake_state intake_state(const struct intake *intake);
/** Why it is not connected, for people; "" when it is. Owned by the intake. */
const char *intake_why(const struct intake *intake);
/** The host that is connected, or tried, and its port. Owned by the intake. */
const char *intake_host(const struct intake *intake, int *port);

/** Since intake_create. */
struct intake_counters {
    uint64_t messages, bytes; /* handed over; bytes of payload */
    uint64_t connections;     /* reached INTAKE_CONNECTED */
    uint64_t losses;          /* lost after that */
    uint64_t failed_tries;    /* tries that never got that far */
};
void intake_count(const struct intake *intake, struct intake_counters *counters);

#endif
