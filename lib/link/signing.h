/*
 * signing: Standard Webhooks signatures, v1: base64(HMAC-SHA256(key, "id.timestamp.body")).
 */
#ifndef LINK_SIGNING_H
#define LINK_SIGNING_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct signing_key {
    unsigned char bytes[64];
    size_t length; /* 24..64 */
};

/** Reads "whsec_" + base64 of 24 to 64 bytes (blanks at the end ignored). */
bool signing_key_parse(const char *secret, struct signing_key *key);
/** Wipes a key. */
void signing_key_clear(struct signing_key *key);

#define SIGNING_TEXT_SIZE 64
/** Writes "v1,…" into `signature`. */
bool signing_sign(const struct signing_key *key, const char *id, int64_t timestamp_s,
                  const void *body, size_t length, char signature[SIGNING_TEXT_SIZE]);

#endif
