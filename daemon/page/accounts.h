/*
 * page_accounts: the file of people who may sign in: one `name:hash` a line, "#" begins a comment.
 * The hash is one of crypt(5), as `mkpasswd -m yescrypt` prints it. The file is read at each use,
 * so a change holds at once; it is refused while others on the machine may read or write it.
 */
#ifndef DAEMON_PAGE_ACCOUNTS_H
#define DAEMON_PAGE_ACCOUNTS_H

#include <stdbool.h>
#include <stddef.h>

#define PAGE_ACCOUNT_NAME_SIZE 64
#define PAGE_ACCOUNT_HASH_SIZE 256
#define PAGE_ACCOUNTS_MAX 200
#define PAGE_PASSWORD_BYTES_MAX 512

struct page_account {
    char name[PAGE_ACCOUNT_NAME_SIZE];
    char hash[PAGE_ACCOUNT_HASH_SIZE];
};

struct page_accounts {
    struct page_account rows[PAGE_ACCOUNTS_MAX];
    size_t count;
};

/** Parses the text of a file; false with "LINE: why" for a person. Pure. */
bool page_accounts_parse(const char *text, struct page_accounts *accounts, char *why,
                         size_t why_size);
/** Reads the file; false with a sentence in `why`. */
bool page_accounts_read(const char *path, struct page_accounts *accounts, char *why,
                        size_t why_size);
/** By name, NULL when there is none. */
const struct page_account *page_accounts_find(const struct page_accounts *accounts,
                                              const char *name);
/**
 * Is this the password of that account? Takes as long when `name` is unknown. Takes some 10 ms with
 * the usual yescrypt cost.
 */
const struct page_account *page_accounts_check(const struct page_accounts *accounts,
                                               const char *name, const char *password);

#endif
