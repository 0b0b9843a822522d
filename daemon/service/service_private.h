/*
 * service_private: the body of the service, shared by service.c (the broker's events, run, stop),
 * open.c (opening all in order), turn.c (one turn of the loop), store_trouble.c (what to do while
 * the store fails) and service_reload.c (new settings).
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
#include "service/status_line.h"
#include "service/timers.h"
#include "tell/dispatch.h"
#include "tell/heartbeat.h"
#include "tell/state_topic.h"

#include <stdbool.h>

/** The store while it fails. */
struct store_trouble {
    bool replace;                 /* set it aside before it is opened again */
    int64_t damaged_monotonic_ms; /* when it was last found damaged; 0: never */
    int64_t since_ms;
    int64_t try_took_ms;       /* processor time of the last try to open it again */
    bool told;                 /* of this trouble; */
    int64_t told_monotonic_ms; /* and when last, 0: never */
    char why[512];
};

/** What is remembered of the broker from turn to turn. */
struct broker_memory {
    uint64_t files; /* named_files_of_broker, when they were last read */
    struct backlog backlog;
    int64_t away_from_ms; /* wall; when we last heard it, also before a start */
};

struct service {
    const char *settings_file;
    struct api api;           /* the parts at work */
    struct store *store;      /* NULL while it fails */
    struct store *held_store; /* the failed one, for what the page reads meanwhile */
    struct in_hand *hand;     /* NULL when it cannot be noted what is in hand */
    struct web_server *page, *operator_server;
    int signals; /* signalfd */
    bool stop;
    struct reload reload;
    struct store_trouble trouble;
    struct broker_memory broker;
    struct state_topic state; /* what the broker was told of us */
    struct heartbeat heartbeat;
    struct clock_watch clock;  /* while it doubts, the broker keeps what comes */
    int64_t monotonic_ms;      /* of this turn */
    int64_t offset_ms;         /* wall minus monotonic */
    int64_t trusted_offset_ms; /* the same when the clock was last trusted; TIMESTAMP_NONE */
    struct timers timers;
    char status[STATUS_LINE_BYTES]; /* as the service manager was last told */
    int64_t watchdog_ms;            /* 0: nobody wants to hear from us */
    int64_t recent_since_ms;        /* monotonic: since when api.recent_turn_ms counts */
};

/** open.c: opens all in order. The exit status: 0; 1 when a part cannot be opened (stop the
   others), 2 when the settings are wrong; the reason is printed. */
int service_open(struct service *service);
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

/** open.c: opens store and pipeline for a fleet. False with a sentence in `why`. */
bool service_open_store(struct service *service, char *why, size_t why_size);
/** service.c: a connection to the broker of these settings, not begun. NULL with a sentence. */
struct intake *service_make_intake(struct service *service, const struct settings *settings,
                                   char *why, size_t why_size);
/** service.c: it becomes the one in use, in place of a former one. */
void service_take_intake(struct service *service, struct intake *intake);
/** service.c: tells the service manager that all works (again), and how things are. */
void service_say_ready(struct service *service);
/** open.c: shows what is wrong with the files, and frees it. */
void service_print_errors(struct settings_errors *errors);

#endif
