/*
 * HMAC is built here from the library's SHA-256 MAC interface in parts, so that a body is never
 * copied to be signed.
 */
#include "link/signing.h"

#include <inttypes.h>
#include <openssl/core_names.h>
#include <openssl/crypto.h>
#include <openssl/evp.h>
#include <openssl/params.h>
#include <stdio.h>
#include <string.h>

#define KEY_LENGTH_MIN 24
#define KEY_LENGTH_MAX 64

#define KEY_TEXT_MAX (4 * ((KEY_LENGTH_MAX + 2) / 3))

/* Strict: padded, no foreign bytes, unused bits zero, so what comes out must go in again as it was.
   Returns the length, 0 when malformed. */
static size_t base64_decode(const char *text, size_t length, unsigned char bytes[KEY_LENGTH_MAX]) {
    unsigned char decoded[KEY_TEXT_MAX], again[KEY_TEXT_MAX + 1];
    if (length == 0 || length > KEY_TEXT_MAX)
        return 0;
    int whole = EVP_DecodeBlock(decoded, (const unsigned char *)text, (int)length);
    int size = whole - (text[length - 1] == '=') - (length > 1 && text[length - 2] == '=');
    bool good = size > 0 && size <= KEY_LENGTH_MAX &&
                EVP_EncodeBlock(again, decoded, size) == (int)length &&
                memcmp(again, text, length) == 0;
    if (good)
        memcpy(bytes, decoded, (size_t)size);
    OPENSSL_cleanse(decoded, sizeof decoded);
    OPENSSL_cleanse(again, sizeof again);
    return good ? (size_t)size : 0;
}

bool signing_key_parse(const char *secret, struct signing_key *key) {
    static const char prefix[] = "whsec_";
    if (strncmp(secret, prefix, sizeof prefix - 1) != 0)
        return false;
    secret += sizeof prefix - 1;
    size_t length = strlen(secret);
    while (length > 0 && strchr(" \t\r\n", secret[length - 1]))
        length--;
    struct signing_key parsed = {.length = 0};
    parsed.length = base64_decode(secret, length, parsed.bytes);
    bool good = parsed.length >= KEY_LENGTH_MIN;
    if (good)
        *key = parsed;
    signing_key_clear(&parsed);
    return good;
}

void signing_key_clear(struct signing_key *key) {
    OPENSSL_cleanse(key, sizeof *key);
}

void signing_base64(const void *bytes, size_t length, char *text) {
    EVP_EncodeBlock((unsigned char *)text, bytes, (int)length);
}

bool signing_hmac(const void *key, size_t key_length, const void *const parts[],
                  const size_t lengths[], size_t count, unsigned char digest[SIGNING_DIGEST_SIZE]) {
    bool good = false;
    char name[] = "SHA256";
    OSSL_PARAM parameters[] = {OSSL_PARAM_construct_utf8_string(OSSL_MAC_PARAM_DIGEST, name, 0),
                               OSSL_PARAM_construct_end()};
    EVP_MAC *mac = EVP_MAC_fetch(NULL, "HMAC", NULL);
    EVP_MAC_CTX *context = mac ? EVP_MAC_CTX_new(mac) : NULL;
    if (!context || !EVP_MAC_init(context, key, key_length, parameters))
        goto out;
    for (size_t i = 0; i < count; i++)
        if (!EVP_MAC_update(context, parts[i], lengths[i]))
            goto out;
    size_t written = 0;
    unsigned char result[SIGNING_DIGEST_SIZE];
    good = EVP_MAC_final(context, result, &written, sizeof result) && written == sizeof result;
    if (good)
        memcpy(digest, result, sizeof result);
out:
    EVP_MAC_CTX_free(context);
    EVP_MAC_free(mac);
    return good;
}

bool signing_sign(const struct signing_key *key, const char *id, int64_t timestamp_s,
                  const void *body, size_t length, char signature[SIGNING_TEXT_SIZE]) {
    char timestamp[32];
    snprintf(timestamp, sizeof timestamp, ".%" PRId64 ".", timestamp_s);
    const void *parts[] = {id, timestamp, body};
    const size_t lengths[] = {strlen(id), strlen(timestamp), length};
    unsigned char digest[SIGNING_DIGEST_SIZE];
    if (!signing_hmac(key->bytes, key->length, parts, lengths, 3, digest))
        return false;
    char encoded[4 * ((SIGNING_DIGEST_SIZE + 2) / 3) + 1];
    signing_base64(digest, sizeof digest, encoded);
    snprintf(signature, SIGNING_TEXT_SIZE, "v1,%s", encoded);
    return true;
}
