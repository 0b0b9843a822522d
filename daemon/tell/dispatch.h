/*
 * dispatch: waiting rows of the outbox to webhooks, and answers back to their rows.
 *
 * A row is done only after a 2xx answer. One POST a contact at a time, order kept per contact and
 * system, so a contact that hangs delays nobody else. That a try begins is on disk before it does:
 * from then on the row is never changed, so the same id always carries the same body.
 *
 * A contact whose endpoint answers 410 is gone: nothing more is sent to it until the settings are
 * read again or somebody asks for it (dispatch_resume). `at_most_every` holds back all but high
 * priority.
 */
#ifndef DAEMON_TELL_DISPATCH_H
#define DAEMON_TELL_DISPATCH_H

#include "link/delivery.h"
#include "monitor/monitor.h"
#include "store/store_turn.h"
#include "tell/announce.h"

struct dispatch;

/**
 * Reads the secrets of all contacts (borrowed fleet). NULL with a sentence in `why` when one cannot
 * be read or is open to everybody.
 */
struct dispatch *dispatch_open(const struct fleet *fleet, char *why, size_t why_size);
/**
 * Takes new settings (their contacts are told by their ids): reads all secrets anew; what is under
 * way goes on, pauses and how contacts fare are remembered, one that was gone is tried again. False
 * with a sentence in `why`: a secret cannot be read, nothing has changed.
 */
bool dispatch_take_settings(struct dispatch *dispatch, const struct fleet_change *change, char *why,
                            size_t why_size);
/** Gives up what is under way; it will be sent again. NULL does nothing. */
void dispatch_close(struct dispatch *dispatch);

/** For the wait of the loop. */
struct delivery *dispatch_delivery(struct dispatch *dispatch);

/** The clock on the wall was moved: pauses that endpoints asked for follow it. */
void dispatch_clock_moved(struct dispatch *dispatch, int64_t by_ms);

/**
 * Takes in answers and notes them in the turn's transaction; then tells the monitor which contacts
 * fail, and the others what did not reach them. When the turn is not kept the rows wait and will be
 * sent again with the same id.
 */
void dispatch_finish(struct dispatch *dispatch, struct store_turn *turn, struct announce *announce,
                     struct monitor *monitor, int64_t now_ms);
/**
 * Chooses what is due, one row a contact, and notes in the turn's transaction that their tries
 * begin. Returns when to call again at the latest (wall clock). When the turn is kept call
 * dispatch_send, else dispatch_drop.
 */
int64_t dispatch_choose(struct dispatch *dispatch, struct store_turn *turn, int64_t now_ms);
/** Posts what was chosen. */
void dispatch_send(struct dispatch *dispatch, int64_t now_ms);
void dispatch_drop(struct dispatch *dispatch);

/** Posts a message that cannot be stored, because the store is what fails. */
void dispatch_unstored(struct dispatch *dispatch, const struct settings_contact *contact,
                       const char *id, const char *content_type, const char *body, int64_t now_ms);

/** Tries a contact again that answered 410. Ids that no contact has do nothing. */
void dispatch_resume(struct dispatch *dispatch, const char *contact);

enum dispatch_health { DISPATCH_UNTRIED, DISPATCH_WORKS, DISPATCH_FAILING, DISPATCH_GONE };
/** How the messages of the i-th contact fare since the settings were read. */
enum dispatch_health dispatch_health(const struct dispatch *dispatch, size_t contact);

struct dispatch_counters {
    uint64_t posts, sent, retried, failed;
};
struct dispatch_counters dispatch_count(const struct dispatch *dispatch);
/** POSTs under way. */
size_t dispatch_under_way(const struct dispatch *dispatch);

#endif
