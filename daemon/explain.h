/*
 * explain: what probably causes an alarm, put into its details before anybody is told.
 */
#ifndef DAEMON_EXPLAIN_H
#define DAEMON_EXPLAIN_H

#include "alarm/alarm.h"
#include "pipeline.h"

/**
 * Fills alarm->details (the JSON that announce reads) of a standing alarm that has none and whose
 * condition has a cause in the system. Anything that fails leaves them NULL: an alarm without an
 * explanation is better than none.
 */
void explain_alarm(struct pipeline *pipeline, struct alarm *alarm);

#endif
