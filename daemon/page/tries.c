#include "page/tries.h"

#include "measure/duration.h"
#include "measure/hash.h"

#include <math.h>
#include <stddef.h>
#include <string.h>

/* An address is a guesser's for this long after a wrong try. */
static const int64_t guesser_ms = 10 * DURATION_MINUTE_MS;

/* So many at once, then one in so many milliseconds. */
struct rate {
    double most, every_ms;
};
static const struct rate wrong_rate = {10.0, 3.0 * DURATION_SECOND_MS};
static const struct rate guesser_rate = {10.0, DURATION_SECOND_MS / 2.0};
static const struct rate other_rate = {10.0, DURATION_SECOND_MS / 10.0};

static uint64_t hash_of(const char *text) {
    return hash_bytes(HASH_START, text, strlen(text));
}

static bool any_left(struct page_tries_bucket *bucket, const struct rate *rate, int64_t now_ms) {
    double back = (double)(now_ms - bucket->reckoned_ms) / rate->every_ms;
    bucket->taken = fmax(bucket->taken - back, 0.0);
    bucket->reckoned_ms = now_ms;
    return bucket->taken + 1.0 <= rate->most;
}

static struct page_tries_row *find(struct page_tries *tries, uint64_t account, uint64_t address) {
    for (size_t i = 0; i < PAGE_TRIES_ROWS; i++) {
        struct page_tries_row *row = &tries->rows[i];
        if (row->wrong_ms && row->account == account && row->address == address)
            return row;
    }
    return NULL;
}

static bool is_guesser(const struct page_tries *tries, uint64_t address, int64_t now_ms) {
    for (size_t i = 0; i < PAGE_TRIES_ROWS; i++) {
        const struct page_tries_row *row = &tries->rows[i];
        if (row->wrong_ms && row->address == address && now_ms - row->wrong_ms < guesser_ms)
            return true;
    }
    return false;
}

bool page_tries_may(struct page_tries *tries, const char *account, const char *address,
                    int64_t now_ms) {
    uint64_t from = hash_of(address);
    struct page_tries_row *row = find(tries, hash_of(account), from);
    bool guesser = is_guesser(tries, from, now_ms);
    struct page_tries_bucket *work = guesser ? &tries->guessers : &tries->others;
    if (row && !any_left(&row->wrong, &wrong_rate, now_ms))
        return false;
    if (!any_left(work, guesser ? &guesser_rate : &other_rate, now_ms))
        return false;
    work->taken += 1.0;
    return true;
}

static struct page_tries_row *oldest(struct page_tries *tries) {
    struct page_tries_row *oldest = &tries->rows[0];
    for (size_t i = 1; i < PAGE_TRIES_ROWS; i++) {
        if (tries->rows[i].wrong_ms < oldest->wrong_ms)
            oldest = &tries->rows[i];
    }
    return oldest;
}

void page_tries_wrong(struct page_tries *tries, const char *account, const char *address,
                      int64_t now_ms) {
    uint64_t name = hash_of(account), from = hash_of(address);
    struct page_tries_row *row = find(tries, name, from);
    if (!row) {
        row = oldest(tries);
        *row = (struct page_tries_row){.account = name, .address = from};
    }
    any_left(&row->wrong, &wrong_rate, now_ms); /* brings it up to date */
    row->wrong.taken += 1.0;
    row->wrong_ms = now_ms;
}
