/*
 * retry_after: when a receiver wants to be asked again. Part of delivery. Pure.
 */
#ifndef LINK_RETRY_AFTER_H
#define LINK_RETRY_AFTER_H

#include <stdint.h>

/**
 * Seconds to wait as a header Retry-After says (RFC 9110 section 10.2.3): a number of them, or an
 * HTTP date in one of the three forms of section 5.6.7, which is compared with `wall_ms`. -1 for
 * anything else.
 */
int64_t retry_after_s(const char *value, int64_t wall_ms);

#endif
