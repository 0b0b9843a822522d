/*
 * in_hand: what is being worked on, noted where it outlives the process, so that a message or a
 * task that kills the process is found out and not begun for ever.
 *
 * The note lies in a small file beside the store, mapped and shared: a note is a copy in memory,
 * without a system call, and still there after a kill -9. A power cut may lose it; that is no crash
 * of ours. What was in hand at two deaths is not begun a third time: the owner sets it aside.
 *
 *     in_hand_message   one message is taken: a death is its fault
 *     in_hand_task      one named piece of other work is done: a death is its fault
 *     in_hand_turn      work for all messages of the turn: with one message it is its fault; with
 *                       several nobody knows, so they are taken one a turn after the next start
 *     in_hand_put_down  nothing is in hand: a death is nobody's fault (waiting, pages, the commit)
 *     in_hand_done      the turn is kept
 *
 * All functions take NULL and then note nothing. When the file's pages go away under us (a disk
 * that turned read-only or is full), the notes go on in memory alone.
 */
#ifndef STORE_IN_HAND_H
#define STORE_IN_HAND_H

#include <stdbool.h>
#include <stddef.h>

struct in_hand;

/**
 * Opens STORE.in-hand, or makes it. The caller holds the store's lock. When the last process died
 * with something in hand, that counts as a death, and `story` gets a sentence about it (else "").
 * NULL when there can be no such file; then `story` says why.
 */
struct in_hand *in_hand_open(const char *store_path, char *story, size_t story_size);
/** An orderly end: nothing is in hand any more. */
void in_hand_close(struct in_hand *hand);

/** False: it was in hand at two deaths; set it aside. A message is known by its topic, its length
 * and its first 1000 bytes. */
bool in_hand_message(struct in_hand *hand, const char *topic, const void *payload, size_t length);
/** The same for other work, by its name, in which the subject stands. */
bool in_hand_task(struct in_hand *hand, const char *name);
void in_hand_turn(struct in_hand *hand);
void in_hand_put_down(struct in_hand *hand);
void in_hand_done(struct in_hand *hand);

/** What is in hand failed as it would by a death (memory was short); the same sentence in `story`.
 */
void in_hand_failed(struct in_hand *hand, char *story, size_t story_size);

/** Of a system that is forgotten nothing is left in the notes: `word` is its id. */
void in_hand_forget(struct in_hand *hand, const char *word);

/** How many messages a turn may take: `most`, or one while a culprit is looked for. */
size_t in_hand_most(const struct in_hand *hand, size_t most);

#endif
