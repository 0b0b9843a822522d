/*
 * api_show: everything known of one system as one object; and baselines learned from a period.
 */
#ifndef DAEMON_API_SHOW_H
#define DAEMON_API_SHOW_H

#include "api/context.h"

#include <jansson.h>

/**
 * The object of `show --json`, messages, evidence and lists in a language. A number that can't be
 * computed is null with `why` in the same object. NULL when out of memory.
 */
json_t *api_show(struct api *api, size_t system, size_t language);

/**
 * Learns the baselines of a system from the local days that lie whole in [from, to) and keeps them
 * as a record of origin "learned", from `from_ms` on, in the turn's transaction. Answers
 * {"points":{id:{value,unit,days}},"refused":{id:why}}. Nothing is kept when every point is
 * refused. A failing store goes to pipeline_note. NULL when out of memory.
 */
json_t *api_learn(struct api *api, size_t system, int64_t from_ms, int64_t to_ms, const char *by,
                  int64_t now_ms);

#endif
