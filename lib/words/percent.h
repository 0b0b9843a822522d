/*
 * percent: percent-encoding (RFC 3986, section 2.1). Pure.
 */
#ifndef WORDS_PERCENT_H
#define WORDS_PERCENT_H

#include <stddef.h>

/** What stands for this byte in an address, as text: itself where it is unreserved (section 2.3).
 */
struct percent_code {
    char text[4];
    size_t length; /* 1 or 3 */
};
struct percent_code percent_encode(char byte);

#endif
