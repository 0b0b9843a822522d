#include "settings/checked_text.h"

#include "complaints.h"
#include "measure/json_pointer.h"

#include <stddef.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#define LETTERS "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz"
#define DIGITS "0123456789"

static bool consists_of(const char *text, const char *allowed) {
    return text[strspn(text, allowed)] == '\0';
}

/* C0, DEL and, in UTF-8, C1; of them the ones in `except` are fine. */
static bool has_control(const char *text, const char *except) {
    for (const unsigned char *at = (const unsigned char *)text; *at; at++) {
        if ((*at < 0x20 || *at == 0x7F) && !strchr(except, *at))
            return true;
        if (*at == 0xC2 && at[1] >= 0x80 && at[1] <= 0x9F)
            return true;
    }
    return false;
}

const char *checked_text_line(const char *text) {
    if (!*text)
        return SAY_LINE_EMPTY;
    if (has_control(text, ""))
        return SAY_LINE_CONTROL;
    return strlen(text) <= 500 ? NULL : SAY_LINE_LONG;
}

const char *checked_text_note(const char *text) {
    if (has_control(text, "\n\t"))
        return SAY_NOTE_CONTROL;
    return strlen(text) <= 20000 ? NULL : SAY_NOTE_LONG;
}

const char *checked_text_id(const char *text) {
    size_t length = strlen(text);
    if (length >= 1 && length <= 64 && strspn(text, LETTERS DIGITS) >= 1 &&
        consists_of(text, LETTERS DIGITS "._-"))
        return NULL;
    return SAY_NO_ID;
}

const char *checked_text_file_name(const char *text) {
    if (!*text)
        return "is empty; allowed: a file name";
    if (has_control(text, ""))
        return "has a control character; allowed: a file name";
    return strlen(text) < 4096 ? NULL : "is too long; allowed: 4095 bytes";
}

const char *checked_text_socket_name(const char *text) {
    const char *problem = checked_text_file_name(text);
    if (problem)
        return problem;
    return strlen(text) <= 107 ? NULL : "is too long for a socket; allowed: 107 bytes";
}

const char *checked_text_host(const char *text) {
    size_t length = strlen(text);
    if (length >= 1 && length <= 253 && text[0] != '-' && text[0] != '.' &&
        consists_of(text, LETTERS DIGITS ".-_"))
        return NULL;
    /* An IPv6 address; the resolver has the last word on its form. */
    if (length >= 2 && length <= 45 && strchr(text, ':') &&
        consists_of(text, "0123456789abcdefABCDEF:."))
        return NULL;
    return "is not a host; allowed: a host name or an IP address, without port";
}

static bool port_is_good(const char *port, size_t length) {
    int number = 0;
    if (length < 1 || length > 5)
        return false;
    for (size_t i = 0; i < length; i++) {
        if (port[i] < '0' || port[i] > '9')
            return false;
        number = number * 10 + (port[i] - '0');
    }
    return number >= 1 && number <= 65535;
}

size_t checked_text_host_of(const char *text, size_t *from, int *port) {
    const char *bracket = text[0] == '[' ? strchr(text, ']') : NULL;
    const char *colon = bracket ? bracket + 1 : strchr(text, ':');
    bool has_port = colon && *colon == ':' && !strchr(colon + 1, ':');
    *from = bracket != NULL;
    *port = has_port ? (int)strtol(colon + 1, NULL, 10) : 0;
    return bracket    ? (size_t)(bracket - text) - 1
           : has_port ? (size_t)(colon - text)
                      : strlen(text);
}

const char *checked_text_host_and_port(const char *text) {
    static const char problem[] =
        "is not a host; allowed: a host name or an IP address, with a port such as "
        "broker-3:1884 or [2001:db8::1]:1884 at will";
    char host[256];
    size_t from = 0;
    int port = 0;
    size_t length = checked_text_host_of(text, &from, &port);
    if (length >= sizeof host)
        return problem;
    memcpy(host, text + from, length);
    host[length] = '\0';
    const char *behind = text + from + length + from; /* from 1: a bracket on each side */
    bool good =
        checked_text_host(host) == NULL &&
        (*behind == '\0' || (*behind == ':' && port_is_good(behind + 1, strlen(behind + 1))));
    return good ? NULL : problem;
}

const char *checked_text_time_zone(const char *text) {
    /* The name becomes part of a file name: it must not lead out of its folder. */
    size_t length = strlen(text);
    if (length >= 1 && length <= 64 && strspn(text, LETTERS) >= 1 && !strstr(text, "..") &&
        !strstr(text, "//") && text[length - 1] != '/' && consists_of(text, LETTERS DIGITS "._+-/"))
        return NULL;
    return SAY_NO_TIME_ZONE;
}

const char *checked_text_topic(const char *text) {
    size_t length = strlen(text);
    if (length < 1 || length > 65535)
        return "is not a topic; allowed: 1 to 65535 bytes";
    if (strpbrk(text, "+#"))
        return "has a wildcard; allowed: a topic without + and #";
    if (text[0] == '$')
        return "begins with $; allowed: a topic of your own";
    return has_control(text, "") ? "has a control character; allowed: a topic without" : NULL;
}

const char *checked_text_topic_filter(const char *text) {
    size_t length = strlen(text);
    if (length < 1 || length > 65535)
        return "is not a topic filter; allowed: 1 to 65535 bytes";
    if (text[0] == '$')
        return "begins with $; allowed: a filter of your own topics";
    if (has_control(text, ""))
        return "has a control character; allowed: a topic filter without";
    for (const char *at = text; *at; at++) {
        bool starts_level = at == text || at[-1] == '/';
        bool ends_level = at[1] == '\0' || at[1] == '/';
        if (*at == '+' && !(starts_level && ends_level))
            return "is not a topic filter; allowed: + only as a whole level";
        if (*at == '#' && !(starts_level && at[1] == '\0'))
            return "is not a topic filter; allowed: # only as the whole last level";
    }
    return NULL;
}

bool checked_text_filter_takes(const char *filter, const char *topic) {
    while (*filter && strcmp(filter, "#") != 0) {
        size_t part = strcspn(filter, "/"), level = strcspn(topic, "/");
        bool any = part == 1 && *filter == '+';
        if (!any && (part != level || strncmp(filter, topic, part) != 0))
            return false;
        filter += part;
        topic += level;
        if (*topic == '\0') /* "a/#" takes "a" too */
            return *filter == '\0' || strcmp(filter, "/#") == 0;
        if (*filter == '\0')
            return false;
        filter++;
        topic++;
    }
    return *filter == '#';
}

const char *checked_text_json_pointer(const char *text) {
    static const char problem[] = "is not a JSON Pointer; allowed: \"\" for the whole document, or "
                                  "a path such as /pressure/value, with ~1 for / and ~0 for ~";
    if (!json_pointer_valid(text))
        return problem;
    if (strlen(text) > 1000)
        return "is too long; allowed: 1000 bytes";
    return has_control(text, "") ? "has a control character; allowed: a JSON Pointer" : NULL;
}

const char *checked_text_senml_name(const char *text) {
    size_t length = strlen(text);
    if (length >= 1 && length <= 255 && strspn(text, LETTERS DIGITS) >= 1 &&
        consists_of(text, LETTERS DIGITS "-:./_"))
        return NULL;
    return "is not a SenML name; allowed: letters, digits and - : . / _, the first a letter or "
           "digit";
}

const char *checked_text_header_name(const char *text) {
    static const char *const ours[] = {
        "content-length",    "content-type", "connection",        "host",
        "transfer-encoding", "webhook-id",   "webhook-signature", "webhook-timestamp"};
    if (!*text || strlen(text) > 100 || !consists_of(text, LETTERS DIGITS "!#$%&'*+-.^_`|~"))
        return "is not a header name; allowed: letters, digits and -";
    for (size_t i = 0; i < sizeof ours / sizeof ours[0]; i++)
        if (strcasecmp(text, ours[i]) == 0)
            return "is set by the program itself; allowed: other headers";
    return NULL;
}

const char *checked_text_header_value(const char *text) {
    size_t length = strlen(text);
    if (length < 1 || length > 4000)
        return "is not a header value; allowed: 1 to 4000 bytes";
    for (const unsigned char *at = (const unsigned char *)text; *at; at++)
        if (*at < 0x20 || *at > 0x7E)
            return "has a line break or another byte that is no visible ASCII; allowed: one line "
                   "of ASCII text";
    if (text[0] == ' ' || text[length - 1] == ' ')
        return "begins or ends with a blank; allowed: one line of ASCII text";
    return NULL;
}

const char *checked_text_base(const char *text) {
    static const char problem[] = "is not a path to stand below; allowed: /radon, or /house/radon: "
                                  "letters, digits and - . _ between slashes, none at the end";
    if (!*text || strlen(text) > 100 || !consists_of(text, LETTERS DIGITS "-._/"))
        return problem;
    for (const char *part = text; *part;) {
        if (*part++ != '/')
            return problem;
        size_t length = strcspn(part, "/");
        if (length == 0 || strspn(part, ".") == length) /* "." and ".." lead elsewhere */
            return problem;
        part += length;
    }
    return NULL;
}

/* The authority of "scheme://authority/path", or NULL when it isn't http or https. */
static const char *url_authority(const char *url, size_t *length) {
    size_t skip = strncasecmp(url, "https://", 8) == 0  ? 8
                  : strncasecmp(url, "http://", 7) == 0 ? 7
                                                        : 0;
    if (!skip)
        return NULL;
    *length = strcspn(url + skip, "/?#");
    return url + skip;
}

/* Splits "host:port" or "[v6]:port"; the host is copied without brackets. */
static bool split_authority(const char *authority, size_t length, char *host, size_t size,
                            const char **port, size_t *port_length) {
    const char *from = authority, *end = authority + length, *host_end;
    if (length > 0 && *from == '[') {
        from++;
        host_end = memchr(from, ']', (size_t)(end - from));
        if (!host_end)
            return false;
    } else {
        host_end = memchr(from, ':', length);
        host_end = host_end ? host_end : end;
    }
    size_t host_length = (size_t)(host_end - from);
    if (host_length == 0 || host_length >= size)
        return false;
    memcpy(host, from, host_length);
    host[host_length] = '\0';
    if (host_end < end && *host_end == ']')
        host_end++;
    if (host_end < end && *host_end != ':')
        return false;
    *port = host_end < end ? host_end + 1 : NULL;
    *port_length = host_end < end ? (size_t)(end - host_end - 1) : 0;
    return true;
}

const char *checked_text_url(const char *text) {
    static const char problem[] = "is not a web address; allowed: https://HOST/PATH";
    size_t length = 0, port_length = 0;
    const char *authority = url_authority(text, &length), *port = NULL;
    char host[256];
    if (strlen(text) > 2048)
        return "is too long; allowed: 2048 bytes";
    for (const unsigned char *at = (const unsigned char *)text; *at; at++)
        if (*at <= 0x20 || *at > 0x7E || *at == '\\')
            return "has a blank, a line break or another byte that must be percent-encoded; "
                   "allowed: https://HOST/PATH";
    if (!authority)
        return problem;
    if (memchr(authority, '@', length))
        return "has a user name or password in it; allowed: https://HOST/PATH, and headers from a "
               "file for secrets";
    if (!split_authority(authority, length, host, sizeof host, &port, &port_length) ||
        checked_text_host(host) || (strchr(host, ':') && authority[0] != '['))
        return problem;
    return port && !port_is_good(port, port_length)
               ? "has a wrong port; allowed: https://HOST:PORT/PATH with a port from 1 to 65535"
               : NULL;
}

bool checked_text_url_is_https(const char *url) {
    return strncasecmp(url, "https://", 8) == 0;
}

bool checked_text_url_is_loopback(const char *url) {
    size_t length = 0, port_length = 0;
    const char *authority = url_authority(url, &length), *port = NULL;
    char host[256];
    return authority &&
           split_authority(authority, length, host, sizeof host, &port, &port_length) &&
           checked_text_host_is_loopback(host);
}

/* A name such as 127.0.0.1.example is no loopback address: all four numbers are needed. */
static bool is_dotted_loopback(const char *host) {
    int parts = 0;
    for (const char *at = host; parts < 4; at++, parts++) {
        int number = 0, digits = 0;
        for (; *at >= '0' && *at <= '9' && digits < 4; at++, digits++)
            number = number * 10 + (*at - '0');
        if (digits < 1 || digits > 3 || number > 255 || (parts == 0 && number != 127) ||
            *at != (parts == 3 ? '\0' : '.'))
            return false;
        if (parts == 3)
            return true;
    }
    return false;
}

bool checked_text_host_is_loopback(const char *host) {
    return strcasecmp(host, "localhost") == 0 || strcmp(host, "::1") == 0 ||
           is_dotted_loopback(host);
}
