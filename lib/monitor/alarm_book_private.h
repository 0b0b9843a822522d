/*
 * alarm_book_private: the body of an alarm book, shared by alarm_book.c and alarm_book_people.c
 * (what people do with alarms). Not for anybody else.
 */
#ifndef MONITOR_ALARM_BOOK_PRIVATE_H
#define MONITOR_ALARM_BOOK_PRIVATE_H

#include "alarm/patience.h"
#include "monitor/alarm_book.h"

/* Alarms stand in one array by their numbers, and for look-ups in a list per system (the last one
   is the fleet's and the daemon's), so that a whole region going silent stays linear. */
struct alarm_book {
    const struct fleet *fleet;
    struct alarm **alarms;
    struct alarm **heads;
    struct patience *patience; /* per system, and one more as of the lists */
    size_t count;
    int64_t highest_id;
    bool changed;
};

static inline size_t alarm_book_list(const struct alarm_book *book, size_t system) {
    return system == FLEET_NONE ? book->fleet->system_count : system;
}

static inline struct alarm **alarm_book_head(const struct alarm_book *book, size_t system) {
    return &book->heads[alarm_book_list(book, system)];
}

static inline struct patience *alarm_book_patience(const struct alarm_book *book, size_t system) {
    return &book->patience[alarm_book_list(book, system)];
}

#endif
