/*
 * fleet_index: all systems worst first, with the day on which each needs somebody, kept for those
 * who look at the list one screen at a time. It is made in pieces of some thousand systems, and
 * made anew when it is older than its making is worth: so no request costs a walk through a large
 * fleet, and a small one is always as it is now.
 */
#ifndef DAEMON_PAGE_FLEET_INDEX_H
#define DAEMON_PAGE_FLEET_INDEX_H

#include "api/context.h"

/** When somebody is needed: what is nearer counts. */
enum fleet_need { FLEET_NEED_NONE, FLEET_NEED_TODAY, FLEET_NEED_WEEK, FLEET_NEED_SEASON };
#define FLEET_NEEDS 4
#define FLEET_STATUSES 5

struct fleet_row {
    uint32_t system;
    uint8_t status; /* enum monitor_status */
    uint8_t need;   /* enum fleet_need */
    uint16_t order; /* the lower, the worse */
};

/** Starts as {0}. */
struct fleet_index {
    struct fleet_row *rows; /* worst first, once complete */
    size_t count, placed;   /* systems of the fleet; of these looked at so far */
    uint64_t reloads;       /* settings that it is of */
    int64_t made_ms;        /* monotonic: when it was complete; 0: it is not */
    size_t tally[FLEET_STATUSES], needs[FLEET_NEEDS];
};

enum fleet_index_state { FLEET_INDEX_MORE, FLEET_INDEX_READY, FLEET_INDEX_FAILED };
/** Goes on with it; READY: it is complete and not too old. FAILED: memory is out. */
enum fleet_index_state fleet_index_advance(struct fleet_index *index, const struct api *api);
void fleet_index_clear(struct fleet_index *index);

/** "today", "week", "season"; "" for none. */
const char *fleet_need_word(enum fleet_need need);

#endif
