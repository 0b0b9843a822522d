/*
 * reminder: when people are told again of what they were told already, and when a digest comes.
 * Pure: what was told when comes in, what to do now and when to ask again goes out.
 */
#ifndef ALARM_REMINDER_H
#define ALARM_REMINDER_H

#include "alarm/alarm.h"
#include "measure/time_zone.h"

/** An alarm as one contact knows it. */
struct reminder {
    int64_t first_ms;          /* when the contact was first told, after its quiet hours */
    int64_t last_ms;           /* when it was last told or reminded */
    int64_t every_ms;          /* between reminders; 0: none */
    int64_t escalate_after_ms; /* 0: to nobody */
    bool escalated;            /* the next contact has been told for this */
    bool undelivered;          /* the contact does not even have the raise yet */
};

struct reminder_decision {
    bool remind, escalate;
    int64_t next_ms; /* when to ask again; INT64_MAX: not before something changes */
};

/**
 * Decides about a contact. Reminders and escalation end for everybody with an acknowledgement by
 * anybody, and rest while the alarm is shelved, suppressed or out of service, or has returned.
 * A contact that cannot be reached gets no reminder, but the next one is told in time all the same.
 */
struct reminder_decision reminder_decide(const struct alarm *alarm, const struct reminder *reminder,
                                         int64_t now_ms);

/**
 * Is it time to say that a shelving or a time out of service ends, one day before it does? Once
 * (`reminded_ms`: when that was last said, or TIMESTAMP_NONE), and not when that day began more
 * than an hour ago: then it was shorter than a day, or nobody watched; its end is told anyway.
 */
bool reminder_end_is_near(int64_t until_ms, int64_t reminded_ms, int64_t now_ms);

/** First 08:00 local time after an instant; `weekly`: of a Monday. */
int64_t reminder_digest_at(const struct time_zone *zone, bool weekly, int64_t after_ms);

#endif
