/*
 * web_bench: a web server in a thread of its own, the answers it gives, and a client of raw bytes.
 * Functions in a header, because only programs that link the web server can use them.
 */
#ifndef WEB_BENCH_H
#define WEB_BENCH_H

#include "link/web_server.h"
#include "test_support.h"

#include <arpa/inet.h>
#include <poll.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <time.h>
#include <unistd.h>

static const char static_page[] = "<p>embedded</p>";

struct running {
    struct web_server *server;
    pthread_t thread;
    atomic_bool stop;
    atomic_int handled, streamed, closed;
};

static struct running running;

static char why[256];

/* ---- the server under test, in a thread of its own ---- */

static char *print(const char *format, ...) __attribute__((format(printf, 1, 2)));

static inline char *print(const char *format, ...) {
    va_list arguments;
    char *text = NULL;
    va_start(arguments, format);
    ck_assert_int_ge(vasprintf(&text, format, arguments), 0);
    va_end(arguments);
    return text;
}

static inline const char *or_dash(const char *text) {
    return text ? text : "-";
}

/* ---- an answer in parts: 1 MiB of letters by their place, or a part of it, then trouble ---- */

enum { STREAM_BYTES = 1 << 20, PART_BYTES = 5000 };

struct parts {
    size_t at, breaks_at;
    unsigned asked;
};

static inline ssize_t next_part(void *context, char *buffer, size_t size) {
    struct parts *parts = context;
    if (parts->at >= parts->breaks_at)
        return WEB_STREAM_BROKEN;
    if (parts->at == STREAM_BYTES)
        return WEB_STREAM_END;
    if (++parts->asked % 3 == 0)
        return 0; /* none yet */
    size_t length = STREAM_BYTES - parts->at;
    length = length > PART_BYTES ? PART_BYTES : length;
    length = length > size ? size : length;
    for (size_t i = 0; i < length; i++)
        buffer[i] = (char)('a' + (parts->at + i) % 26);
    parts->at += length;
    atomic_fetch_add(&running.streamed, (int)length);
    return (ssize_t)length;
}

static inline void close_parts(void *context) {
    free(context);
    atomic_fetch_add(&running.closed, 1);
}

static inline void begin_parts(struct web_answer *answer, size_t breaks_at) {
    struct parts *parts = malloc(sizeof(*parts));
    ck_assert_ptr_nonnull(parts);
    *parts = (struct parts){.breaks_at = breaks_at};
    answer->stream = (struct web_stream){next_part, close_parts, parts};
}

static inline void handle(void *context, const struct web_request *request,
                          struct web_answer *answer) {
    (void)context;
    atomic_fetch_add(&running.handled, 1);
    answer->status = 200;
    answer->content_type = "text/plain; charset=utf-8";
    if (strcmp(request->path, "/stream") == 0) {
        begin_parts(answer, SIZE_MAX);
        return;
    }
    if (strcmp(request->path, "/broken-stream") == 0) {
        begin_parts(answer, STREAM_BYTES / 2);
        return;
    }
    if (strcmp(request->path, "/stream-without-status") == 0) {
        begin_parts(answer, SIZE_MAX);
        answer->status = 0;
        return;
    }
    if (strcmp(request->path, "/echo") == 0) {
        answer->body = malloc(request->body_length + 1);
        ck_assert_ptr_nonnull(answer->body);
        memcpy(answer->body, request->body, request->body_length);
        answer->body_length = request->body_length;
        return;
    }
    if (strcmp(request->path, "/static") == 0) {
        answer->static_body = static_page;
        answer->body_length = sizeof(static_page) - 1;
        answer->headers[answer->header_count].name = "Cache-Control";
        answer->headers[answer->header_count++].value = strdup("max-age=60");
        return;
    }
    if (strcmp(request->path, "/large") == 0) {
        answer->body_length = 8u << 20;
        answer->body = calloc(1, answer->body_length);
        return;
    }
    if (strcmp(request->path, "/split") == 0) {
        answer->headers[answer->header_count].name = "Location";
        answer->headers[answer->header_count++].value = strdup("/x\r\nSet-Cookie: stolen=1");
        return;
    }
    if (strcmp(request->path, "/nothing") == 0) {
        answer->status = 204;
        return;
    }
    if (strcmp(request->path, "/unset") == 0) {
        answer->status = 0;
        return;
    }
    answer->body =
        print("%s %s q=%s n=%s h=%s c=%s t=%s o=%d", request->method, request->path,
              or_dash(web_query(request, "q")), or_dash(web_query(request, "none")),
              or_dash(web_header(request, "X-Test")), or_dash(web_cookie(request, "key")),
              or_dash(request->content_type), request->from_operator);
    answer->body_length = strlen(answer->body);
}

static inline int64_t now_ms(void) {
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (int64_t)now.tv_sec * 1000 + now.tv_nsec / 1000000;
}

static inline void *serve(void *argument) {
    (void)argument;
    while (!atomic_load(&running.stop)) {
        struct pollfd set = {.fd = web_server_descriptor(running.server), .events = POLLIN};
        int timeout_ms = web_server_timeout_ms(running.server);
        poll(&set, 1, timeout_ms < 0 || timeout_ms > 20 ? 20 : timeout_ms);
        web_server_turn(running.server, now_ms());
    }
    return NULL;
}

static inline void run(void) {
    atomic_store(&running.stop, false);
    atomic_store(&running.handled, 0);
    atomic_store(&running.streamed, 0);
    atomic_store(&running.closed, 0);
    ck_assert_int_eq(pthread_create(&running.thread, NULL, serve, NULL), 0);
}

static inline void start_tcp(void) {
    running.server = web_server_create_tcp("127.0.0.1", 0, handle, NULL, why, sizeof(why));
    ck_assert_msg(running.server != NULL, "%s", why);
    ck_assert_int_gt(web_server_port(running.server), 0);
    run();
}

static inline void start_unix(const char *path) {
    running.server = web_server_create_socket(path, handle, NULL, why, sizeof(why));
    ck_assert_msg(running.server != NULL, "%s", why);
    run();
}

static inline void stop(void) {
    atomic_store(&running.stop, true);
    pthread_join(running.thread, NULL);
    web_server_destroy(running.server);
}

/* ---- a client of raw bytes ---- */

static inline int connect_tcp(void) {
    struct sockaddr_in address = {.sin_family = AF_INET,
                                  .sin_port = htons((uint16_t)web_server_port(running.server)),
                                  .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    int descriptor = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    ck_assert_int_eq(connect(descriptor, (struct sockaddr *)&address, sizeof(address)), 0);
    return descriptor;
}

static inline int connect_unix(const char *path) {
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    snprintf(address.sun_path, sizeof(address.sun_path), "%s", path);
    int descriptor = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
    ck_assert_int_eq(connect(descriptor, (struct sockaddr *)&address, sizeof(address)), 0);
    return descriptor;
}

static inline void send_all(int descriptor, const void *bytes, size_t length) {
    for (size_t sent = 0; sent < length;) {
        ssize_t now = send(descriptor, (const char *)bytes + sent, length - sent, MSG_NOSIGNAL);
        if (now <= 0)
            return; /* the server may close early: its answer tells */
        sent += (size_t)now;
    }
}

/** Everything until the server closes (or 15 s pass), null-terminated; the caller frees. */
static inline char *receive_all(int descriptor, size_t *length) {
    size_t have = 0, room = 1u << 16;
    char *bytes = malloc(room);
    for (;;) {
        struct pollfd set = {.fd = descriptor, .events = POLLIN};
        if (poll(&set, 1, 15000) <= 0)
            break;
        if (have + 1 >= room)
            bytes = realloc(bytes, room *= 2);
        ck_assert_ptr_nonnull(bytes);
        ssize_t got = recv(descriptor, bytes + have, room - have - 1, 0);
        if (got <= 0)
            break;
        have += (size_t)got;
    }
    bytes[have] = '\0';
    close(descriptor);
    if (length)
        *length = have;
    return bytes;
}

static inline char *exchange(const char *request) {
    int descriptor = connect_tcp();
    send_all(descriptor, request, strlen(request));
    return receive_all(descriptor, NULL);
}

static inline int status_of(const char *answer) {
    int status = 0;
    return sscanf(answer, "HTTP/1.%*d %d", &status) == 1 ? status : 0;
}

static inline const char *body_of(const char *answer) {
    const char *end = strstr(answer, "\r\n\r\n");
    return end ? end + 4 : "";
}

#define TAIL " HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n"

#endif
