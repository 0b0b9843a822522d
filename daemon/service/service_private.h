/*
 * service_private: the body of the service, shared by service.c (start, stop), turn.c (one turn of
 * the loop), store_trouble.c (what to do while the store fails) and reload.c (new settings).
 */
#ifndef DAEMON_SERVICE_SERVICE_PRIVATE_H
#define DAEMON_SERVICE_SERVICE_PRIVATE_H

#include "api/api.h"
#include "link/intake.h"
#include "link/web_server.h"
#include "pipeline/pipeline.h"
#include "service/backlog.h"
#include "service/clock_watch.h"
#include "service/service_reload.h"
#include "service/timers.h"
#include "tell/dispatch.h"

#include <stdbool.h>

struct service {
    const char *settings_file;
    struct fleet *fleet;
    struct store *store;      /* NULL while it fails */
    struct store *held_store; /* the failed one, for what the page reads meanwhile */
    struct in_hand *hand;     /* NULL when it cannot be noted what is in hand */
    struct pipeline *pipeline;
    struct upkeep *upkeep;
    struct dispatch *dispatch;
    struct intake *intake;
    struct web_server *page, *operator_server;
    struct api api;
    int signals; /* signalfd */
    bool stop;
    struct reload reload;

    /* the store's trouble */
    bool store_failing;
    bool replace_store;                 /* set it aside before it is opened again */
    int64_t store_damaged_monotonic_ms; /* when it was last found damaged; 0: never */
    int64_t store_failing_since_ms;
    int64_t store_try_took_ms;       /* processor time of the last try to open it again */
    bool store_failing_told;         /* of this trouble; */
    int64_t store_told_monotonic_ms; /* and when last, 0: never */
    char store_why[512];

    /* the broker */
    uint64_t broker_files; /* named_files_of_broker, when they were last read */
    bool backlog;          /* not connected, or not everything read yet */
    struct backlog backlog_watch;
    int64_t away_from_ms;  /* wall; when we last heard the broker, also before a start */
    int64_t lost_since_ms; /* wall; TIMESTAMP_NONE while connected */

    /* clocks */
    int64_t now_ms, monotonic_ms; /* of this turn */
    int64_t offset_ms;            /* wall minus monotonic */
    int64_t trusted_offset_ms;    /* the same when the clock was last trusted; TIMESTAMP_NONE */
    struct clock_watch clock;     /* while it doubts, the broker keeps what comes */
    struct timers timers;
    int64_t watchdog_ms;
    int64_t longest_turn_ms;
    int64_t recent_turn_ms, recent_since_ms; /* longest of about the last minute */
    uint64_t turns;
};

/** turn.c: is a timer due, as things are now? */
bool service_due(const struct service *service, enum timer timer);
/** turn.c: waits until something is to be done, at most until the next timer, and does it. */
void service_turn(struct service *service, bool more);
/** turn.c: reads, commits, acknowledges. True when more waits to be read at once. */
bool service_work(struct service *service);

/** service.c: before we heard the broker again, we last heard it when the newest reading came. */
int64_t service_newest_ms(const struct service *service);
/** turn.c: all that the broker kept for us has been read. */
void service_backlog_over(struct service *service);

/** store_trouble.c: a commit failed. */
void service_store_failed(struct service *service, enum store_status status);
/** store_trouble.c: tries to open the store again when it is time. */
void service_store_retry(struct service *service);

/** service.c: opens store and pipeline for a fleet. False with a sentence in `why`. */
bool service_open_store(struct service *service, char *why, size_t why_size);
/** service.c: a connection to the broker of these settings, not begun. NULL with a sentence. */
struct intake *service_make_intake(struct service *service, const struct settings *settings,
                                   char *why, size_t why_size);
/** service.c: it becomes the one in use, in place of a former one. */
void service_take_intake(struct service *service, struct intake *intake);
/** service.c: shows what is wrong with the files, and frees it. */
void service_print_errors(struct settings_errors *errors);

#endif
