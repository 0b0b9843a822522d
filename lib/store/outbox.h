/*
 * outbox: messages to people that wait or went. A row is written in the transaction of the alarm
 * change that caused it, and is done only after a 2xx answer. Order is kept per contact and system:
 * outbox_due never hands out a row while an earlier row of the same contact and system waits.
 */
#ifndef STORE_OUTBOX_H
#define STORE_OUTBOX_H

#include "store/store.h"

enum outbox_state { OUTBOX_WAITING, OUTBOX_SENT, OUTBOX_FAILED };

struct outbox_message {
    int64_t row;         /* order of creation */
    char id[40];         /* event id = webhook-id, the same at every try */
    const char *contact; /* borrowed on insert; owned by the row set on read */
    const char *system;  /* "" for fleet and daemon */
    const char *type;    /* "subslab.alarm.raised" */
    const char *content_type;
    const char *body; /* exact bytes to send */
    int64_t alarm;    /* alarm number, 0: none, below 0: many (outbox_bundle.h) */
    int priority;     /* enum priority: high overtakes waiting of other systems */
    int64_t created_ms;
    int64_t not_before_ms; /* quiet hours, or the next try */
    enum outbox_state state;
    int tries;
    int64_t done_ms;         /* 0 while waiting */
    const char *last_answer; /* "204", "connection refused", … or NULL */
};

enum store_status outbox_insert(struct store *store, const struct outbox_message *message,
                                int64_t *row);

/**
 * Rows due at `now_ms`, at most `capacity`, high priority first, at most one per (contact, system),
 * none of the contacts in `busy` (borrowed ids). Free each with outbox_message_free. Within one
 * priority every contact has its turn before any has a second one.
 */
enum store_status outbox_due(struct store *store, int64_t now_ms, const char *const *busy,
                             size_t busy_count, struct outbox_message **messages, size_t capacity,
                             size_t *count);
void outbox_message_free(struct outbox_message *message);

/**
 * Earliest not_before of the waiting rows that may go next, the first of each contact and system;
 * INT64_MAX when none waits. (What stands behind another row cannot go before it.) A row whose
 * contact is busy counts too.
 */
enum store_status outbox_next(struct store *store, int64_t *not_before_ms);

/** One row by its number; STORE_NOT_FOUND. Free with outbox_message_free. */
enum store_status outbox_get(struct store *store, int64_t row, struct outbox_message **message);
/** One row by its event id; STORE_NOT_FOUND. */
enum store_status outbox_find(struct store *store, const char *id, struct outbox_message **message);

enum store_status outbox_sent(struct store *store, int64_t row, int64_t now_ms, const char *answer);
enum store_status outbox_retry(struct store *store, int64_t row, int64_t not_before_ms,
                               const char *answer);
enum store_status outbox_failed(struct store *store, int64_t row, int64_t now_ms,
                                const char *answer);
/**
 * Makes the waiting rows of a contact and system go no later than `not_before_ms`: for what quiet
 * hours held back and a message of high priority now stands behind.
 */
enum store_status outbox_hasten(struct store *store, const char *contact, const char *system,
                                int64_t not_before_ms);
/** By the event id, a row that waits is due at once: makes a failed or sent row wait again.
 * STORE_NOT_FOUND when there is none. */
enum store_status outbox_again(struct store *store, const char *id, int64_t now_ms);

/** Makes the earliest waiting row of a contact and system the one that may go; for this folder. */
enum store_status outbox_mark_head(struct store *store, const char *contact, const char *system);

/**
 * Newest rows first, those before a row (0: from the newest on), optionally only failed ones;
 * *messages is an array to be freed one by one.
 */
enum store_status outbox_list(struct store *store, bool only_failed, int64_t before_row,
                              struct outbox_message **messages, size_t capacity, size_t *count);

/** Counts per state, for metrics: array of 3 indexed by enum outbox_state. */
enum store_status outbox_counts(struct store *store, int64_t counts[3]);

/** Waiting rows of one contact, and the time the oldest has waited since (0: none). */
enum store_status outbox_waiting(struct store *store, const char *contact, int64_t *rows,
                                 int64_t *oldest_ms);

/** When the newest row was written; STORE_NOT_FOUND: there is none. */
enum store_status outbox_newest(struct store *store, int64_t *created_ms);
/**
 * The clock that the newest rows were written by was ahead, by `ahead_ms`, and is right now: they
 * are put back, and so are tries that it put off. Quiet hours stay what they were.
 */
enum store_status outbox_clock_back(struct store *store, int64_t now_ms, int64_t ahead_ms);

/** Forgets rows sent or failed before an instant, at most `most`. */
enum store_status outbox_expire(struct store *store, int64_t before_ms, int most, int *deleted);

#endif
