/*
 * replaced: which fan stood in its place before one that a record or a visit put in.
 */
#ifndef DAEMON_API_REPLACED_H
#define DAEMON_API_REPLACED_H

#include "api/context.h"

#include <jansson.h>

/** The fan before; what is not known of it is NULL. */
struct replaced_fan {
    const char *model, *serial; /* borrowed from the fleet and the monitor */
};

/** `fan`: one of a record's `equipment` of `record_ms`. False: nothing is known of one before. */
bool replaced_fan(const struct api *api, size_t system, const json_t *fan, int64_t record_ms,
                  struct replaced_fan *before);

#endif
