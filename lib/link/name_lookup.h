/*
 * name_lookup: host name to numeric addresses without stopping the loop. getaddrinfo can block for
 * as long as a dead name server likes, so it runs in a detached thread of its own; the answer comes
 * through a socket that the loop polls. An address literal is answered at once, without a thread.
 */
#ifndef LINK_NAME_LOOKUP_H
#define LINK_NAME_LOOKUP_H

#include <stdbool.h>
#include <stddef.h>

#define NAME_LOOKUP_ADDRESSES_MAX 8
#define NAME_LOOKUP_ADDRESS_BYTES 64

struct name_lookup_answer {
    size_t count;                                                       /* 0: no address */
    char address[NAME_LOOKUP_ADDRESSES_MAX][NAME_LOOKUP_ADDRESS_BYTES]; /* "192.0.2.1", "::1" */
    char why[128];                                                      /* when count is 0 */
};

/** Is this host an IPv4 or IPv6 address already? */
bool name_lookup_is_address(const char *host);

/**
 * Starts a lookup. Returns a descriptor that becomes readable with the answer (the caller closes it
 * whenever it likes, which gives the lookup up), or -1 when no thread could be started or too many
 * earlier lookups still hang.
 */
int name_lookup_start(const char *host);

/** Takes the answer; false while there is none yet. */
bool name_lookup_take(int descriptor, struct name_lookup_answer *answer);

#endif
