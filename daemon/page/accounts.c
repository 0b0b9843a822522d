#include "page/accounts.h"

#include "host/fleet_files.h"

#include <crypt.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

enum { FILE_BYTES_MAX = 64 * 1024, HASH_LENGTH_LEAST = 50 };

static bool add_line(struct page_accounts *accounts, const char *line, size_t length, size_t number,
                     char *why, size_t why_size) {
    const char *colon = memchr(line, ':', length);
    size_t name_length = colon ? (size_t)(colon - line) : 0;
    size_t hash_length = colon ? length - name_length - 1 : 0;
    if (name_length == 0 || name_length >= PAGE_ACCOUNT_NAME_SIZE ||
        hash_length >= PAGE_ACCOUNT_HASH_SIZE) {
        snprintf(why, why_size, "%zu: allowed is NAME:HASH", number);
        return false;
    }
    if (accounts->count == PAGE_ACCOUNTS_MAX) {
        snprintf(why, why_size, "%zu: at most %d accounts", number, PAGE_ACCOUNTS_MAX);
        return false;
    }
    struct page_account account = {0};
    memcpy(account.name, line, name_length);
    memcpy(account.hash, colon + 1, hash_length);
    if (hash_length < HASH_LENGTH_LEAST || crypt_checksalt(account.hash) != CRYPT_SALT_OK) {
        snprintf(why, why_size, "%zu: not a strong hash; make one with: mkpasswd -m yescrypt",
                 number);
        return false;
    }
    if (page_accounts_find(accounts, account.name)) {
        snprintf(why, why_size, "%zu: %s stands there twice", number, account.name);
        return false;
    }
    accounts->rows[accounts->count++] = account;
    return true;
}

bool page_accounts_parse(const char *text, struct page_accounts *accounts, char *why,
                         size_t why_size) {
    size_t number = 0;
    accounts->count = 0;
    while (*text) {
        size_t whole = strcspn(text, "\n"), length = whole;
        number++;
        while (length > 0 && strchr(" \t\r", text[length - 1]))
            length--;
        if (length > 0 && text[0] != '#' &&
            !add_line(accounts, text, length, number, why, why_size))
            return false;
        text += whole + (text[whole] == '\n');
    }
    if (accounts->count > 0)
        return true;
    snprintf(why, why_size, "there is no account in it");
    return false;
}

bool page_accounts_read(const char *path, struct page_accounts *accounts, char *why,
                        size_t why_size) {
    struct stat about;
    char reason[200];
    size_t length = 0;
    if (stat(path, &about) != 0) {
        snprintf(why, why_size, "%s: %s", path, strerror(errno));
        return false;
    }
    if (about.st_mode & S_IRWXO) {
        snprintf(why, why_size, "%s: everybody on this machine may read it; run: chmod o-rwx '%s'",
                 path, path);
        return false;
    }
    char *text = fleet_files_read(path, FILE_BYTES_MAX, &length);
    if (!text) {
        snprintf(why, why_size, "%s: %s", path, strerror(errno));
        return false;
    }
    bool good = page_accounts_parse(text, accounts, reason, sizeof reason);
    if (!good)
        snprintf(why, why_size, "%s:%s", path, reason);
    explicit_bzero(text, length);
    free(text);
    return good;
}

const struct page_account *page_accounts_find(const struct page_accounts *accounts,
                                              const char *name) {
    for (size_t i = 0; i < accounts->count; i++) {
        if (strcmp(accounts->rows[i].name, name) == 0)
            return &accounts->rows[i];
    }
    return NULL;
}

const struct page_account *page_accounts_check(const struct page_accounts *accounts,
                                               const char *name, const char *password) {
    const struct page_account *account = page_accounts_find(accounts, name);
    /* An unknown name costs the same work, so that time does not tell who has an account. */
    const char *hash = account ? account->hash : accounts->rows[0].hash;
    struct crypt_data *work = calloc(1, sizeof *work);
    if (!work || strlen(password) > PAGE_PASSWORD_BYTES_MAX) {
        free(work);
        return NULL;
    }
    const char *made = crypt_r(password, hash, work);
    unsigned difference = !made || made[0] == '*' || strlen(made) != strlen(hash);
    for (size_t i = 0; !difference && hash[i]; i++)
        difference |= (unsigned)(unsigned char)made[i] ^ (unsigned)(unsigned char)hash[i];
    explicit_bzero(work, sizeof *work);
    free(work);
    return account && difference == 0 ? account : NULL;
}
