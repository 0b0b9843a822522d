#include "words/accept_language.h"

#include "words/accept.h"
#include "words/wording.h"

#include <string.h>

/* The range without its weight: "es-MX". */
static bool language_of(const char *range, size_t length, size_t *language) {
    char code[3] = "";
    size_t word = strcspn(range, ";, \t");
    if (word > length || word < 2 || (word > 2 && range[2] != '-'))
        return false;
    for (size_t i = 0; i < 2; i++)
        code[i] = (char)(range[i] >= 'A' && range[i] <= 'Z' ? range[i] - 'A' + 'a' : range[i]);
    return wording_language_find(code, language);
}

bool accept_language_find(const char *header, size_t *language) {
    double best = 0.0;
    *language = WORDING_ENGLISH;
    for (const char *at = header ? header : ""; *at;) {
        size_t one = WORDING_ENGLISH;
        at += strspn(at, ", \t");
        size_t length = strcspn(at, ",");
        /* Nothing but a weight may follow a language (RFC 9110, section 12.5.4). */
        double usual = memchr(at, ';', length) ? 0.0 : 1.0;
        double weight = accept_weight(at, at + length, usual);
        if (weight > best && language_of(at, length, &one)) {
            best = weight;
            *language = one;
        }
        at += length;
    }
    return best > 0.0;
}
