/*
 * api_visits: who needs a visit, when, why, and what to bring; as JSON and as a calendar.
 */
#ifndef DAEMON_API_VISITS_H
#define DAEMON_API_VISITS_H

#include "api/api.h"

#include <jansson.h>

/** All visits that call for planning, most urgent first; NULL when out of memory. */
json_t *api_visits(struct api *api);
/** The visits of one system: none or one. */
json_t *api_visits_of_system(struct api *api, size_t system);
/** The day to plan for of a system's visit; TIMESTAMP_NONE when nothing calls for one yet. */
int64_t api_visits_due_ms(const struct api *api, size_t system);
/** All of them as iCalendar text (RFC 5545); the caller frees. NULL when out of memory. */
char *api_visits_calendar(struct api *api);

/** The newest visit on record as {"on","by","found","did"}, or null. */
json_t *api_visits_last(struct api *api, size_t system);
/** All visits on record, oldest first. */
json_t *api_visits_past(struct api *api, size_t system);

#endif
