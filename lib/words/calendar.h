/*
 * calendar: visits as an iCalendar text (RFC 5545) that any calendar program can subscribe to.
 *
 * CRLF line ends; lines folded at 75 octets, never inside a UTF-8 character (3.1); text values
 * escaped (3.3.11); DTSTAMP and date-times in UTC (3.3.5). All-day events have DATE values and an
 * exclusive DTEND (3.6.1). Text that is not UTF-8 has its bad bytes replaced by U+FFFD; control
 * characters other than line breaks and tabs are left out (3.1 forbids them).
 *
 * Pure; memory trouble is the text buffer's to tell.
 */
#ifndef WORDS_CALENDAR_H
#define WORDS_CALENDAR_H

#include "words/text_buffer.h"
#include "words/visit.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/** Strings are borrowed; those that may be NULL are left out of the text then. */
struct calendar_event {
    const char *uid; /* the same in every publication of the same event */
    const char *summary;
    const char *description, *location, *categories; /* or NULL; categories: one category */
    bool all_day;
    int64_t start_day, end_day; /* all_day: days since 1970-01-01, end exclusive */
    int64_t start_ms, end_ms;   /* else: instants, end after start */
    int64_t created_ms;         /* TIMESTAMP_NONE: left out */
    unsigned sequence;          /* never falls while the uid lives; see calendar_sequence */
    int priority;               /* 1 highest to 9, 0: left out (RFC 5545, 3.8.1.9) */
};

/* A calendar is its beginning, any number of events, and its end. */

/** `name` (or NULL) becomes NAME (RFC 7986). */
void calendar_begin(struct text_buffer *text, const char *name);
/** An event with an empty uid or an end not after its start is a bug of the caller (assert). */
void calendar_add_event(struct text_buffer *text, const struct calendar_event *event,
                        int64_t now_ms);
void calendar_end(struct text_buffer *text);

/**
 * A SEQUENCE for an event as it stands at that time, for publishers that keep no count: minutes
 * since 2020, so it never falls (3.8.7.4 asks for no more).
 */
unsigned calendar_sequence(int64_t changed_ms);

/**
 * A visit as an all-day event on the day to plan for, in the system's own zone. UID: the visit's id
 * @ `domain` ("birch-lane-12-first@subslabd"). SEQUENCE is that of the visit's `changed_ms`.
 */
void calendar_add_visit(struct text_buffer *text, const struct visit *visit, const char *domain,
                        int64_t now_ms);

#endif
