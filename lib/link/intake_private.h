/*
 * intake_private: the body of an intake, shared by intake.c (steps, reading, time),
 * intake_connect.c and intake_life.c. Not for anybody else.
 */
#ifndef LINK_INTAKE_PRIVATE_H
#define LINK_INTAKE_PRIVATE_H

#include "link/broker_tls.h"
#include "link/intake.h"
#include "link/name_lookup.h"
#include "link/reconnect.h"

#include <mosquitto.h>

#define LOOKUP_LIMIT_MS 5000

enum intake_step { STEP_IDLE, STEP_LOOKING_UP, STEP_CONNECTING, STEP_SUBSCRIBING, STEP_RUNNING };

/* The brokers of one cluster, tried in turn. */
struct intake_hosts {
    struct intake_host {
        char *name;
        int port;
        struct broker_tls *tls; /* NULL: plain */
    } * list;
    size_t count, at, tried; /* tried since the last wait */
    const char *name;        /* of the one in use */
    struct broker_tls *tls;  /* of that; NULL: plain */
};

/* What is asked of the broker. */
struct intake_session {
    char *client_id, *username, *password;
    char *state_topic; /* NULL: none; "offline" is our will there */
    int protocol, keepalive_s, receive_maximum;
    uint32_t maximum_packet;
    int silence_limit_ms; /* 1.5 keepalive: nothing heard for so long is a dead connection */
};

struct intake_topics {
    char **filters;
    size_t count;
    char **former; /* filters to leave */
    size_t former_count;
};

struct intake_lookup {
    int descriptor; /* -1: none */
    struct name_lookup_answer addresses;
    size_t index;
};

/** What this connection publishes. */
struct intake_publications {
    size_t unconfirmed;
    bool refused; /* and told */
};

struct intake {
    struct intake_callbacks callbacks;
    struct intake_hosts hosts;
    struct intake_session session;
    struct intake_topics topics;
    struct intake_publications publications;
    bool owes_acknowledgement; /* for a message of this read */

    enum intake_step step;
    bool stopped;
    struct mosquitto *client; /* from CONNECTING on */
    bool tcp_up, subscribe_due, subscribe_refused, session_present;
    struct intake_lookup lookup;

    int64_t step_ms, heard_ms, up_ms, retry_ms; /* monotonic; set by intake_tick alone */
    bool step_is_new, heard, retry_is_open, was_up;
    struct reconnect reconnect;
    enum reconnect_cause cause;

    bool ended; /* noted by a callback: the client has to go */
    size_t handed_over;
    struct intake_counters counters;
    char why[320], told[320];
};

/** Says in printf form what state this is. */
void intake_set_why(struct intake *intake, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
/** What the library calls from within; they only note what happened. */
void intake_set_callbacks(struct mosquitto *client);
/** Another step begins. */
void intake_enter(struct intake *intake, enum intake_step step);
/** Destroys the client of this connection, if there is one; nothing is written. */
void intake_drop_client(struct intake *intake);
/** The connection, or the try, has ended. */
void intake_lost(struct intake *intake, enum reconnect_cause cause);
/** Notes an error of the library as the end of the connection. */
void intake_note_failure(struct intake *intake, int error);
/** False: a call of the library, or a callback in it, ended the connection. */
bool intake_still_there(struct intake *intake, int error);
/** intake_life.c: the library's callback of an acknowledged publication. */
void intake_published(struct mosquitto *client, void *object, int packet_id, int code,
                      const mosquitto_property *properties);
/** intake_life.c: the state of a client that has gone. */
extern const char intake_offline[];
/** The one place that writes. */
void intake_write_queue(struct intake *intake);
/** False while a reading handed over is not committed: nothing may leave, least of all its PUBACK.
 */
bool intake_may_write(const struct intake *intake);
/** intake_connect.c: this one of the hosts is the one in use. */
void intake_use_host(struct intake *intake, size_t host);
/** intake_connect.c: false when no address is left. */
bool intake_connect_to_next_address(struct intake *intake);
/** intake_connect.c: looks the name up. */
void intake_start_try(struct intake *intake);
/** intake_connect.c: connects to what was found. */
void intake_take_lookup(struct intake *intake, int64_t now_ms);
/** intake_connect.c: what poll says of these events now. */
short intake_poll_now(int descriptor, short events);
/** intake_connect.c: goes on when TCP is up. */
void intake_advance_connect(struct intake *intake);

#endif
