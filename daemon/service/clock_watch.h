/*
 * clock_watch: holds the watch while the clock is not to be trusted (monitor/clock_trust.h).
 *
 * Until sensors with times of their own have agreed with the clock, messages first wait here: what
 * they say of the clock is looked at before any of them is taken, for what the broker has sent is
 * acknowledged together. With the clock trusted they go on to the pipeline in the same turn. Else
 * they are forgotten and the connection is left without an acknowledgement, so that the broker
 * keeps them; at each reconnect, after growing waits, they are looked at again.
 */
#ifndef DAEMON_SERVICE_CLOCK_WATCH_H
#define DAEMON_SERVICE_CLOCK_WATCH_H

#include "monitor/clock_trust.h"
#include "pipeline/pipeline.h"

struct clock_watch {
    enum clock_doubt doubt; /* CLOCK_TRUSTED: readings are taken */
    char why[240];          /* for people; "" while trusted */
    struct clock_memory memory;
    int64_t set_aside_ms; /* a newest reading that is known to be from a wrong clock */
    struct clock_sensors sensors;
    bool unheard;           /* settings were read again, and no sensor has said anything since */
    int64_t moved_ms;       /* by which the clock was moved since sensors agreed with it */
    int64_t held_from_ms;   /* monotonic: since when it is doubted */
    int64_t steady_from_ms; /* monotonic: since when the clock has run without a jump */
    int64_t noted_ms;       /* monotonic: when the life was last noted */
    struct waiting_message *messages;
    size_t count, seen; /* `seen`: their times have been looked at */
    char *bytes;        /* topics and payloads of all of them */
    size_t bytes_used, bytes_capacity;
    bool full;
    int64_t first_ms, last_ms; /* monotonic: when the first and the last of them came */
    uint64_t connection;       /* that they came by */
};

/** Reads what the store remembers and judges. False: out of memory, or the store failed. */
bool clock_watch_open(struct clock_watch *watch, struct pipeline *pipeline, int64_t now_ms,
                      int64_t monotonic_ms);
void clock_watch_close(struct clock_watch *watch);
/** The fleet was read again: words of its points begin anew, if there are more or fewer. */
bool clock_watch_fleet(struct clock_watch *watch, const struct fleet *fleet);

static inline bool clock_watch_trusts(const struct clock_watch *watch) {
    return watch->doubt == CLOCK_TRUSTED;
}
/** May the broker be asked? Not before the clock is set at all. */
static inline bool clock_watch_reads(const struct clock_watch *watch) {
    return watch->doubt != CLOCK_NOT_SET;
}

/** The clock was moved, by more than it can drift. */
void clock_watch_jumped(struct clock_watch *watch, int64_t by_ms, int64_t monotonic_ms);
/** Each turn: judges, says in the log what changes, notes now and then that we run. */
void clock_watch_turn(struct clock_watch *watch, struct pipeline *pipeline, int64_t now_ms,
                      int64_t monotonic_ms);

/** Does a message have to wait here? */
bool clock_watch_asks(const struct clock_watch *watch);
void clock_watch_keep(struct clock_watch *watch, const struct intake_message *message,
                      int64_t monotonic_ms);
bool clock_watch_waits(const struct clock_watch *watch);

enum clock_verdict { CLOCK_TAKE, CLOCK_WAIT, CLOCK_LEAVE };
/** Before and after the broker is read: what came by a connection that is lost comes again, and
    must not wait here while it is acknowledged. */
void clock_watch_connection(struct clock_watch *watch, uint64_t number);
/** What to do with the messages that wait. */
enum clock_verdict clock_watch_decide(struct clock_watch *watch, struct pipeline *pipeline,
                                      int64_t now_ms, int64_t monotonic_ms);
/** After CLOCK_TAKE: hands them to the pipeline, each with the time at which it came. Returns how
    many. */
size_t clock_watch_pass_on(struct clock_watch *watch, struct pipeline *pipeline);
void clock_watch_forget_messages(struct clock_watch *watch);

#endif
