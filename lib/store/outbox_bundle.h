/*
 * outbox_bundle: which alarms a message is about, and several waiting messages made into one.
 *
 * A message may be changed, or be taken into a bundle, only while no try has begun (outbox_begun):
 * what an endpoint may have taken under an id never goes again under that id with another body.
 */
#ifndef STORE_OUTBOX_BUNDLE_H
#define STORE_OUTBOX_BUNDLE_H

#include "store/outbox.h"

/** In `alarm` of a message that tells of many: of raises, or of returns. */
enum { OUTBOX_RAISES = -1, OUTBOX_RETURNS = -2 };

/** Notes that a try begins, before it does. */
enum store_status outbox_begun(struct store *store, int64_t row);

/** One alarm of a message: its line in a list and its JSON object. Puts it anew when it is there.
 */
struct outbox_member {
    int64_t alarm;
    const char *line, *data; /* borrowed */
};
enum store_status outbox_member_put(struct store *store, int64_t row,
                                    const struct outbox_member *member);
/** In the order of the alarms; a callback that returns false ends the list. */
enum store_status outbox_members(struct store *store, int64_t row,
                                 bool (*each)(void *context, const struct outbox_member *member),
                                 void *context);

/**
 * Alarms of medium and high priority whose raise has been tried for a contact and still waits, and
 * those of `row`; highest priority first, a thousand at most. A callback as above.
 */
enum store_status outbox_unreached(struct store *store, const char *contact, int64_t row,
                                   bool (*each)(void *context, const struct outbox_member *member),
                                   void *context);

/**
 * A row that no try has begun and that can move to the end of the rows without a system, with no
 * change of order: it waits alone for its system, or nothing else waits behind it there.
 */
struct outbox_untried {
    int64_t row, created_ms, not_before_ms;
    bool bundle;
};
/**
 * Of one contact and a `kind` (OUTBOX_RAISES, …): rows about one alarm, and bundles. A date that
 * has come (subslab.visit.due) is a raise.
 */
enum store_status outbox_untried(struct store *store, const char *contact, int kind, bool high,
                                 struct outbox_untried *rows, size_t capacity, size_t *count);

/** Puts `message` in place of some rows: it gets their alarms, they are deleted. */
enum store_status outbox_merge(struct store *store, const struct outbox_message *message,
                               const struct outbox_untried *rows, size_t count, int64_t *row);

/** Gives a row that was not tried another type and body; its id and place stay. */
enum store_status outbox_replace(struct store *store, int64_t row, const char *type,
                                 const char *content_type, const char *body);

/** What a contact was told of an alarm. Times are those of the messages' writing. */
struct outbox_told {
    int64_t rows;              /* 0: nothing; then the rest is 0 */
    int64_t first_ms, last_ms; /* last: raise, reminder, escalation */
    int64_t raise;             /* the newest row that told of the raise; 0: none */
    bool raise_waits, raise_untried, raise_bundled;
    bool shared;          /* a row about it waits among those without a system */
    int64_t escalated_ms; /* of the newest escalation; 0: none */
};
enum store_status outbox_told(struct store *store, const char *contact, int64_t alarm,
                              struct outbox_told *told);

/** Bundles of a kind for a contact written at or after `since_ms`: how many, and the newest. */
struct outbox_bundles {
    int64_t count, newest_ms, newest_not_before_ms;
    bool newest_untried;
};
enum store_status outbox_bundles(struct store *store, const char *contact, int kind, bool high,
                                 int64_t since_ms, struct outbox_bundles *bundles);

/**
 * Alarms whose return its contact was not told of (nor is about to be), of a bundle of raises and
 * of those written within `near_ms` of it for the same contact.
 */
enum store_status outbox_unreturned(struct store *store, int64_t row, int64_t near_ms,
                                    int64_t *alarms);

/**
 * Must a further message about a system go to the rows without one? So while a message about
 * alarms waits there and none waits for the system itself.
 */
enum store_status outbox_shared(struct store *store, const char *contact, const char *system,
                                bool *shared);

/** Lets a row that no try has begun go no later than `not_before_ms`. */
enum store_status outbox_release(struct store *store, int64_t row, int64_t not_before_ms);

/**
 * Sets aside, as failed with `answer`, the oldest reminders and notes of acknowledgement of a
 * contact, at most `most`, which no try has begun.
 */
enum store_status outbox_thin(struct store *store, const char *contact, int most, int64_t now_ms,
                              const char *answer, int *thinned);

/** The same with whatever of a contact was written before an instant and still waits. */
enum store_status outbox_outdate(struct store *store, const char *contact, int64_t before_ms,
                                 int most, int64_t now_ms, const char *answer, int *outdated);

#endif
