/*
 * signing: Standard Webhooks signatures, v1: base64(HMAC-SHA256(key, "id.timestamp.body")).
 * HMAC: RFC 2104 with SHA-256 (FIPS 180-4); base64: RFC 4648 section 4.
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

#define SIGNING_DIGEST_SIZE 32
/** HMAC-SHA256 over `count` parts one after the other; false when the library fails. */
bool signing_hmac(const void *key, size_t key_length, const void *const parts[],
                  const size_t lengths[], size_t count, unsigned char digest[SIGNING_DIGEST_SIZE]);

/** Base64 with padding of `length` bytes; `text` needs 4 * ((length + 2) / 3) + 1. */
void signing_base64(const void *bytes, size_t length, char *text);

#endif
