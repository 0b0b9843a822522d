#include "link/address_rule.h"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>
#include <strings.h>
#include <sys/socket.h>

struct range4 {
    uint32_t network;
    int bits;
    enum address_kind kind;
};

/* First match decides. */
static const struct range4 ranges4[] = {
    {0x00000000, 8, ADDRESS_NEVER},    /* 0.0.0.0/8, this host */
    {0x7F000000, 8, ADDRESS_LOOPBACK}, /* 127.0.0.0/8 */
    {0xA9FE0000, 16, ADDRESS_NEVER},   /* 169.254.0.0/16, link-local and machine metadata */
    {0x0A000000, 8, ADDRESS_PRIVATE},  /* 10.0.0.0/8 */
    {0xAC100000, 12, ADDRESS_PRIVATE}, /* 172.16.0.0/12 */
    {0xC0A80000, 16, ADDRESS_PRIVATE}, /* 192.168.0.0/16 */
    {0x64400000, 10, ADDRESS_PRIVATE}, /* 100.64.0.0/10, carrier NAT */
    {0xC0000000, 24, ADDRESS_PRIVATE}, /* 192.0.0.0/24, protocol assignments */
    {0xC6120000, 15, ADDRESS_PRIVATE}, /* 198.18.0.0/15, benchmarking */
    {0xE0000000, 3, ADDRESS_NEVER},    /* 224.0.0.0/4 multicast, 240.0.0.0/4 reserved, broadcast */
};

static enum address_kind kind4(uint32_t address) {
    for (size_t i = 0; i < sizeof ranges4 / sizeof ranges4[0]; i++) {
        uint32_t mask = UINT32_MAX << (32 - ranges4[i].bits);
        if ((address & mask) == ranges4[i].network)
            return ranges4[i].kind;
    }
    return ADDRESS_PUBLIC;
}

static uint32_t big_endian(const uint8_t *bytes) {
    return (uint32_t)bytes[0] << 24 | (uint32_t)bytes[1] << 16 | (uint32_t)bytes[2] << 8 | bytes[3];
}

struct range6 {
    uint8_t prefix[16];
    int bits;
    enum address_kind kind;
    int ipv4_at; /* offset of the IPv4 address inside that decides instead, 0: none */
};

static const struct range6 ranges6[] = {
    {{0}, 128, ADDRESS_NEVER, 0},                                                /* :: */
    {{[15] = 1}, 128, ADDRESS_LOOPBACK, 0},                                      /* ::1 */
    {{[10] = 0xff, [11] = 0xff}, 96, ADDRESS_PUBLIC, 12},                        /* mapped */
    {{0}, 96, ADDRESS_PUBLIC, 12},                                               /* compatible */
    {{0x00, 0x64, 0xff, 0x9b}, 96, ADDRESS_PUBLIC, 12},                          /* 64:ff9b::/96 */
    {{0x00, 0x64, 0xff, 0x9b, 0x00, 0x01}, 48, ADDRESS_PRIVATE, 0},              /* RFC 8215 */
    {{0x20, 0x02}, 16, ADDRESS_PUBLIC, 2},                                       /* 6to4 */
    {{0xfd, 0x00, 0x0e, 0xc2, [14] = 0x02, [15] = 0x54}, 128, ADDRESS_NEVER, 0}, /* metadata */
    {{0xfc}, 7, ADDRESS_PRIVATE, 0},                                             /* unique local */
    {{0xfe, 0x80}, 10, ADDRESS_NEVER, 0},                                        /* link-local */
    {{0xfe, 0xc0}, 10, ADDRESS_PRIVATE, 0},                                      /* site-local */
    {{0xff}, 8, ADDRESS_NEVER, 0},                                               /* multicast */
};

static bool within(const uint8_t *address, const struct range6 *range) {
    int whole = range->bits / 8, rest = range->bits % 8;
    if (memcmp(address, range->prefix, (size_t)whole) != 0)
        return false;
    return rest == 0 || (address[whole] >> (8 - rest)) == (range->prefix[whole] >> (8 - rest));
}

static enum address_kind kind6(const uint8_t *address) {
    for (size_t i = 0; i < sizeof ranges6 / sizeof ranges6[0]; i++) {
        if (!within(address, &ranges6[i]))
            continue;
        return ranges6[i].ipv4_at ? kind4(big_endian(address + ranges6[i].ipv4_at))
                                  : ranges6[i].kind;
    }
    return ADDRESS_PUBLIC;
}

enum address_kind address_kind(const struct sockaddr *address) {
    if (address->sa_family == AF_INET) {
        struct sockaddr_in in;
        memcpy(&in, address, sizeof in);
        return kind4(ntohl(in.sin_addr.s_addr));
    }
    if (address->sa_family == AF_INET6) {
        struct sockaddr_in6 in;
        memcpy(&in, address, sizeof in);
        return kind6(in.sin6_addr.s6_addr);
    }
    return ADDRESS_NEVER;
}

enum address_kind address_kind_of_text(const char *text) {
    uint8_t bytes[16];
    if (inet_pton(AF_INET, text, bytes) == 1)
        return kind4(big_endian(bytes));
    if (inet_pton(AF_INET6, text, bytes) == 1)
        return kind6(bytes);
    return ADDRESS_NEVER;
}

bool address_url_names_loopback(const char *url) {
    static const char *const names[] = {"127.0.0.1", "localhost", "[::1]"};
    const char *host = strstr(url, "://");
    if (!host)
        return false;
    host += 3;
    size_t length = strcspn(host, "/?#\\");
    for (size_t i = length; i > 0; i--) /* behind a user name, if there is one */
        if (host[i - 1] == '@') {
            host += i;
            length -= i;
            break;
        }
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        size_t size = strlen(names[i]);
        if (length >= size && strncasecmp(host, names[i], size) == 0 &&
            (length == size || host[size] == ':'))
            return true;
    }
    return false;
}

const char *address_refusal(const struct address_rule *rule, enum address_kind kind) {
    switch (kind) {
    case ADDRESS_PUBLIC:
        return rule->encrypted ? NULL : "plain http to a public address refused, use https";
    case ADDRESS_LOOPBACK:
        return rule->url_names_loopback || rule->allow_private ? NULL : "loopback address refused";
    case ADDRESS_PRIVATE:
        return rule->allow_private ? NULL : "private address refused";
    case ADDRESS_NEVER:
        break;
    }
    return "link-local, multicast or reserved address refused";
}
