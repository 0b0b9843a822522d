/*
 * alarm_book: the alarms that are open, what people do with them, and who must be told what.
 *
 * There is at most one open alarm for a (system, point, condition); a recurrence closes the
 * returned one before it. A raise is told once, when it is certain to stand (see alarm_book_tell);
 * one that returns before it was told becomes a line of history. What a standing cause explains is
 * suppressed by design (the `suppresses` column of the conditions). Pure.
 */
#ifndef MONITOR_ALARM_BOOK_H
#define MONITOR_ALARM_BOOK_H

#include "alarm/alarm.h"
#include "monitor/fleet_change.h"

struct alarm_book;

struct alarm_book *alarm_book_create(const struct fleet *fleet);
void alarm_book_destroy(struct alarm_book *book); /* NULL does nothing */

/** Takes over a stored open alarm (the struct is copied, its strings change hands). */
bool alarm_book_load(struct alarm_book *book, const struct alarm *alarm);
/** All are loaded: finds anew which of them a standing cause explains. The state in the store does
    not tell, for out of service or shelved hides it. */
void alarm_book_loaded(struct alarm_book *book);
/** Numbers go on after this one. */
void alarm_book_number_from(struct alarm_book *book, int64_t highest_id);
/** The highest number that it gave or was told. */
int64_t alarm_book_highest(const struct alarm_book *book);

/**
 * A condition holds: opens an alarm with the given facts (system, point, condition, priority,
 * since, raised, value, setpoint, baseline; subject is taken over in any case). Returns it, or the
 * one that stands already and stays as it is; NULL when out of memory. Owned by the book.
 */
struct alarm *alarm_book_raise(struct alarm_book *book, const struct alarm *facts);
/** The standing alarm of a condition, NULL when none stands. */
struct alarm *alarm_book_standing(const struct alarm_book *book, size_t system, size_t point,
                                  enum condition condition);
/** The condition is over; does nothing when no alarm stands. */
void alarm_book_return(struct alarm_book *book, size_t system, size_t point,
                       enum condition condition, int64_t at_ms);

/**
 * New settings no longer watch for an open alarm: it is closed with a note. Those who were told
 * that it stands are told so. False when out of memory.
 */
bool alarm_book_unwatch(struct alarm_book *book, struct alarm *alarm, int64_t now_ms);

/** Room for the alarms that a new book has besides, before alarm_book_take_over; false: no memory.
 */
bool alarm_book_reserve(struct alarm_book *book, size_t more);
/**
 * Moves all alarms of a book of the former settings to a new one, which has none but those that
 * were loaded for systems that are new. Those whose place is gone must have been closed and
 * written.
 */
void alarm_book_take_over(struct alarm_book *book, struct alarm_book *former,
                          const struct fleet_change *change);

/** An occurrence already over that nobody was told of: one line of history. */
bool alarm_book_history(struct alarm_book *book, const struct alarm *facts, int64_t returned_ms);

/** The standing alarm that explains another, one that nothing explains in turn where there is one;
 * NULL: none does. */
const struct alarm *alarm_book_cause(const struct alarm_book *book, const struct alarm *effect);

struct alarm *alarm_book_find(const struct alarm_book *book, int64_t id);
size_t alarm_book_count(const struct alarm_book *book);
/** i-th open alarm by number, the lowest first (also some that are closed and not yet written: ask
 * alarm_open). */
const struct alarm *alarm_book_at(const struct alarm_book *book, size_t i);
/** The same for changing; tell the book with alarm_book_touch. */
struct alarm *alarm_book_get(struct alarm_book *book, size_t i);
/** First alarm of a system (FLEET_NONE: of the fleet and the daemon); go on with next_of_system. */
const struct alarm *alarm_book_of_system(const struct alarm_book *book, size_t system);
/** Marks an alarm as changed from outside (details, reminders). */
void alarm_book_touch(struct alarm_book *book, struct alarm *alarm);

/** What people do. Strings are copied. False when out of memory. */
bool alarm_book_acknowledge(struct alarm_book *book, struct alarm *alarm, const char *by,
                            const char *note, int64_t now_ms);
bool alarm_book_shelve(struct alarm_book *book, struct alarm *alarm, int64_t until_ms,
                       const char *by, const char *why);
/** Ends a shelving: what still stands asks for acknowledgement again. */
void alarm_book_unshelve(struct alarm_book *book, struct alarm *alarm);
/** A system goes out of service or returns: its alarms follow. */
void alarm_book_set_out_of_service(struct alarm_book *book, size_t system, bool out);

/** Ends the shelvings whose time is over. Returns the next such instant, INT64_MAX: none. */
int64_t alarm_book_expire(struct alarm_book *book, int64_t now_ms);

enum alarm_notice { ALARM_NOTICE_RAISED, ALARM_NOTICE_RETURNED };

struct alarm_book_listener {
    void *context;
    /** May a raise be told now? Else it waits, a minute at most. Not asked for returns. */
    bool (*ready)(void *context, const struct alarm *alarm);
    void (*tell)(void *context, struct alarm *alarm, enum alarm_notice notice);
};
/** Tells what waits to be told. True when a raise still waits. */
bool alarm_book_tell(struct alarm_book *book, int64_t now_ms,
                     const struct alarm_book_listener *listener);

/** Is there a changed alarm to write? */
bool alarm_book_changed(const struct alarm_book *book);
/**
 * Hands every changed alarm to `put`, then forgets the closed ones. Stops and returns false when
 * `put` does.
 */
bool alarm_book_flush(struct alarm_book *book,
                      bool (*put)(void *context, const struct alarm *alarm), void *context);

#endif
