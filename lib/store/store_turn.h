/*
 * store_turn: the transaction of one turn of the loop. Whoever writes first opens it, everybody who
 * writes notes how that went, and its one owner ends it: with the first failure nothing is kept.
 */
#ifndef STORE_STORE_TURN_H
#define STORE_STORE_TURN_H

#include "store/store.h"

struct store_turn {
    struct store *store; /* borrowed; NULL: closed by its owner */
    bool open;           /* something is uncommitted */
    enum store_status
        failed; /* the first failure; it stays, for the memory is ahead of the store */
};

/** Opens the transaction if it is not open. False: something has failed, so write nothing. */
bool store_turn_begin(struct store_turn *turn);
/** Notes how a write went. False when it or anything before it failed. */
bool store_turn_note(struct store_turn *turn, enum store_status status);
/** Its owner's: commits, or rolls back when anything failed. Not STORE_OK: nothing was kept. */
enum store_status store_turn_end(struct store_turn *turn);

#endif
