/*
 * page_session: who is signed in. Sessions live in memory only: a restart signs everybody out.
 * Session key and same-site token are 256 random bits each; both are compared in constant time.
 */
#ifndef DAEMON_PAGE_SESSION_H
#define DAEMON_PAGE_SESSION_H

#include "page/accounts.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define PAGE_SESSIONS_MAX 64
#define PAGE_SECRET_SIZE 44 /* base64 of 32 bytes without padding, and its end */

struct page_session {
    bool used;
    char key[PAGE_SECRET_SIZE];   /* in the cookie */
    char token[PAGE_SECRET_SIZE]; /* in each form */
    char account[PAGE_ACCOUNT_NAME_SIZE];
    char hash[PAGE_ACCOUNT_HASH_SIZE]; /* signed in against this: a changed password ends it */
    int64_t begun_ms, seen_ms;         /* monotonic */
};

struct page_sessions {
    struct page_session rows[PAGE_SESSIONS_MAX];
};

/** 32 random bytes as URL-safe text; false when the system has none. */
bool page_secret_make(char secret[PAGE_SECRET_SIZE]);
/** Compares two texts without telling by time where they differ. */
bool page_secret_same(const char *one, const char *other);

/** Begins a session; takes the place of the one not seen for longest when all are taken. NULL when
 * the system has no randomness. */
struct page_session *page_session_begin(struct page_sessions *sessions,
                                        const struct page_account *account, int64_t monotonic_ms);
/** The session of a cookie, NULL when there is none or it is over: 12 h unseen, or 7 d old. */
struct page_session *page_session_find(struct page_sessions *sessions, const char *key,
                                       int64_t monotonic_ms);
void page_session_end(struct page_session *session);

#endif
