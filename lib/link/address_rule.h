/*
 * address_rule: may a webhook go to this address? Judged after the name was resolved, on the socket
 * address that is about to be connected, so that neither a spelling (decimal, mapped) nor a name
 * server can lead a message, or its secrets, to a place inside the machine or its network.
 * Pure: looks only at its arguments.
 *
 * Ranges: RFC 6890 (special-purpose registries), RFC 1918 (private IPv4), RFC 6598 (shared, carrier
 * NAT), RFC 3927 and 4291 (link-local), RFC 4193 (unique local IPv6), RFC 5771 and 4291
 * (multicast). IPv4 inside IPv6 (RFC 4291 mapped and compatible, RFC 6052 NAT64, RFC 3056 6to4) is
 * judged as the IPv4 address it leads to.
 */
#ifndef LINK_ADDRESS_RULE_H
#define LINK_ADDRESS_RULE_H

#include <stdbool.h>

struct sockaddr;

enum address_kind {
    ADDRESS_PUBLIC,
    ADDRESS_LOOPBACK,
    ADDRESS_PRIVATE, /* only where the contact allows it */
    ADDRESS_NEVER    /* link-local and metadata, unspecified, multicast, reserved, not IP */
};

enum address_kind address_kind(const struct sockaddr *address);
/** The same for text such as "127.0.0.1" or "::1"; ADDRESS_NEVER when it is no address. */
enum address_kind address_kind_of_text(const char *text);

/** Does the URL as written name loopback itself: 127.0.0.1, localhost or [::1]? */
bool address_url_names_loopback(const char *url);

struct address_rule {
    bool url_names_loopback;
    bool allow_private;
    bool encrypted; /* https: plain http is for loopback and allowed private networks alone */
};

/** NULL when allowed, else why not, for people: "link-local address refused". A literal. */
const char *address_refusal(const struct address_rule *rule, enum address_kind kind);

#endif
