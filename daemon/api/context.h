/*
 * context: what the service lends to those who answer requests.
 */
#ifndef DAEMON_API_CONTEXT_H
#define DAEMON_API_CONTEXT_H

#include "link/intake.h"
#include "link/web_server.h"
#include "pipeline/pipeline.h"
#include "tell/dispatch.h"
#include "upkeep/upkeep.h"

#include <stdbool.h>
#include <stdint.h>

struct page;

/** What long lists may take of each turn, and whose turn it is (list.h). {0}: no limit. */
struct api_list_time {
    int64_t until_ms; /* monotonic: then this turn has done enough for them */
    uint64_t turn;
    uint64_t due;      /* who was served last in this turn or before may go on; */
    uint64_t due_next; /* the same in the next turn: of those who wait, the longest */
};

/** The parts at work and how they fare: the service's own, which it lends. */
struct api {
    struct fleet *fleet;
    struct pipeline *pipeline;
    struct upkeep *upkeep;
    struct dispatch *dispatch;
    struct intake *intake; /* NULL: no broker (tests) */
    struct page *page;     /* sessions of the page; NULL until it is first asked */
    const char *store_why; /* why the store fails; "" before it ever did */
    const char *clock_why; /* why the clock is not trusted; NULL or "" while it is */
    bool store_failing;
    bool backlog;          /* not connected, or the broker may still hold readings from before */
    bool reload_refused;   /* the settings on disk are not those in force */
    bool reload_wanted;    /* a request has changed what they name: read them again */
    bool reloading;        /* that is under way */
    uint64_t reloads;      /* how often new settings were taken */
    uint64_t changes;      /* how often a request has changed something */
    int64_t lost_since_ms; /* broker; TIMESTAMP_NONE while connected */
    int64_t started_ms, now_ms;              /* wall; now_ms: of this turn */
    int64_t longest_turn_ms, recent_turn_ms; /* ever; of about the last minute */
    uint64_t turns;
    struct api_list_time lists;
};

/** Is the clock of this machine doubted, so that nothing is taken from the broker? */
static inline bool api_clock_doubted(const struct api *api) {
    return api->clock_why && *api->clock_why;
}

#endif
