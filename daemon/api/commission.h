/*
 * commission: commissioning records, kept as JSON in SI.
 */
#ifndef DAEMON_API_COMMISSION_H
#define DAEMON_API_COMMISSION_H

#include "api/answer.h"

/** Keeps a record within the caller's transaction; its baselines hold from its date on. */
enum store_status commission_add(struct api *api, size_t system,
                                 const struct commissioning *record);
/** Checks and keeps the text of a record (YAML, or JSON, which is YAML), and answers; `file` names
    it in errors. */
void commission_text(struct api_call *call, size_t system, const char *file, const char *text,
                     size_t length);
/**
 * From when on what was measured at `on_ms` holds: a day begins at midnight, but what has been put
 * on record within that day came first.
 */
int64_t commission_since(const struct api *api, size_t system, int64_t on_ms);
/** The words of what work changed, as a list. */
json_t *commission_changes(unsigned changes);

#endif
