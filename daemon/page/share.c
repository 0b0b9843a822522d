#include "page/share.h"

#include "link/signing.h"
#include "page/session.h"
#include "store/records.h"

#include <stdio.h>
#include <string.h>
#include <sys/random.h>

enum { MAC_BYTES = 24, MAC_TEXT = MAC_BYTES / 3 * 4 };
static const char secret_note[] = "page share secret";

static void note_name(char name[200], const char *system) {
    snprintf(name, 200, "page share %s", system);
}

/* "NUMBER on" or "NUMBER off" */
static bool read_state(struct store *store, const char *system, unsigned long *number) {
    char name[200], value[40], word[8] = "";
    note_name(name, system);
    *number = 0;
    if (record_note_get(store, name, value, sizeof value) != STORE_OK ||
        sscanf(value, "%lu %7s", number, word) != 2)
        return false;
    return strcmp(word, "on") == 0;
}

static bool mac(struct store *store, const char *system, unsigned long number,
                char text[MAC_TEXT + 1]) {
    char secret[PAGE_SECRET_SIZE + 4], digits[24], base64[64];
    unsigned char digest[SIGNING_DIGEST_SIZE];
    if (record_note_get(store, secret_note, secret, sizeof secret) != STORE_OK)
        return false;
    snprintf(digits, sizeof digits, "%lu", number);
    const void *const parts[] = {"share", system, digits};
    const size_t lengths[] = {sizeof "share", strlen(system) + 1, strlen(digits)};
    bool good = signing_hmac(secret, strlen(secret), parts, lengths, 3, digest);
    explicit_bzero(secret, sizeof secret);
    if (!good)
        return false;
    signing_base64(digest, MAC_BYTES, base64);
    for (size_t i = 0; i < MAC_TEXT; i++)
        text[i] = base64[i] == '+' ? '-' : base64[i] == '/' ? '_' : base64[i];
    text[MAC_TEXT] = '\0';
    return true;
}

bool page_share_current(struct store *store, const char *system, char token[PAGE_SHARE_SIZE]) {
    unsigned long number = 0;
    char text[MAC_TEXT + 1];
    if (!read_state(store, system, &number) || !mac(store, system, number, text))
        return false;
    int length = snprintf(token, PAGE_SHARE_SIZE, "%s.%s", system, text);
    return length > 0 && length < PAGE_SHARE_SIZE;
}

static enum store_status put_state(struct store *store, const char *system, unsigned long number,
                                   const char *word) {
    char name[200], value[40];
    note_name(name, system);
    snprintf(value, sizeof value, "%lu %s", number, word);
    return record_note_put(store, name, value);
}

/* By chance: a house that was forgotten and is watched again, for other people, must not bring the
   links of before back into force. */
static unsigned long first_number(void) {
    uint32_t number = 0;
    if (getrandom(&number, sizeof number, 0) != (ssize_t)sizeof number)
        return 0;
    return number;
}

enum store_status page_share_create(struct store *store, const char *system) {
    char secret[PAGE_SECRET_SIZE + 4];
    unsigned long number = 0;
    enum store_status status = record_note_get(store, secret_note, secret, sizeof secret);
    if (status == STORE_NOT_FOUND)
        status =
            page_secret_make(secret) ? record_note_put(store, secret_note, secret) : STORE_FAILING;
    explicit_bzero(secret, sizeof secret);
    if (!read_state(store, system, &number) && number == 0)
        number = first_number();
    return status == STORE_OK ? put_state(store, system, number + 1, "on") : status;
}

enum store_status page_share_withdraw(struct store *store, const char *system) {
    unsigned long number = 0;
    read_state(store, system, &number);
    return put_state(store, system, number, "off");
}

size_t page_share_find(struct store *store, const struct fleet *fleet, const char *token) {
    char wanted[PAGE_SHARE_SIZE], id[PAGE_SHARE_SIZE];
    const char *dot = strrchr(token, '.');
    if (!dot || (size_t)(dot - token) >= sizeof id)
        return FLEET_NONE;
    memcpy(id, token, (size_t)(dot - token));
    id[dot - token] = '\0';
    size_t system = fleet_find_system(fleet, id);
    if (system == FLEET_NONE || !page_share_current(store, id, wanted) ||
        !page_secret_same(wanted, token))
        return FLEET_NONE;
    return system;
}
