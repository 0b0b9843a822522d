#include "link/signing.h"
#include "test_support.h"

#include <stdio.h>
#include <string.h>

static void to_hex(const unsigned char digest[SIGNING_DIGEST_SIZE], char *text) {
    for (size_t i = 0; i < SIGNING_DIGEST_SIZE; i++)
        snprintf(text + 2 * i, 3, "%02x", digest[i]);
}

/* RFC 4231 section 4: a key and data given as one byte repeated, or as text. */
static const struct {
    unsigned char key_byte, data_byte;
    size_t key_length, data_length; /* 0: the text */
    const char *key, *data, *digest;
} rfc4231[] = {
    {0x0b, 0, 20, 0, NULL, "Hi There",
     "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7"}, /* 4.2 */
    {0, 0, 0, 0, "Jefe", "what do ya want for nothing?",
     "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"}, /* 4.3 */
    {0xaa, 0xdd, 20, 50, NULL, NULL,
     "773ea91e36800e46854db8ebd09181a72959098b3ef8c122d9635514ced565fe"}, /* 4.4 */
    {0, 0xcd, 0, 50,
     "\x01\x02\x03\x04\x05\x06\x07\x08\x09\x0a\x0b\x0c\x0d\x0e\x0f\x10\x11\x12\x13\x14\x15\x16\x17"
     "\x18\x19",
     NULL, "82558a389a443c0ea4cc819899f2083a85f0faa3e578f8077a2e3ff46729665b"}, /* 4.5 */
    {0xaa, 0, 131, 0, NULL, "Test Using Larger Than Block-Size Key - Hash Key First",
     "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54"}, /* 4.7 */
};

START_TEST(hmac_agrees_with_rfc_4231) {
    char key_bytes[200], data_bytes[200], text[2 * SIGNING_DIGEST_SIZE + 1];
    unsigned char digest[SIGNING_DIGEST_SIZE];
    memset(key_bytes, rfc4231[_i].key_byte, sizeof key_bytes);
    memset(data_bytes, rfc4231[_i].data_byte, sizeof data_bytes);
    const char *key = rfc4231[_i].key ? rfc4231[_i].key : key_bytes;
    const char *data = rfc4231[_i].data ? rfc4231[_i].data : data_bytes;
    size_t key_length = rfc4231[_i].key ? strlen(key) : rfc4231[_i].key_length;
    size_t data_length = rfc4231[_i].data ? strlen(data) : rfc4231[_i].data_length;
    /* in two parts, at every cut */
    for (size_t cut = 0; cut <= data_length; cut++) {
        const void *parts[] = {data, data + cut};
        const size_t lengths[] = {cut, data_length - cut};
        ck_assert(signing_hmac(key, key_length, parts, lengths, 2, digest));
        to_hex(digest, text);
        ck_assert_str_eq(text, rfc4231[_i].digest);
    }
}
END_TEST

static const struct {
    const char *bytes, *text;
} rfc4648[] = {{"", ""},
               {"f", "Zg=="},
               {"fo", "Zm8="},
               {"foo", "Zm9v"},
               {"foob", "Zm9vYg=="},
               {"fooba", "Zm9vYmE="},
               {"foobar", "Zm9vYmFy"}}; /* RFC 4648 section 10 */

START_TEST(base64_agrees_with_rfc_4648) {
    char text[32];
    signing_base64(rfc4648[_i].bytes, strlen(rfc4648[_i].bytes), text);
    ck_assert_str_eq(text, rfc4648[_i].text);
}
END_TEST

/* Standard Webhooks, published test of the reference libraries; the other two by an independent
   HMAC over the same scheme. */
static const struct {
    const char *secret, *body, *signature;
} webhooks[] = {
    {"whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw", "{\"test\": 2432232314}",
     "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="},
    {"whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw", "{\"test\":2432232314}",
     "v1,Vif40peJBP7Iyl0XGmu61n4MwdrcHov5CFREBpE0svs="},
    {"whsec_AAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8= \n", "{\"test\": 2432232314}",
     "v1,O4Gjv1HqPqsMrjmczoggs/sWA8gZD0VyHG+fLh4+ktI="},
};

START_TEST(signature_agrees_with_standard_webhooks) {
    struct signing_key key;
    char signature[SIGNING_TEXT_SIZE];
    ck_assert(signing_key_parse(webhooks[_i].secret, &key));
    ck_assert(signing_sign(&key, "msg_p5jXN8AQM9LWM0D4loKWxJek", 1614265330, webhooks[_i].body,
                           strlen(webhooks[_i].body), signature));
    ck_assert_str_eq(signature, webhooks[_i].signature);
}
END_TEST

#define LONG_KEY                                                                                   \
    "AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA"
static const char *const bad_secrets[] = {
    "",
    "whsec_",
    "MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw",           /* no prefix */
    "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaS",      /* cut */
    "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLa==",     /* 22 bytes */
    "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaS!",     /* foreign byte */
    "whsec_MfKQ 9r8GKYqrTwjUPD8ILPZIo2LaLaSw",    /* blank inside */
    "whsec_MfKQ9r8GKYqr=wjUPD8ILPZIo2LaLaSw",     /* padding inside */
    "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSwAB==", /* bits that are not used */
    ("whsec_" LONG_KEY),                          /* 66 bytes */
    "whsec_====",
};

START_TEST(a_bad_secret_leaves_the_key_untouched) {
    struct signing_key key = {.length = 7};
    ck_assert(!signing_key_parse(bad_secrets[_i], &key));
    ck_assert_uint_eq(key.length, 7);
}
END_TEST

START_TEST(any_key_of_24_to_64_bytes_is_read_back) {
    struct test_random random = {test_seed() + (uint64_t)_i};
    unsigned char bytes[70];
    for (size_t i = 0; i < sizeof bytes; i++)
        bytes[i] = (unsigned char)test_random_next(&random);
    char secret[128] = "whsec_";
    signing_base64(bytes, (size_t)_i, secret + 6);
    struct signing_key key;
    bool expected = _i >= 24 && _i <= 64;
    ck_assert_int_eq(signing_key_parse(secret, &key), expected);
    if (expected) {
        ck_assert_uint_eq(key.length, (size_t)_i);
        ck_assert_mem_eq(key.bytes, bytes, (size_t)_i);
        signing_key_clear(&key);
        ck_assert_uint_eq(key.length, 0);
        ck_assert_int_eq(key.bytes[0], 0);
    }
}
END_TEST

int main(void) {
    TCase *signing = tcase_create("signing");
    tcase_add_loop_test(signing, hmac_agrees_with_rfc_4231, 0, sizeof rfc4231 / sizeof rfc4231[0]);
    tcase_add_loop_test(signing, base64_agrees_with_rfc_4648, 0,
                        sizeof rfc4648 / sizeof rfc4648[0]);
    tcase_add_loop_test(signing, signature_agrees_with_standard_webhooks, 0,
                        sizeof webhooks / sizeof webhooks[0]);
    tcase_add_loop_test(signing, a_bad_secret_leaves_the_key_untouched, 0,
                        sizeof bad_secrets / sizeof bad_secrets[0]);
    tcase_add_loop_test(signing, any_key_of_24_to_64_bytes_is_read_back, 1, 70);
    return run_test_case(signing);
}
