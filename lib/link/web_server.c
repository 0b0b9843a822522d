/*
 * libmicrohttpd with its own epoll descriptor, which the daemon's loop polls; no threads. A request
 * is collected whole, then the handler runs in one go.
 *
 * The library closes a connection on which nothing moves for a while; who pauses while reading an
 * answer, as somebody does behind a pager, has longer. That alone does not help against one that
 * sends a byte now and then, so each connection also has a time by which its request must be
 * complete, and one by which its answer must be taken; and some of the places are kept free for
 * who comes next (web_visitors.h).
 */
#include "link/web_server.h"

#include "link/web_checks.h"
#include "link/web_server_response.h"
#include "link/web_socket.h"
#include "link/web_visitors.h"

#include <arpa/inet.h>
#include <limits.h>
#include <microhttpd.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <unistd.h>

#define PAGE_BODY_BYTES_MAX (64 * 1024)
#define CONNECTIONS_MAX 64
#define OWN_DESCRIPTORS 32                  /* of the whole program, without these connections */
#define CONNECTION_MEMORY_BYTES (32 * 1024) /* headers of one request */
#define IDLE_S 10
#define REQUEST_S 30
#define ANSWER_S 300
#define HELD_BYTES_MAX (16 * 1024 * 1024) /* requests and answers of all connections together */

struct web_server {
    struct MHD_Daemon *daemon;
    web_handler *handler;
    void *context;
    bool is_operator;
    size_t body_bytes_max;
    int port;
    struct web_hosts hosts; /* not asked on a Unix socket: it has no name to be confused about */
    char *socket_path;
    dev_t socket_device;
    ino_t socket_inode;
    struct web_visitors visitors;
    size_t stay;        /* beyond so many the slowest makes room for who comes */
    bool somebody_left; /* in the last turn: whoever waits to come in is taken in the next */
    unsigned idle_s, request_s;
    int64_t now_ms;    /* monotonic, of the turn */
    int64_t looked_ms; /* when the slow were last looked for */
};

/** One request on its way in. */
struct incoming {
    bool begun;
    int refusal; /* HTTP status to answer instead of asking the handler, 0: none */
    char *body;
    size_t length, capacity;
};

/* ---- connections ---- */

static void on_connection(void *context, struct MHD_Connection *connection, void **slot,
                          enum MHD_ConnectionNotificationCode what) {
    struct web_server *server = context;
    if (what == MHD_CONNECTION_NOTIFY_STARTED) {
        const union MHD_ConnectionInfo *info =
            MHD_get_connection_info(connection, MHD_CONNECTION_INFO_CONNECTION_FD);
        /* Without memory for it the library's own limits still hold. */
        *slot = info ? web_visitors_add(&server->visitors, info->connect_fd, server->now_ms) : NULL;
        MHD_set_connection_option(connection, MHD_CONNECTION_OPTION_TIMEOUT, server->idle_s);
    } else {
        if (*slot)
            web_visitors_remove(&server->visitors, *slot);
        server->somebody_left = true;
        *slot = NULL;
    }
}

static struct web_visitor *visitor_of(struct MHD_Connection *connection) {
    const union MHD_ConnectionInfo *info =
        MHD_get_connection_info(connection, MHD_CONNECTION_INFO_SOCKET_CONTEXT);
    return info ? info->socket_context : NULL;
}

static void note_progress(const struct web_server *server, struct MHD_Connection *connection,
                          bool answering, size_t held_bytes) {
    struct web_visitor *visitor = visitor_of(connection);
    if (!visitor)
        return;
    visitor->answering = answering;
    visitor->since_ms = server->now_ms;
    visitor->held_bytes = held_bytes;
}

/* The slow are looked for once a second, a short place is made room for at once. */
static void cut_off_the_slow(struct web_server *server) {
    if (server->now_ms - server->looked_ms >= 1000) {
        server->looked_ms = server->now_ms;
        web_visitors_cut_slow(&server->visitors, server->now_ms, (int64_t)server->request_s * 1000,
                              (int64_t)ANSWER_S * 1000);
    }
    web_visitors_cut_down(&server->visitors, server->stay, HELD_BYTES_MAX);
}

/* ---- answers ---- */

static enum MHD_Result send_answer(const struct web_server *server,
                                   struct MHD_Connection *connection, struct web_answer *answer,
                                   bool has_body) {
    size_t held_bytes = answer->body ? answer->body_length : 0;
    unsigned status = 0;
    struct MHD_Response *response = web_response_make(answer, has_body, &status);
    if (!response)
        return MHD_NO;
    enum MHD_Result result = MHD_queue_response(connection, status, response);
    MHD_destroy_response(response);
    MHD_set_connection_option(connection, MHD_CONNECTION_OPTION_TIMEOUT, (unsigned)ANSWER_S);
    note_progress(server, connection, true, held_bytes);
    return result;
}

static enum MHD_Result send_refusal(const struct web_server *server,
                                    struct MHD_Connection *connection, int status) {
    struct web_answer answer = web_refusal(status);
    return send_answer(server, connection, &answer, true);
}

/* ---- requests ---- */

/** The library calls this with the request target as sent; what it returns stays with the request.
 */
static void *on_target(void *context, const char *target, struct MHD_Connection *connection) {
    (void)context;
    (void)connection;
    struct incoming *incoming = calloc(1, sizeof(*incoming));
    if (incoming)
        incoming->refusal = web_check_target(target);
    return incoming;
}

static void on_completed(void *context, struct MHD_Connection *connection, void **slot,
                         enum MHD_RequestTerminationCode how) {
    (void)how;
    const struct web_server *server = context;
    struct incoming *incoming = *slot;
    if (incoming)
        free(incoming->body);
    free(incoming);
    *slot = NULL;
    MHD_set_connection_option(connection, MHD_CONNECTION_OPTION_TIMEOUT, server->idle_s);
    note_progress(server, connection, false, 0);
}

/** False: drop the connection. A body that grows too large is read on for a while, then refused. */
static bool take_body(const struct web_server *server, struct incoming *incoming, const char *data,
                      size_t length) {
    size_t wanted = incoming->length + length;
    if (wanted > server->body_bytes_max) {
        incoming->refusal = MHD_HTTP_CONTENT_TOO_LARGE;
        incoming->length = wanted;
        return wanted <= 2 * server->body_bytes_max;
    }
    if (wanted + 1 > incoming->capacity) {
        size_t capacity = incoming->capacity ? incoming->capacity : 1024;
        while (capacity < wanted + 1)
            capacity *= 2;
        char *grown = realloc(incoming->body, capacity);
        if (!grown)
            return false;
        incoming->body = grown;
        incoming->capacity = capacity;
    }
    memcpy(incoming->body + incoming->length, data, length);
    incoming->length = wanted;
    incoming->body[wanted] = '\0'; /* a convenience: parsers of text find an end */
    return true;
}

/* In text, without the port; "" where there is none. */
static void write_address(struct MHD_Connection *connection, char text[INET6_ADDRSTRLEN]) {
    const union MHD_ConnectionInfo *info =
        MHD_get_connection_info(connection, MHD_CONNECTION_INFO_CLIENT_ADDRESS);
    const struct sockaddr *other = info ? info->client_addr : NULL;
    text[0] = '\0';
    if (other && other->sa_family == AF_INET)
        inet_ntop(AF_INET, &((const struct sockaddr_in *)(const void *)other)->sin_addr, text,
                  INET6_ADDRSTRLEN);
    else if (other && other->sa_family == AF_INET6)
        inet_ntop(AF_INET6, &((const struct sockaddr_in6 *)(const void *)other)->sin6_addr, text,
                  INET6_ADDRSTRLEN);
}

static enum MHD_Result run_handler(struct web_server *server, struct MHD_Connection *connection,
                                   const char *path, const char *method,
                                   const struct incoming *incoming) {
    char address[INET6_ADDRSTRLEN];
    write_address(connection, address);
    const struct web_request request = {
        .method = strcmp(method, "HEAD") == 0 ? "GET" : method,
        .path = path,
        .body = incoming->body ? incoming->body : "",
        .body_length = incoming->length,
        .content_type = MHD_lookup_connection_value(connection, MHD_HEADER_KIND, "Content-Type"),
        .from_operator = server->is_operator,
        .address = address,
        .connection = connection,
    };
    struct web_answer answer = {0};
    server->handler(server->context, &request, &answer);
    return send_answer(server, connection, &answer, strcmp(method, "HEAD") != 0);
}

static enum MHD_Result on_request(void *context, struct MHD_Connection *connection,
                                  const char *path, const char *method, const char *version,
                                  const char *data, size_t *length, void **slot) {
    (void)version;
    struct web_server *server = context;
    struct incoming *incoming = *slot;
    if (!incoming)
        return MHD_NO; /* out of memory */
    if (!incoming->begun) {
        incoming->begun = true;
        if (!incoming->refusal)
            incoming->refusal =
                web_check_request(connection, method, server->is_operator ? NULL : &server->hosts,
                                  server->body_bytes_max);
        return incoming->refusal ? send_refusal(server, connection, incoming->refusal) : MHD_YES;
    }
    if (*length > 0) {
        bool taken = take_body(server, incoming, data, *length);
        struct web_visitor *visitor = visitor_of(connection);
        if (visitor)
            visitor->held_bytes = incoming->capacity;
        *length = 0;
        return taken ? MHD_YES : MHD_NO;
    }
    if (incoming->refusal)
        return send_refusal(server, connection, incoming->refusal);
    return run_handler(server, connection, path, method, incoming);
}

static const char *look_up(const struct web_request *request, enum MHD_ValueKind kind,
                           const char *name) {
    const char *value = NULL;
    size_t length = 0;
    if (MHD_lookup_connection_value_n(request->connection, kind, name, strlen(name), &value,
                                      &length) == MHD_NO)
        return NULL;
    return value ? value : ""; /* "?all" has a name and no value */
}

const char *web_query(const struct web_request *request, const char *name) {
    return look_up(request, MHD_GET_ARGUMENT_KIND, name);
}

const char *web_header(const struct web_request *request, const char *name) {
    return look_up(request, MHD_HEADER_KIND, name);
}

const char *web_cookie(const struct web_request *request, const char *name) {
    return look_up(request, MHD_COOKIE_KIND, name);
}

/* ---- life ---- */

static void ignore_log(void *context, const char *format, va_list arguments) {
    (void)context;
    (void)format;
    (void)arguments;
}

/* Where descriptors are few, store, broker and deliveries come before people who look. */
static unsigned connections_most(void) {
    struct rlimit limit;
    if (getrlimit(RLIMIT_NOFILE, &limit) != 0 ||
        limit.rlim_cur >= OWN_DESCRIPTORS + CONNECTIONS_MAX)
        return CONNECTIONS_MAX;
    return limit.rlim_cur > OWN_DESCRIPTORS + 2 ? (unsigned)(limit.rlim_cur - OWN_DESCRIPTORS) : 2;
}

static bool start_daemon(struct web_server *server, int descriptor) {
    unsigned most = connections_most();
    server->stay = most - 1 - most / 4;
    server->daemon = MHD_start_daemon(
        MHD_USE_EPOLL | MHD_USE_ERROR_LOG, 0, NULL, NULL, on_request, server,
        MHD_OPTION_EXTERNAL_LOGGER, ignore_log, NULL, MHD_OPTION_LISTEN_SOCKET, descriptor,
        MHD_OPTION_CONNECTION_LIMIT, most, MHD_OPTION_CONNECTION_TIMEOUT, (unsigned)IDLE_S,
        MHD_OPTION_CONNECTION_MEMORY_LIMIT, (size_t)CONNECTION_MEMORY_BYTES,
        MHD_OPTION_STRICT_FOR_CLIENT, 1, MHD_OPTION_URI_LOG_CALLBACK, on_target, server,
        MHD_OPTION_NOTIFY_COMPLETED, on_completed, server, MHD_OPTION_NOTIFY_CONNECTION,
        on_connection, server, MHD_OPTION_END);
    return server->daemon != NULL;
}

/** Takes over the descriptor. */
static struct web_server *create(int descriptor, bool is_operator, web_handler *handler,
                                 void *context, char *why, size_t why_size) {
    if (descriptor < 0)
        return NULL;
    struct web_server *server = calloc(1, sizeof(*server));
    if (server) {
        server->handler = handler;
        server->context = context;
        server->is_operator = is_operator;
        server->body_bytes_max = is_operator ? WEB_BODY_BYTES_MAX : PAGE_BODY_BYTES_MAX;
        server->port = web_socket_port(descriptor);
        server->idle_s = IDLE_S;
        server->request_s = REQUEST_S;
        if (start_daemon(server, descriptor))
            return server;
        free(server);
    }
    snprintf(why, why_size, "the HTTP server cannot be started");
    close(descriptor);
    return NULL;
}

struct web_server *web_server_create_tcp(const char *address, int port, web_handler *handler,
                                         void *context, char *why, size_t why_size) {
    return create(web_socket_listen_tcp(address, port, why, why_size), false, handler, context, why,
                  why_size);
}

struct web_server *web_server_create_socket(const char *path, web_handler *handler, void *context,
                                            char *why, size_t why_size) {
    struct web_server *server =
        create(web_socket_listen_unix(path, why, why_size), true, handler, context, why, why_size);
    struct stat made;
    if (server && lstat(path, &made) == 0) {
        server->socket_path = strdup(path);
        server->socket_device = made.st_dev;
        server->socket_inode = made.st_ino;
    }
    return server;
}

/** Removes our socket, unless another process has put its own there meanwhile. */
static void remove_socket(const struct web_server *server) {
    struct stat there;
    if (server->socket_path && lstat(server->socket_path, &there) == 0 &&
        there.st_dev == server->socket_device && there.st_ino == server->socket_inode)
        unlink(server->socket_path);
}

void web_server_destroy(struct web_server *server) {
    if (!server)
        return;
    remove_socket(server);
    MHD_stop_daemon(server->daemon); /* closes the listening socket too */
    web_hosts_clear(&server->hosts);
    free(server->socket_path);
    free(server);
}

int web_server_descriptor(const struct web_server *server) {
    const union MHD_DaemonInfo *info =
        MHD_get_daemon_info(server->daemon, MHD_DAEMON_INFO_EPOLL_FD);
    return info ? info->epoll_fd : -1;
}

int web_server_port(const struct web_server *server) {
    return server->port;
}

void web_server_turn(struct web_server *server, int64_t monotonic_ms) {
    server->now_ms = monotonic_ms;
    server->somebody_left = false;
    cut_off_the_slow(server);
    MHD_run(server->daemon);
}

int web_server_timeout_ms(const struct web_server *server) {
    MHD_UNSIGNED_LONG_LONG timeout_ms = 0;
    int result = server->visitors.count ? 1000 : -1; /* someone to watch over */
    if (server->somebody_left)
        return 0;
    if (MHD_get_timeout(server->daemon, &timeout_ms) == MHD_YES &&
        (result < 0 || timeout_ms < (MHD_UNSIGNED_LONG_LONG)result))
        result = timeout_ms > INT_MAX ? INT_MAX : (int)timeout_ms;
    return result;
}

void web_server_allow_hosts(struct web_server *server, char *const *hosts, size_t count) {
    web_hosts_set(&server->hosts, hosts, count);
}

void web_server_set_patience(struct web_server *server, unsigned idle_s, unsigned request_s) {
    server->idle_s = idle_s;
    server->request_s = request_s;
}

size_t web_server_connections(const struct web_server *server) {
    return server->visitors.count;
}
