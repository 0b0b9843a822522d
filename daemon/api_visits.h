/*
 * api_visits: which systems need somebody, why, when, and what to bring.
 */
#ifndef DAEMON_API_VISITS_H
#define DAEMON_API_VISITS_H

#include "api.h"

#include <jansson.h>

/** The array of `visits --json`, most urgent first. */
json_t *api_visits(struct api *api);

/** The same as calendar text (RFC 5545); the caller frees. NULL when out of memory. */
char *api_visits_calendar(struct api *api);

#endif
