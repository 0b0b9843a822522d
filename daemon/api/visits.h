/*
 * api_visits: who needs a visit, when, why, and what to bring; as JSON and as a calendar.
 */
#ifndef DAEMON_API_VISITS_H
#define DAEMON_API_VISITS_H

#include "api/planned_visit.h"
#include "api/routes.h"

/** All visits that call for planning, most urgent first; `limit` and `before` (a visit's id) choose
 * a page of them. */
void api_visits_list(struct api_call *call);
/** All of them as iCalendar text (RFC 5545). */
void api_visits_calendar(struct api_call *call);

/** The visits of one system: none or one. */
json_t *api_visits_of_system(struct api *api, size_t system, size_t language);
/** The day to plan for of a system's visit; TIMESTAMP_NONE when nothing calls for one yet. */
int64_t api_visits_due_ms(const struct api *api, size_t system);

/** The newest visit on record as {"on","by","found","did"}, or null. */
json_t *api_visits_last(struct api *api, size_t system);
/** All visits on record, oldest first. */
json_t *api_visits_past(struct api *api, size_t system);

#endif
