/*
 * alarm_group: open alarms that one visit ends: those of one system with the same likely cause, and
 * those that a standing alarm explains. The most urgent one leads; the others stand below it.
 */
#ifndef DAEMON_PAGE_ALARM_GROUP_H
#define DAEMON_PAGE_ALARM_GROUP_H

#include "monitor/alarm_book.h"

#include <stdbool.h>
#include <stddef.h>

#define ALARM_GROUP_MOST 20

struct alarm_group {
    const struct alarm *members[ALARM_GROUP_MOST]; /* the leader first, then those of its cause */
    size_t count, of_cause;                        /* those kept; of these, with the same cause */
    size_t total;
};

/** Higher priority first, then the one that was raised first, then the lower number. As qsort's. */
int alarm_group_order(const struct alarm *one, const struct alarm *other);
/** The alarm of whose group an open alarm is: itself, where no other leads it. */
const struct alarm *alarm_group_leader(const struct alarm_book *book, const struct alarm *alarm);
/** The group of an alarm that leads. */
struct alarm_group alarm_group_of(const struct alarm_book *book, const struct alarm *leader);

#endif
