#include "words/percent.h"

#include <string.h>

struct percent_code percent_encode(char byte) {
    static const char unreserved[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz"
                                     "0123456789-._~";
    static const char hex[] = "0123456789ABCDEF";
    if (byte && strchr(unreserved, byte))
        return (struct percent_code){{byte}, 1};
    unsigned number = (unsigned char)byte;
    return (struct percent_code){{'%', hex[number >> 4], hex[number & 15]}, 3};
}
