/*
 * unclaimed: topics that no point claims, newest first, each with what its last message may be.
 */
#ifndef DAEMON_API_UNCLAIMED_H
#define DAEMON_API_UNCLAIMED_H

#include "api/context.h"
#include "measure/proposal.h"
#include "store/records.h"

struct unclaimed_topic {
    const struct record_refused *row; /* its example is the last message */
    const struct proposal *proposals;
    size_t proposal_count;
};

/** Calls `each` (false: enough) for every topic; all is borrowed until it returns. False when the
    store can't be read. */
bool unclaimed_each(struct api *api,
                    bool (*each)(void *context, const struct unclaimed_topic *topic),
                    void *context);

#endif
