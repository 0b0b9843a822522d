/*
 * page_share: links that show one system to its homeowner without an account.
 *
 * A link is "ID.MAC", MAC = HMAC-SHA256(secret of the store, "share" NUL ID NUL number), 192 bits
 * of it as URL-safe text. The first number is drawn by chance and kept beside it; withdrawing a
 * link takes the number out of force for good, so the next link of that system is another one.
 * Guessing one of 2^192 is no way in, and nothing of the store tells the links but the secret.
 */
#ifndef DAEMON_PAGE_SHARE_H
#define DAEMON_PAGE_SHARE_H

#include "monitor/fleet.h"
#include "store/store.h"

#include <stdbool.h>
#include <stddef.h>

#define PAGE_SHARE_SIZE 256

/** The link in force for a system; false when it has none (or the store fails). */
bool page_share_current(struct store *store, const char *system, char token[PAGE_SHARE_SIZE]);
/** Puts a new link in force, within the turn's transaction. The one before no longer works. */
enum store_status page_share_create(struct store *store, const char *system);
/** Takes the link out of force, within the turn's transaction. */
enum store_status page_share_withdraw(struct store *store, const char *system);
/** The system that a link shows; FLEET_NONE when it is none in force. */
size_t page_share_find(struct store *store, const struct fleet *fleet, const char *token);

#endif
