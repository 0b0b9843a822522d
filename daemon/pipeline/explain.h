/*
 * explain: what probably causes an alarm, put into its details before anybody is told.
 */
#ifndef DAEMON_PIPELINE_EXPLAIN_H
#define DAEMON_PIPELINE_EXPLAIN_H

#include "alarm/alarm.h"
#include "diagnosis/diagnosis.h"
#include "pipeline/monitor_memory.h"

/**
 * Beside the cause: of radon-above-action, standing or over, the mean that its verdict is from.
 *
 * Fills alarm->details (the JSON that announce reads) of a standing alarm whose condition has a
 * cause in the system and that has no details yet, or none that name a cause: what could not be
 * told apart from the usual variation may be clearer now. Anything that fails leaves them as they
 * are: an alarm without an explanation is better than none.
 */
void explain_alarm(struct monitor_memory *memory, struct alarm *alarm);

/**
 * A diagnosis as the JSON that an alarm carries: {"cause","confidence","evidence":[…],"check":[…],
 * "bring":[…]}. The caller frees; NULL when out of memory.
 */
char *explain_json(const struct diagnosis *diagnosis);

#endif
