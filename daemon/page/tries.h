/*
 * page_tries: how often somebody may try to sign in. Pure; time is an argument.
 *
 * Only wrong tries cost: each pair of account and address has ten, and gets one back in three
 * seconds. So whoever guesses at an account keeps nobody out who comes from another address.
 *
 * A try costs the one loop some 10 ms whether it is right or wrong, so there is a bound over all as
 * well. It is kept apart for addresses that have tried wrongly of late and for all others: guesses
 * under ever new names use up what is left for guessers alone.
 */
#ifndef DAEMON_PAGE_TRIES_H
#define DAEMON_PAGE_TRIES_H

#include <stdbool.h>
#include <stdint.h>

#define PAGE_TRIES_ROWS 256

/* Tokens that grow again with time. Starts as {0}: full at its first use. */
struct page_tries_bucket {
    double taken;
    int64_t reckoned_ms;
};

struct page_tries {
    struct page_tries_row {
        uint64_t account, address; /* as hashes */
        int64_t wrong_ms;          /* the last wrong try; 0: the row is free */
        struct page_tries_bucket wrong;
    } rows[PAGE_TRIES_ROWS];
    struct page_tries_bucket guessers, others;
};

/** May this pair try now? Takes its share of the work. Times are monotonic, above 0. */
bool page_tries_may(struct page_tries *tries, const char *account, const char *address,
                    int64_t now_ms);
/** It was wrong. Where there is no room the pair that was wrong longest ago is forgotten. */
void page_tries_wrong(struct page_tries *tries, const char *account, const char *address,
                      int64_t now_ms);

#endif
