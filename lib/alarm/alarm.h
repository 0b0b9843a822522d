/*
 * alarm: one occurrence of a condition and its state in the sense of ISA-18.2 / IEC 62682.
 *
 * The state is derived, never stored beside its causes: out of service hides shelved, shelved hides
 * suppressed by design, and below these the pair (stands, acknowledged) gives the rest. So no
 * sequence of commands can leave an alarm in a state that contradicts its facts. Pure.
 */
#ifndef ALARM_ALARM_H
#define ALARM_ALARM_H

#include "alarm/condition.h"
#include "measure/timestamp.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum alarm_state {
    ALARM_NORMAL,
    ALARM_UNACKNOWLEDGED,
    ALARM_ACKNOWLEDGED,
    ALARM_RETURNED_UNACKNOWLEDGED,
    ALARM_SHELVED,
    ALARM_SUPPRESSED_BY_DESIGN,
    ALARM_OUT_OF_SERVICE
};

#define ALARM_NO_INDEX SIZE_MAX

/** Somebody has taken it on. Texts are owned. */
struct alarm_acknowledgement {
    int64_t time_ms; /* TIMESTAMP_NONE: nobody has */
    char *by, *note; /* the note may also tell what has become of it */
};

/** Somebody has silenced it for a while. Texts are owned. */
struct alarm_shelving {
    int64_t until_ms; /* TIMESTAMP_NONE: not shelved */
    char *by, *why;
};

struct alarm {
    int64_t id;
    size_t system, point; /* fleet indexes; ALARM_NO_INDEX where the scope is wider */
    char *subject;        /* delivery-failing: the contact, store-damaged: the file; or NULL */
    enum condition condition;
    enum priority priority;
    int64_t since_ms, raised_ms, returned_ms; /* returned: TIMESTAMP_NONE while it stands */
    double value, setpoint;                   /* SI; NaN: none */
    double baseline;                          /* SI; NaN: none */
    double returned_value;                    /* SI: the value that ended it; NaN: none */
    struct alarm_acknowledgement acknowledged;
    struct alarm_shelving shelved;
    bool suppressed;     /* by design: a cause that explains it stands */
    bool out_of_service; /* its system is */
    bool told;           /* the raise is in the outbox */
    bool return_told;    /* so is the return */
    bool changed;        /* since it was last written to the store */
    bool history;        /* came and went before anybody was told: needs no acknowledgement */
    bool unwatched;      /* ended by new settings, not seen to end: the same */
    int64_t reminded_ms, escalated_ms;
    int64_t hold_until_ms; /* event time before which it is not told: its cause has just returned */
    int64_t waits_since_ms;       /* when it was first held back; TIMESTAMP_NONE: not yet */
    int64_t next_reminder_ms;     /* memory only: when to look whether one is due; 0: now */
    char *details;                /* JSON text of diagnosis, check, bring; or NULL */
    struct alarm *next_of_system; /* the alarm book's list */
};

bool alarm_stands(const struct alarm *alarm);
enum alarm_state alarm_state(const struct alarm *alarm);
/** "returned unacknowledged" and so on, as in the contract. */
const char *alarm_state_word(enum alarm_state state);
/** Is it in the list of open alarms? Not once it has returned and is acknowledged. */
bool alarm_open(const struct alarm *alarm);
/** May a message about it go to people now? Not while shelved, suppressed or out of service. */
bool alarm_annunciates(const struct alarm *alarm);

/** Frees the strings inside. */
void alarm_clear(struct alarm *alarm);

#endif
