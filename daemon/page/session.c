#include "page/session.h"

#include "link/signing.h"
#include "measure/duration.h"

#include <string.h>
#include <sys/random.h>

static const int64_t unseen_most_ms = 12 * DURATION_HOUR_MS;
static const int64_t age_most_ms = 7 * DURATION_DAY_MS;

bool page_secret_make(char secret[PAGE_SECRET_SIZE]) {
    unsigned char bytes[32];
    char text[4 * ((sizeof bytes + 2) / 3) + 1];
    if (getrandom(bytes, sizeof bytes, 0) != (ssize_t)sizeof bytes)
        return false;
    signing_base64(bytes, sizeof bytes, text);
    explicit_bzero(bytes, sizeof bytes);
    for (size_t i = 0; i + 1 < PAGE_SECRET_SIZE; i++)
        secret[i] = text[i] == '+' ? '-' : text[i] == '/' ? '_' : text[i];
    secret[PAGE_SECRET_SIZE - 1] = '\0';
    return true;
}

bool page_secret_same(const char *one, const char *other) {
    size_t length = strlen(one);
    unsigned difference = length != strlen(other);
    if (difference)
        return false;
    for (size_t i = 0; i < length; i++)
        difference |= (unsigned)(unsigned char)one[i] ^ (unsigned)(unsigned char)other[i];
    return difference == 0;
}

struct page_session *page_session_begin(struct page_sessions *sessions,
                                        const struct page_account *account, int64_t monotonic_ms) {
    struct page_session *place = &sessions->rows[0];
    for (size_t i = 0; i < PAGE_SESSIONS_MAX && place->used; i++) {
        struct page_session *row = &sessions->rows[i];
        if (!row->used || row->seen_ms < place->seen_ms)
            place = row;
    }
    struct page_session session = {.used = true, .begun_ms = monotonic_ms, .seen_ms = monotonic_ms};
    if (!page_secret_make(session.key) || !page_secret_make(session.token))
        return NULL;
    memcpy(session.account, account->name, sizeof session.account);
    memcpy(session.hash, account->hash, sizeof session.hash);
    *place = session;
    return place;
}

struct page_session *page_session_find(struct page_sessions *sessions, const char *key,
                                       int64_t monotonic_ms) {
    struct page_session *found = NULL;
    if (!key || strlen(key) != PAGE_SECRET_SIZE - 1)
        return NULL;
    for (size_t i = 0; i < PAGE_SESSIONS_MAX; i++) {
        struct page_session *row = &sessions->rows[i];
        if (!row->used)
            continue;
        if (monotonic_ms - row->seen_ms > unseen_most_ms ||
            monotonic_ms - row->begun_ms > age_most_ms)
            page_session_end(row);
        else if (page_secret_same(row->key, key))
            found = row;
    }
    if (found)
        found->seen_ms = monotonic_ms;
    return found;
}

void page_session_end(struct page_session *session) {
    explicit_bzero(session, sizeof *session);
}
