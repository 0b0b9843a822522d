#include "api/unclaimed.h"

struct listing {
    const struct api *api;
    bool (*each)(void *context, const struct unclaimed_topic *topic);
    void *context;
};

/* A topic that has been enrolled since stays in the table until others push it out. */
static bool on_row(void *context, const struct record_refused *row) {
    const struct listing *listing = context;
    const struct fleet *fleet = listing->api->fleet;
    struct proposal proposals[PROPOSALS_MAX];
    if (fleet_topic(fleet, row->topic) != FLEET_NONE)
        return true;
    const struct unclaimed_topic topic = {row, proposals,
                                          proposal_list(row->topic, row->example,
                                                        row->example_length, fleet->settings->units,
                                                        proposals, PROPOSALS_MAX)};
    return listing->each(listing->context, &topic);
}

bool unclaimed_each(struct api *api,
                    bool (*each)(void *context, const struct unclaimed_topic *topic),
                    void *context) {
    struct listing listing = {api, each, context};
    struct store *store = pipeline_store(api->pipeline);
    return store && record_unclaimed_list(store, on_row, &listing) == STORE_OK;
}
