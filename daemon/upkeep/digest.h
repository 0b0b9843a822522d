/*
 * digest: one short message a day or a week: which systems are not as they should be, since when,
 * what is shelved or out of service, and which visits are due.
 */
#ifndef DAEMON_UPKEEP_DIGEST_H
#define DAEMON_UPKEEP_DIGEST_H

#include "pipeline/pipeline.h"

#include <stdbool.h>

/** Writes it for a contact; with nothing to tell only a weekly one is written. */
enum store_status digest_write(struct pipeline *pipeline, const struct settings_contact *contact,
                               bool weekly, int64_t now_ms);

#endif
