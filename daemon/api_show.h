/*
 * api_show: everything known of one system, and baselines learned from a period.
 */
#ifndef DAEMON_API_SHOW_H
#define DAEMON_API_SHOW_H

#include "api.h"

#include <jansson.h>

/** The object of `show --json`; a number that can't be computed is null with a `why` beside it. */
json_t *api_show(struct api *api, size_t system);

/**
 * Learns baselines from the readings of [from, to) and keeps them as a record of origin "learned",
 * within the turn: {"points":{…}, "refused":{ID: why}}.
 */
json_t *api_learn(struct api *api, size_t system, int64_t from_ms, int64_t to_ms, const char *by,
                  int64_t now_ms);

#endif
