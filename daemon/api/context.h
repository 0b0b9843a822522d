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

/** What the API works on: the service's parts, refreshed by the service when they change. */
struct api {
    struct pipeline *pipeline;
    struct upkeep *upkeep;
    struct dispatch *dispatch;
    const struct intake *intake; /* NULL: no broker (tests) */
    const struct fleet *fleet;
    bool store_failing;
    bool backlog; /* the broker may still hold readings from before */
    const char *store_why;
    const char *clock_why; /* why the clock is not trusted; NULL or "" while it is */
    int64_t started_ms, now_ms;
    int64_t longest_turn_ms, recent_turn_ms; /* ever; of about the last minute */
    uint64_t turns;
    struct api_list_time lists;
    int64_t lost_since_ms; /* broker; TIMESTAMP_NONE while connected */
    struct page *page;     /* sessions of the page; NULL until it is first asked */
    uint64_t reloads;      /* how often new settings were taken */
    bool reload_refused;   /* the settings on disk are not those in force */
};

/** Is the clock of this machine doubted, so that nothing is taken from the broker? */
static inline bool api_clock_doubted(const struct api *api) {
    return api->clock_why && *api->clock_why;
}

#endif
