#include "store/store_turn.h"

bool store_turn_note(struct store_turn *turn, enum store_status status) {
    if (turn->failed == STORE_OK)
        turn->failed = status;
    return turn->failed == STORE_OK;
}

bool store_turn_begin(struct store_turn *turn) {
    if (!turn->open && turn->failed == STORE_OK)
        turn->open = store_turn_note(turn, store_begin(turn->store));
    return turn->failed == STORE_OK;
}

enum store_status store_turn_end(struct store_turn *turn) {
    if (turn->open && turn->failed == STORE_OK)
        store_turn_note(turn, store_commit(turn->store));
    else if (turn->open)
        store_rollback(turn->store);
    turn->open = false;
    return turn->failed;
}
