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

/** Says in printf form what state this is. */
void intake_set_why(struct intake *intake, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
/** What the library calls from within; they only note what happened. */
void intake_set_callbacks(struct mosquitto *client);
/** Another step begins. */
void intake_enter(struct intake *intake, enum step step);
/** Destroys the client of this connection, if there is one; nothing is written. */
void intake_drop_client(struct intake *intake);
/** The connection, or the try, has ended. */
void intake_lost(struct intake *intake, enum reconnect_cause cause);
/** Notes an error of the library as the end of the connection. */
void intake_note_failure(struct intake *intake, int error);
/** False: a call of the library, or a callback in it, ended the connection. */
bool intake_still_there(struct intake *intake, int error);
/** The one place that writes. */
void intake_write_queue(struct intake *intake);
/** False while a reading handed over is not committed: nothing may leave, least of all its PUBACK.
 */
bool intake_may_write(const struct intake *intake);
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
