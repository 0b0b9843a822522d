#include "link/web_checks.h"

#include "measure/array.h"

#include <microhttpd.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#define TARGET_BYTES_MAX 2048 /* path and query as sent */

static bool is_hex(char letter) {
    return (letter >= '0' && letter <= '9') || (letter >= 'a' && letter <= 'f') ||
           (letter >= 'A' && letter <= 'F');
}

/* RFC 3986 section 2.1, RFC 9112 section 3.2. */
int web_check_target(const char *target) {
    if (strlen(target) > TARGET_BYTES_MAX)
        return MHD_HTTP_URI_TOO_LONG;
    if (target[0] != '/')
        return MHD_HTTP_BAD_REQUEST;
    for (const char *at = target; *at; at++) {
        if ((unsigned char)*at <= ' ' || *at == 0x7f)
            return MHD_HTTP_BAD_REQUEST;
        if (*at == '%' && (!is_hex(at[1]) || !is_hex(at[2]) || (at[1] == '0' && at[2] == '0')))
            return MHD_HTTP_BAD_REQUEST;
    }
    return 0;
}

static bool same_name(const char *name, const char *host, size_t length) {
    return strlen(name) == length && strncasecmp(name, host, length) == 0;
}

/** A Host header is a name or address and perhaps a port (RFC 9110 section 7.2). */
static bool host_is_ours(const struct web_hosts *hosts, const char *host) {
    static const char *const loopback[] = {"localhost", "127.0.0.1", "[::1]"};
    const char *after = host[0] == '[' ? strchr(host, ']') : NULL;
    size_t length = after ? (size_t)(after - host) + 1 : strcspn(host, ":");
    const char *port = host + length;
    if (*port && (*port != ':' || strspn(port + 1, "0123456789") != strlen(port + 1)))
        return false;
    for (size_t i = 0; i < sizeof(loopback) / sizeof(loopback[0]); i++) {
        if (same_name(loopback[i], host, length))
            return true;
    }
    for (size_t i = 0; i < hosts->count; i++) {
        if (same_name(hosts->names[i], host, length))
            return true;
    }
    return false;
}

/** Headers that may be there once at most. */
struct single_headers {
    int hosts, lengths, encodings;
    bool bad; /* a name, a length or an encoding that nobody should guess at */
};

static enum MHD_Result note_single(void *context, enum MHD_ValueKind kind, const char *name,
                                   const char *value) {
    (void)kind;
    struct single_headers *headers = context;
    const char *text = value ? value : "";
    headers->bad |= strpbrk(name, " \t") != NULL; /* "Content-Length : 5" */
    if (strcasecmp(name, "Host") == 0) {
        headers->hosts++;
    } else if (strcasecmp(name, "Content-Length") == 0) {
        headers->lengths++;
        headers->bad |= !*text || strspn(text, "0123456789") != strlen(text);
    } else if (strcasecmp(name, "Transfer-Encoding") == 0) {
        headers->encodings++;
        headers->bad |= strcasecmp(text, "chunked") != 0;
    }
    return MHD_YES;
}

/**
 * Where does this request end? Unless there is one answer, no proxy before us need agree with us
 * (RFC 9112 section 6.3). The library takes the first of several lengths.
 */
static int check_headers(struct MHD_Connection *connection) {
    struct single_headers headers = {0};
    MHD_get_connection_values(connection, MHD_HEADER_KIND, note_single, &headers);
    return headers.bad || headers.hosts > 1 || headers.lengths + headers.encodings > 1
               ? MHD_HTTP_BAD_REQUEST
               : 0;
}

static int check_host(struct MHD_Connection *connection, const struct web_hosts *hosts) {
    const char *host = MHD_lookup_connection_value(connection, MHD_HEADER_KIND, "Host");
    return host && host_is_ours(hosts, host) ? 0 : MHD_HTTP_MISDIRECTED_REQUEST;
}

static int check_method(const char *method) {
    static const char *const known[] = {"GET", "HEAD", "POST"};
    for (size_t i = 0; i < sizeof(known) / sizeof(known[0]); i++) {
        if (strcmp(method, known[i]) == 0)
            return 0;
    }
    return MHD_HTTP_METHOD_NOT_ALLOWED;
}

/** A body announced as too large is refused before it is sent. */
static int check_length(struct MHD_Connection *connection, size_t body_bytes_max) {
    const char *text = MHD_lookup_connection_value(connection, MHD_HEADER_KIND, "Content-Length");
    if (!text)
        return 0;
    unsigned long long length = strtoull(text, NULL, 10);
    return length > body_bytes_max ? MHD_HTTP_CONTENT_TOO_LARGE : 0;
}

int web_check_request(struct MHD_Connection *connection, const char *method,
                      const struct web_hosts *hosts, size_t body_bytes_max) {
    int refusal = check_headers(connection);
    if (!refusal && hosts)
        refusal = check_host(connection, hosts);
    if (!refusal)
        refusal = check_method(method);
    return refusal ? refusal : check_length(connection, body_bytes_max);
}

/* ---- host names ---- */

void web_hosts_set(struct web_hosts *hosts, char *const *names, size_t count) {
    web_hosts_clear(hosts);
    for (size_t i = 0; i < count; i++)
        array_add_text(&hosts->names, &hosts->count, names[i]);
}

void web_hosts_clear(struct web_hosts *hosts) {
    array_free_texts(hosts->names, hosts->count);
    *hosts = (struct web_hosts){0};
}
