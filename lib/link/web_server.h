/*
 * web_server: HTTP on a TCP port of loopback or on a Unix socket (libmicrohttpd, external epoll in
 * the daemon's loop). It carries requests and answers; what they mean is the daemon's.
 */
#ifndef LINK_WEB_SERVER_H
#define LINK_WEB_SERVER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <sys/types.h>

#define WEB_BODY_BYTES_MAX (16 * 1024 * 1024) /* on the Unix socket; 64 KiB on the page port */

struct web_request {
    const char *method; /* "GET" or "POST"; HEAD comes as GET, its body is left out on the way */
    const char *path;   /* decoded path, "/api/systems" */
    const void *body;
    size_t body_length;
    const char *content_type; /* or NULL */
    bool from_operator;       /* came over the operator socket: may change things */
    const char *address;      /* of the other end, "203.0.113.7"; "" on the Unix socket */
    void *connection;         /* for web_query and web_header */
};
/** Value of a query parameter, decoded, or NULL. Valid during the call. */
const char *web_query(const struct web_request *request, const char *name);
/** Value of a header or cookie, or NULL. Valid during the call. */
const char *web_header(const struct web_request *request, const char *name);
const char *web_cookie(const struct web_request *request, const char *name);

enum { WEB_STREAM_END = -1, WEB_STREAM_BROKEN = -2 };

/** An answer of any length, asked for part by part as the client takes it. */
struct web_stream {
    /**
     * Writes the next part into `buffer`, at most `size` bytes, and returns how many; 0: none yet,
     * it is asked again in the next turn. WEB_STREAM_END: that was all. WEB_STREAM_BROKEN: it can't
     * go on; the connection breaks off without the last chunk, so that no client takes what it has
     * for the whole (RFC 9112, section 8). NULL: no stream.
     */
    ssize_t (*next)(void *context, char *buffer, size_t size);
    void (*close)(void *context); /* always called once, also when the client left early */
    void *context;
};

struct web_answer {
    int status;
    const char *content_type; /* a literal */
    char *body;               /* taken over, freed with free() */
    size_t body_length;
    const char *static_body;  /* instead of body: never freed (embedded files) */
    struct web_stream stream; /* instead of body: taken over */
    struct {
        const char *name; /* a literal */
        char *value;      /* taken over, freed with free() */
    } headers[8];
    size_t header_count;
};

/*
 * Every answer gets the security headers (no sniffing, no referrer, no framing, scripts and styles
 * from here only) and Cache-Control: no-store; of these a handler's own header replaces only
 * Cache-Control, for embedded files. Answered without the handler: 400 bad percent codes, 405 other
 * methods, 413 body too large, 414 address too long, 421 foreign Host.
 */
typedef void web_handler(void *context, const struct web_request *request,
                         struct web_answer *answer);

struct web_server;

/** Listens on address:port. Port 0 takes a free one (web_server_port tells). NULL with `why`. */
struct web_server *web_server_create_tcp(const char *address, int port, web_handler *handler,
                                         void *context, char *why, size_t why_size);
/**
 * Listens on a Unix socket (made with mode 0660). A socket that nobody listens on any more is
 * replaced; anything else at that path is left alone. NULL with `why`.
 */
struct web_server *web_server_create_socket(const char *path, web_handler *handler, void *context,
                                            char *why, size_t why_size);
void web_server_destroy(struct web_server *server); /* NULL does nothing */

/** Descriptor to poll for reading. */
int web_server_descriptor(const struct web_server *server);
int web_server_port(const struct web_server *server);
/** Handles what is ready. The time is monotonic. */
void web_server_turn(struct web_server *server, int64_t monotonic_ms);
/** Milliseconds until a turn is needed at the latest, -1: none. */
int web_server_timeout_ms(const struct web_server *server);

/** Further Host names that are answered; loopback names always are, anything else gets 421. */
void web_server_allow_hosts(struct web_server *server, char *const *hosts, size_t count);

/**
 * Seconds after which a connection is closed: on which nothing moves (default 10; 300 while it has
 * an answer to read), and whose request is not there in whole (default 30), however busily it
 * drips. For new connections; tests use less.
 */
void web_server_set_patience(struct web_server *server, unsigned idle_s, unsigned request_s);

/** Open connections, for metrics. */
size_t web_server_connections(const struct web_server *server);

#endif
