/*
 * The date is not read by curl_getdate: where a library was built with 32-bit times and we are not,
 * as on 32-bit ARM of Debian 12, what it returns is not what we would read.
 */
#include "link/retry_after.h"

#include <stdlib.h>
#include <string.h>
#include <time.h>

int64_t retry_after_s(const char *value, int64_t wall_ms) {
    static const char *const forms[] = {"%a, %d %b %Y %H:%M:%S GMT", "%A, %d-%b-%y %H:%M:%S GMT",
                                        "%a %b %e %H:%M:%S %Y"};
    size_t digits = strspn(value, "0123456789");
    if (digits > 0 && value[digits] == '\0')
        return digits > 9 ? INT32_MAX : strtoll(value, NULL, 10);
    for (size_t i = 0; i < sizeof forms / sizeof forms[0]; i++) {
        struct tm date = {.tm_isdst = 0};
        const char *end = strptime(value, forms[i], &date);
        if (!end || *end)
            continue;
        int64_t wait_ms = (int64_t)timegm(&date) * 1000 - wall_ms;
        return wait_ms > 0 ? (wait_ms + 999) / 1000 : 0;
    }
    return -1;
}
