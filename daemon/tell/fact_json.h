/*
 * fact_json: facts of a diagnosis as they are kept with an alarm.
 */
#ifndef DAEMON_TELL_FACT_JSON_H
#define DAEMON_TELL_FACT_JSON_H

#include "diagnosis/diagnosis_fact.h"

#include <jansson.h>

/** A new object, NULL when memory is out. */
json_t *fact_json(const struct diagnosis_fact *fact);
/** False where it is none, such as a sentence of an earlier build. */
bool fact_json_read(const json_t *json, struct diagnosis_fact *fact);

#endif
