/*
 * ctl_shards: one list over several daemons, each named by its --settings. Rows keep their daemon's
 * order where `compare` finds them alike; each gets "settings", the file of its daemon.
 */
#ifndef DAEMON_TOOL_SHARDS_H
#define DAEMON_TOOL_SHARDS_H

#include "tool/ctl_client.h"

/** Below 0: row a comes before row b. */
typedef int ctl_row_order(const json_t *a, const json_t *b);

/** Were several --settings given? */
bool ctl_shards_many(const struct ctl *ctl);
/** What people call the daemon of a row, "north" of /etc/subslabd/north.yaml; at most size - 1
 * bytes. */
const char *ctl_shards_name(const json_t *row, char *text, size_t size);
/** As ctl_get_json, of each daemon in turn where there are many; CTL_FAILED also when one of them
   did not answer: then the list holds the others' rows. `limit` NULL: all rows. */
enum ctl_status ctl_shards_get(struct ctl *ctl, const char *path, const char *limit,
                               ctl_row_order *compare, json_t **root);
/** Orders by a time of RFC 3339, the earliest first; rows without it last. */
int ctl_shards_earlier(const json_t *a, const json_t *b, const char *key);

#endif
