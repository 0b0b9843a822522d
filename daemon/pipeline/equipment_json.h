/*
 * equipment_json: the fans of a record or a visit as they are kept in its text: a list of {branch,
 * model, serial, installed, warranty_until, why}, dates as dates.
 */
#ifndef DAEMON_PIPELINE_EQUIPMENT_JSON_H
#define DAEMON_PIPELINE_EQUIPMENT_JSON_H

#include "settings/equipment.h"

#include <jansson.h>

/** The list, the caller's; NULL when there is none. */
json_t *equipment_json(const struct equipment_list *list);
/** One of the list, borrowing its texts from `json`. False when it names no branch or model. */
bool equipment_json_read(const json_t *json, struct equipment *equipment);
/** A day as "2025-09-30"; null for TIMESTAMP_NONE. */
json_t *equipment_json_day(int64_t day);

#endif
