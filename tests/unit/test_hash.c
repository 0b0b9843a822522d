/*
 * FNV-1a of 64 bits against the test vectors of RFC 9923, appendix C (also in draft-eastlake-fnv;
 * from memory).
 */
#include "measure/hash.h"

#include "test_support.h"

#include <string.h>

START_TEST(published_vectors) {
    static const struct {
        const char *text;
        uint64_t hash;
    } vectors[] = {
        {"", UINT64_C(0xcbf29ce484222325)},
        {"a", UINT64_C(0xaf63dc4c8601ec8c)},
        {"foobar", UINT64_C(0x85944171f73967e8)},
    };
    for (size_t i = 0; i < sizeof vectors / sizeof vectors[0]; i++)
        ck_assert_uint_eq(hash_bytes(HASH_START, vectors[i].text, strlen(vectors[i].text)),
                          vectors[i].hash);
}
END_TEST

START_TEST(parts_are_the_whole) {
    uint64_t parts = hash_bytes(hash_bytes(HASH_START, "foo", 3), "bar", 3);
    ck_assert_uint_eq(parts, hash_bytes(HASH_START, "foobar", 6));
    ck_assert_uint_eq(hash_bytes(parts, NULL, 0), parts);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("hash");
    tcase_add_test(tcase, published_vectors);
    tcase_add_test(tcase, parts_are_the_whole);
    return run_test_case(tcase);
}
