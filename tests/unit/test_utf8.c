/*
 * utf8_valid against RFC 3629 (from memory): section 3 gives the encoding of each code point,
 * section 4 the sequences that are no UTF-8.
 */
#include "measure/utf8.h"

#include "test_support.h"

#include <stdint.h>

/* Encodes any number below 2^21 in the given length, also where RFC 3629 forbids it. */
static size_t encode(uint32_t code, size_t length, unsigned char *bytes) {
    static const unsigned lead[] = {0, 0, 0xC0, 0xE0, 0xF0};
    for (size_t i = length; i-- > 1; code >>= 6)
        bytes[i] = (unsigned char)(0x80 | (code & 0x3F));
    bytes[0] = (unsigned char)(lead[length] | code);
    return length;
}

/* Check notes every assertion in a file; two million of them would take minutes. */
#define expect(condition, ...)                                                                     \
    do {                                                                                           \
        if (!(condition))                                                                          \
            ck_abort_msg(__VA_ARGS__);                                                             \
    } while (0)

static size_t shortest(uint32_t code) {
    return code < 0x80 ? 1 : code < 0x800 ? 2 : code < 0x10000 ? 3 : 4;
}

START_TEST(every_code_point) {
    for (uint32_t code = 0; code < 0x200000; code++) {
        unsigned char bytes[5];
        bool allowed = code <= 0x10FFFF && (code < 0xD800 || code > 0xDFFF);
        size_t length = encode(code, shortest(code), bytes);
        expect(utf8_valid(bytes, length) == allowed, "U+%X", (unsigned)code);
        bytes[length] = '\0';
        expect(utf8_character((const char *)bytes) == (allowed && code ? length : 0), "U+%X",
               (unsigned)code);
        for (size_t cut = 1; cut < length; cut++)
            expect(!utf8_valid(bytes, cut), "U+%X cut short", (unsigned)code);
    }
}
END_TEST

START_TEST(overlong_forms) {
    for (uint32_t code = 0; code < 0x10000; code++) {
        unsigned char bytes[4];
        for (size_t length = shortest(code) + 1; length <= 4; length++)
            expect(!utf8_valid(bytes, encode(code, length, bytes)), "U+%X in %zu bytes",
                   (unsigned)code, length);
    }
}
END_TEST

START_TEST(bytes_that_never_begin_a_character) {
    for (unsigned lead = 0x80; lead < 0x100; lead++) {
        if (lead >= 0xC2 && lead <= 0xF4)
            continue;
        unsigned char bytes[] = {(unsigned char)lead, 0x80, 0x80, 0x80};
        for (size_t length = 1; length <= 4; length++)
            ck_assert_msg(!utf8_valid(bytes, length), "%02X", lead);
    }
}
END_TEST

START_TEST(texts) {
    ck_assert(utf8_valid("", 0));
    ck_assert(utf8_valid(NULL, 0));
    ck_assert(utf8_valid("m\xC2\xB3/h \xE2\x82\xAC \xF0\x9F\x8F\xA0", 14));
    ck_assert(utf8_valid("a\0b", 3));
    ck_assert(!utf8_valid("\xC3(", 2));
    ck_assert(!utf8_valid("\xE2\x82(", 3));
    ck_assert(!utf8_valid("good then \xFF", 11));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("utf8");
    tcase_add_test(tcase, every_code_point);
    tcase_add_test(tcase, overlong_forms);
    tcase_add_test(tcase, bytes_that_never_begin_a_character);
    tcase_add_test(tcase, texts);
    return run_test_case(tcase);
}
