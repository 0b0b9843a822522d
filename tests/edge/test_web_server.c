/*
 * web_server over real sockets of this machine. Sources of the expected status codes: RFC 9110
 * (HTTP semantics: 405 with Allow in 15.5.6, 413 in 15.5.14, 414 in 15.5.15, 421 in 15.5.20, HEAD
 * in 9.3.2) and RFC 3986 section 2.1 (percent codes).
 */
#include "link/web_server.h"
#include "test_support.h"

#include <arpa/inet.h>
#include <errno.h>
#include <poll.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
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
static char folder[] = "/tmp/web_server_XXXXXX";

/* ---- the server under test, in a thread of its own ---- */

static char *print(const char *format, ...) __attribute__((format(printf, 1, 2)));
static char *print(const char *format, ...) {
    va_list arguments;
    char *text = NULL;
    va_start(arguments, format);
    ck_assert_int_ge(vasprintf(&text, format, arguments), 0);
    va_end(arguments);
    return text;
}

static const char *or_dash(const char *text) {
    return text ? text : "-";
}

/* ---- an answer in parts: 1 MiB of letters by their place, or a part of it, then trouble ---- */

enum { STREAM_BYTES = 1 << 20, PART_BYTES = 5000 };

struct parts {
    size_t at, breaks_at;
    unsigned asked;
};

static ssize_t next_part(void *context, char *buffer, size_t size) {
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

static void close_parts(void *context) {
    free(context);
    atomic_fetch_add(&running.closed, 1);
}

static void begin_parts(struct web_answer *answer, size_t breaks_at) {
    struct parts *parts = malloc(sizeof(*parts));
    ck_assert_ptr_nonnull(parts);
    *parts = (struct parts){.breaks_at = breaks_at};
    answer->stream = (struct web_stream){next_part, close_parts, parts};
}

static void handle(void *context, const struct web_request *request, struct web_answer *answer) {
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

static int64_t now_ms(void) {
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (int64_t)now.tv_sec * 1000 + now.tv_nsec / 1000000;
}

static void *serve(void *argument) {
    (void)argument;
    while (!atomic_load(&running.stop)) {
        struct pollfd set = {.fd = web_server_descriptor(running.server), .events = POLLIN};
        int timeout_ms = web_server_timeout_ms(running.server);
        poll(&set, 1, timeout_ms < 0 || timeout_ms > 20 ? 20 : timeout_ms);
        web_server_turn(running.server, now_ms());
    }
    return NULL;
}

static void run(void) {
    atomic_store(&running.stop, false);
    atomic_store(&running.handled, 0);
    atomic_store(&running.streamed, 0);
    atomic_store(&running.closed, 0);
    ck_assert_int_eq(pthread_create(&running.thread, NULL, serve, NULL), 0);
}

static void start_tcp(void) {
    running.server = web_server_create_tcp("127.0.0.1", 0, handle, NULL, why, sizeof(why));
    ck_assert_msg(running.server != NULL, "%s", why);
    ck_assert_int_gt(web_server_port(running.server), 0);
    run();
}

static void start_unix(const char *path) {
    running.server = web_server_create_socket(path, handle, NULL, why, sizeof(why));
    ck_assert_msg(running.server != NULL, "%s", why);
    run();
}

static void stop(void) {
    atomic_store(&running.stop, true);
    pthread_join(running.thread, NULL);
    web_server_destroy(running.server);
}

/* ---- a client of raw bytes ---- */

static int connect_tcp(void) {
    struct sockaddr_in address = {.sin_family = AF_INET,
                                  .sin_port = htons((uint16_t)web_server_port(running.server)),
                                  .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    int descriptor = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    ck_assert_int_eq(connect(descriptor, (struct sockaddr *)&address, sizeof(address)), 0);
    return descriptor;
}

static int connect_unix(const char *path) {
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    snprintf(address.sun_path, sizeof(address.sun_path), "%s", path);
    int descriptor = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
    ck_assert_int_eq(connect(descriptor, (struct sockaddr *)&address, sizeof(address)), 0);
    return descriptor;
}

static void send_all(int descriptor, const void *bytes, size_t length) {
    for (size_t sent = 0; sent < length;) {
        ssize_t now = send(descriptor, (const char *)bytes + sent, length - sent, MSG_NOSIGNAL);
        if (now <= 0)
            return; /* the server may close early: its answer tells */
        sent += (size_t)now;
    }
}

/** Everything until the server closes (or 15 s pass), null-terminated; the caller frees. */
static char *receive_all(int descriptor, size_t *length) {
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

static char *exchange(const char *request) {
    int descriptor = connect_tcp();
    send_all(descriptor, request, strlen(request));
    return receive_all(descriptor, NULL);
}

static int status_of(const char *answer) {
    int status = 0;
    return sscanf(answer, "HTTP/1.%*d %d", &status) == 1 ? status : 0;
}

static const char *body_of(const char *answer) {
    const char *end = strstr(answer, "\r\n\r\n");
    return end ? end + 4 : "";
}

#define TAIL " HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n"

/* ---- requests ---- */

static const struct {
    const char *request;
    int status;
    const char *body; /* NULL: any */
} requests[] = {
    {"GET /" TAIL "\r\n", 200, "GET / q=- n=- h=- c=- t=- o=0"},
    {"GET /systems/birch-lane-12?q=1" TAIL "\r\n", 200,
     "GET /systems/birch-lane-12 q=1 n=- h=- c=- t=- o=0"},
    {"GET /a%20b?q=%C3%A9+x" TAIL "\r\n", 200, "GET /a b q=\xC3\xA9 x n=- h=- c=- t=- o=0"},
    {"GET /?q" TAIL "\r\n", 200, "GET / q= n=- h=- c=- t=- o=0"},
    {"GET /?none=&q=%26" TAIL "\r\n", 200, "GET / q=& n= h=- c=- t=- o=0"},
    {"GET /" TAIL "X-Test: yes\r\nCookie: other=1; key=abc\r\n\r\n", 200,
     "GET / q=- n=- h=yes c=abc t=- o=0"},
    {"POST /echo" TAIL "Content-Length: 5\r\n\r\nhello", 200, "hello"},
    {"POST /x" TAIL "Content-Type: application/json\r\nContent-Length: 2\r\n\r\n{}", 200,
     "POST /x q=- n=- h=- c=- t=application/json o=0"},
    {"POST /echo" TAIL "Content-Length: 0\r\n\r\n", 200, ""},
    {"POST /echo" TAIL "Transfer-Encoding: chunked\r\n\r\n3\r\nabc\r\n2\r\nde\r\n0\r\n\r\n", 200,
     "abcde"},
    {"GET /nothing" TAIL "\r\n", 204, ""},
    {"GET /unset" TAIL "\r\n", 500, NULL},
    {"GET /split" TAIL "\r\n", 500, NULL},
    {"PUT /" TAIL "Content-Length: 0\r\n\r\n", 405, NULL},
    {"DELETE /" TAIL "\r\n", 405, NULL},
    {"OPTIONS /" TAIL "\r\n", 405, NULL},
    {"TRACE /" TAIL "\r\n", 405, NULL},
    {"get /" TAIL "\r\n", 405, NULL},
    {"GET /%" TAIL "\r\n", 400, NULL},
    {"GET /%4" TAIL "\r\n", 400, NULL},
    {"GET /%zz" TAIL "\r\n", 400, NULL},
    {"GET /a%00b" TAIL "\r\n", 400, NULL},
    {"GET /?q=%u0041" TAIL "\r\n", 400, NULL},
    {"GET http://localhost/" TAIL "\r\n", 400, NULL},
    {"GET *" TAIL "\r\n", 400, NULL},
    {"GET /" TAIL "Host: localhost\r\n\r\n", 400, NULL},
    {"GET / HTTP/1.1\r\nConnection: close\r\n\r\n", 400, NULL},
};

/* RFC 9112 section 6.3: what leaves in doubt where a message ends is refused, and the connection
   closed, so that no second request can hide in the body of the first. `%s` stands for the common
   head without "Connection: close". */
static const char *const doubtful[] = {
    "POST /echo%sContent-Length: 5\r\nContent-Length: 5\r\n\r\nhello",
    "POST /echo%sContent-Length: 5\r\nContent-Length: 0\r\n\r\nhello",
    "POST /echo%sContent-Length: 0\r\nContent-Length: 5\r\n\r\nhello",
    "POST /echo%sContent-Length: 5, 5\r\n\r\nhello",
    "POST /echo%sContent-Length: +5\r\n\r\nhello",
    "POST /echo%sContent-Length: 0x5\r\n\r\nhello",
    "POST /echo%sContent-Length: -5\r\n\r\nhello",
    "POST /echo%sContent-Length: 5 5\r\n\r\nhello",
    "POST /echo%sContent-Length:\r\n\r\nhello",
    "POST /echo%sContent-Length: 99999999999999999999999\r\n\r\nhello",
    "POST /echo%sContent-Length: 4\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n",
    "POST /echo%sTransfer-Encoding: chunked\r\nContent-Length: 4\r\n\r\n0\r\n\r\n",
    "POST /echo%sTransfer-Encoding: chunked\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n",
    "POST /echo%sTransfer-Encoding: chunked, identity\r\n\r\n0\r\n\r\n",
    "POST /echo%sTransfer-Encoding: identity\r\n\r\n",
    "POST /echo%sTransfer-Encoding: xchunked\r\n\r\n0\r\n\r\n",
    "POST /echo%sContent-Length : 5\r\n\r\nhello",
    "GET /%sContent-Length: 3\r\nContent-Length: 60\r\n\r\nabc",
};

START_TEST(a_doubtful_end_of_a_request_is_refused) {
    start_tcp();
    char request[600];
    int length =
        snprintf(request, sizeof(request), doubtful[_i], " HTTP/1.1\r\nHost: localhost\r\n");
    snprintf(request + length, sizeof(request) - (size_t)length,
             "GET /hidden HTTP/1.1\r\nHost: localhost\r\n\r\n");
    char *answer = exchange(request); /* ends when the server closes, 15 s later when it does not */
    ck_assert_msg(status_of(answer) / 100 == 4, "%s\n->\n%s", request, answer);
    ck_assert_ptr_null(strstr(answer, "hidden"));
    ck_assert_int_eq(atomic_load(&running.handled), 0);
    free(answer);
    stop();
}
END_TEST

START_TEST(requests_get_their_status_and_body) {
    start_tcp();
    char *answer = exchange(requests[_i].request);
    ck_assert_msg(status_of(answer) == requests[_i].status, "%s\n->\n%s", requests[_i].request,
                  answer);
    if (requests[_i].body)
        ck_assert_str_eq(body_of(answer), requests[_i].body);
    free(answer);
    stop();
}
END_TEST

START_TEST(method_refusal_names_the_methods) {
    start_tcp();
    char *answer = exchange("PATCH /" TAIL "\r\n");
    ck_assert_int_eq(status_of(answer), 405);
    ck_assert_ptr_nonnull(strstr(answer, "Allow: GET, HEAD, POST\r\n"));
    ck_assert_int_eq(atomic_load(&running.handled), 0);
    free(answer);
    stop();
}
END_TEST

static const char *const every_answer[] = {"GET /" TAIL "\r\n", "GET /static" TAIL "\r\n",
                                           "PUT /" TAIL "\r\n", "GET /%" TAIL "\r\n",
                                           "GET /unset" TAIL "\r\n"};

START_TEST(every_answer_has_the_security_headers) {
    static const char *const wanted[] = {
        "X-Content-Type-Options: nosniff\r\n", "Referrer-Policy: no-referrer\r\n",
        "Content-Security-Policy: default-src 'self';", "X-Frame-Options: DENY\r\n", "Date: "};
    start_tcp();
    char *answer = exchange(every_answer[_i]);
    for (size_t i = 0; i < sizeof(wanted) / sizeof(wanted[0]); i++)
        ck_assert_msg(strstr(answer, wanted[i]) != NULL, "%s missing in\n%s", wanted[i], answer);
    ck_assert_ptr_null(strstr(answer, "unsafe-inline"));
    bool is_static = strstr(every_answer[_i], "/static") != NULL;
    ck_assert_int_eq(strstr(answer, "Cache-Control: no-store\r\n") != NULL, !is_static);
    ck_assert_int_eq(strstr(answer, "Cache-Control: max-age=60\r\n") != NULL, is_static);
    free(answer);
    stop();
}
END_TEST

START_TEST(a_header_cannot_be_split) {
    start_tcp();
    char *answer = exchange("GET /split" TAIL "\r\n");
    ck_assert_ptr_null(strstr(answer, "stolen"));
    free(answer);
    stop();
}
END_TEST

START_TEST(head_is_get_without_its_body) {
    start_tcp();
    char *get = exchange("GET /static" TAIL "\r\n"), *head = exchange("HEAD /static" TAIL "\r\n");
    ck_assert_int_eq(status_of(head), 200);
    ck_assert_str_eq(body_of(head), "");
    ck_assert_str_eq(body_of(get), static_page);
    char length[64];
    snprintf(length, sizeof(length), "Content-Length: %zu\r\n", sizeof(static_page) - 1);
    ck_assert_ptr_nonnull(strstr(get, length));
    ck_assert_ptr_nonnull(strstr(head, length));
    free(get);
    free(head);
    stop();
}
END_TEST

/* ---- limits ---- */

static char *post(int descriptor, size_t length, bool chunked) {
    char head[256];
    char *body = malloc(length + 1);
    ck_assert_ptr_nonnull(body);
    for (size_t i = 0; i < length; i++)
        body[i] = (char)('a' + i % 26);
    snprintf(head, sizeof(head),
             chunked ? "POST /echo" TAIL "Transfer-Encoding: chunked\r\n\r\n%zx\r\n"
                     : "POST /echo" TAIL "Content-Length: %zu\r\n\r\n",
             length);
    send_all(descriptor, head, strlen(head));
    send_all(descriptor, body, length);
    if (chunked)
        send_all(descriptor, "\r\n0\r\n\r\n", 7);
    size_t got = 0;
    char *answer = receive_all(descriptor, &got);
    if (status_of(answer) == 200) {
        size_t start = (size_t)(body_of(answer) - answer);
        ck_assert_uint_eq(got - start, length);
        ck_assert_int_eq(memcmp(answer + start, body, length), 0);
    }
    free(body);
    return answer;
}

static const struct {
    size_t length;
    bool chunked;
    int status;
} bodies[] = {
    {1, false, 200},     {65535, false, 200},    {65536, false, 200}, {65537, false, 413},
    {100000, true, 413}, {10000000, false, 413}, {65536, true, 200},
};

START_TEST(bodies_on_the_page_port_end_at_64_kib) {
    start_tcp();
    char *answer = post(connect_tcp(), bodies[_i].length, bodies[_i].chunked);
    /* A server that closes while the client still sends may lose its answer to the reset. */
    bool reset = bodies[_i].length > 1000000 && answer[0] == '\0';
    ck_assert_msg(reset || status_of(answer) == bodies[_i].status, "%.300s", answer);
    ck_assert_int_eq(atomic_load(&running.handled), bodies[_i].status == 200);
    free(answer);
    stop();
}
END_TEST

START_TEST(an_endless_chunked_body_is_cut) {
    start_tcp();
    int descriptor = connect_tcp();
    const char head[] = "POST /echo" TAIL "Transfer-Encoding: chunked\r\n\r\n";
    char chunk[4096 + 8] = "1000\r\n";
    memset(chunk + 6, 'x', 4096);
    memcpy(chunk + 6 + 4096, "\r\n", 2);
    send_all(descriptor, head, strlen(head));
    size_t sent = 0;
    for (; sent < 1000; sent++) {
        if (send(descriptor, chunk, sizeof(chunk), MSG_NOSIGNAL) <= 0)
            break;
        struct timespec pause = {0, 1000000};
        nanosleep(&pause, NULL);
    }
    ck_assert_uint_lt(sent, 1000);
    close(descriptor);
    ck_assert_int_eq(atomic_load(&running.handled), 0);
    stop();
}
END_TEST

START_TEST(long_addresses_and_headers_are_refused) {
    static const struct {
        size_t path, header;
        int status;
    } table[] = {{2000, 0, 200},   {2100, 0, 414}, {20000, 0, 414},
                 {100000, 0, 414}, {1, 8000, 200}, {1, 100000, 431}};
    start_tcp();
    for (size_t i = 0; i < sizeof(table) / sizeof(table[0]); i++) {
        char *path = malloc(table[i].path + 1), *header = malloc(table[i].header + 1);
        memset(path, 'a', table[i].path);
        memset(header, 'b', table[i].header);
        path[table[i].path] = header[table[i].header] = '\0';
        char *request = print("GET /%s" TAIL "X-Test: %s\r\n\r\n", path, header);
        char *answer = exchange(request);
        ck_assert_msg(status_of(answer) == table[i].status || (i == 3 && status_of(answer) == 431),
                      "row %zu: %.200s", i, answer);
        free(path);
        free(header);
        free(request);
        free(answer);
    }
    stop();
}
END_TEST

static const struct {
    const char *host;
    int status;
} hosts[] = {
    {"localhost", 200},
    {"LOCALHOST", 200},
    {"localhost:8148", 200},
    {"127.0.0.1", 200},
    {"127.0.0.1:1", 200},
    {"[::1]", 200},
    {"[::1]:8148", 200},
    {"watch.example", 200},
    {"Watch.Example:443", 200},
    {"", 421},
    {"evil.example", 421},
    {"localhost.evil.example", 421},
    {"evil.example:80@localhost", 421},
    {"localhost:80x", 421},
    {"localhost:", 200}, /* RFC 3986 section 3.2.3: the port may be empty */
    {"127.0.0.2", 421},
    {"2130706433", 421},
    {"[::1", 421},
    {"[::1]x", 421},
    {"[::ffff:127.0.0.1]", 421},
    {"watch.example.", 421},
    {"xwatch.example", 421},
};

START_TEST(only_known_hosts_are_answered) {
    start_tcp();
    char *allowed[] = {(char *)"other.example", (char *)"watch.example"};
    web_server_allow_hosts(running.server, allowed, 2);
    char request[256];
    snprintf(request, sizeof(request), "GET / HTTP/1.1\r\nHost: %s\r\nConnection: close\r\n\r\n",
             hosts[_i].host);
    char *answer = exchange(request);
    ck_assert_msg(status_of(answer) == hosts[_i].status, "Host %s: %.100s", hosts[_i].host, answer);
    ck_assert_int_eq(atomic_load(&running.handled), hosts[_i].status == 200);
    free(answer);
    stop();
}
END_TEST

START_TEST(one_connection_carries_many_requests) {
    start_tcp();
    int descriptor = connect_tcp();
    const char request[] = "GET /static HTTP/1.1\r\nHost: localhost\r\n\r\n";
    for (int i = 0; i < 50; i++) {
        char answer[2048];
        size_t have = 0;
        send_all(descriptor, request, sizeof(request) - 1);
        while (have + 1 < sizeof(answer)) {
            ssize_t got = recv(descriptor, answer + have, sizeof(answer) - have - 1, 0);
            ck_assert_int_gt((int)got, 0);
            have += (size_t)got;
            answer[have] = '\0';
            if (strcmp(body_of(answer), static_page) == 0)
                break;
        }
        ck_assert_int_eq(status_of(answer), 200);
    }
    close(descriptor);
    ck_assert_int_eq(atomic_load(&running.handled), 50);
    stop();
}
END_TEST

/* ---- many and slow connections ---- */

/** Until the server has noticed that every client is gone. */
static void wait_until_empty(void) {
    for (int64_t until_ms = now_ms() + 5000; now_ms() < until_ms; usleep(10000)) {
        usleep(50000);
        if (web_server_connections(running.server) == 0)
            return;
    }
    ck_abort_msg("connections stay open");
}

/* What holds a place: nothing sent, half a request, a body that does not come, an answer that is
   not read, a connection kept open after its answer. */
static const char *const slow_ways[] = {
    "",
    "GET / HTTP/1.1\r\nHost: loc",
    "POST /echo HTTP/1.1\r\nHost: localhost\r\nContent-Length: 50\r\n\r\nabc",
    "GET /stream HTTP/1.1\r\nHost: localhost\r\n\r\n",
    "GET / HTTP/1.1\r\nHost: localhost\r\n\r\n",
};

START_TEST(seventy_slow_connections_hold_nobody_up) {
    enum { SLOW = 70, OTHERS = 30 };
    start_tcp();
    int slow[SLOW];
    for (int i = 0; i < SLOW; i++) {
        slow[i] = connect_tcp();
        send_all(slow[i], slow_ways[_i], strlen(slow_ways[_i]));
    }
    for (int i = 0; i < OTHERS; i++) {
        int64_t start_ms = now_ms();
        char *answer = exchange("GET /" TAIL "\r\n");
        ck_assert_int_eq(status_of(answer), 200);
        ck_assert_int_lt(now_ms() - start_ms, 1000);
        free(answer);
        int again = i % 2 ? connect_tcp() : -1; /* and the slow come again */
        if (again >= 0) {
            send_all(again, slow_ways[_i], strlen(slow_ways[_i]));
            close(slow[i]);
            slow[i] = again;
        }
    }
    for (int i = 0; i < SLOW; i++)
        close(slow[i]);
    wait_until_empty();
    char *answer = exchange("GET /" TAIL "\r\n");
    ck_assert_int_eq(status_of(answer), 200);
    free(answer);
    stop();
}
END_TEST

START_TEST(slow_readers_of_large_answers_hold_a_bounded_amount) {
    enum { READERS = 20, LARGE_BYTES = 8 << 20, HELD_BYTES_MAX = 16 << 20 };
    const char request[] = "GET /large HTTP/1.1\r\nHost: localhost\r\n\r\n";
    start_tcp();
    int readers[READERS];
    for (int i = 0; i < READERS; i++) {
        readers[i] = connect_tcp();
        send_all(readers[i], request, sizeof(request) - 1);
    }
    int64_t until_ms = now_ms() + 5000;
    while (now_ms() < until_ms &&
           (atomic_load(&running.handled) < READERS ||
            web_server_connections(running.server) > HELD_BYTES_MAX / LARGE_BYTES))
        usleep(10000);
    ck_assert_int_eq(atomic_load(&running.handled), READERS);
    ck_assert_uint_le(web_server_connections(running.server), HELD_BYTES_MAX / LARGE_BYTES);
    char *whole = exchange("GET /large" TAIL "\r\n"); /* who reads gets it all */
    ck_assert_int_eq(status_of(whole), 200);
    free(whole);
    for (int i = 0; i < READERS; i++)
        close(readers[i]);
    stop();
}
END_TEST

/* ---- answers in parts ---- */

/** Takes the chunks of a body apart (RFC 9112, section 7.1); false when its end is missing. */
static bool join_chunks(const char *body, char *joined, size_t size, size_t *length) {
    *length = 0;
    for (;;) {
        char *end = NULL;
        unsigned long chunk = strtoul(body, &end, 16);
        if (end == body || strncmp(end, "\r\n", 2) != 0)
            return false;
        if (chunk == 0)
            return true;
        if (*length + chunk > size || strlen(end + 2) < chunk + 2)
            return false;
        memcpy(joined + *length, end + 2, chunk);
        *length += chunk;
        body = end + 2 + chunk + 2;
    }
}

static void wait_until_closed(int count) {
    int64_t until_ms = now_ms() + 5000;
    while (atomic_load(&running.closed) < count && now_ms() < until_ms)
        usleep(10000);
    usleep(100000);
    ck_assert_int_eq(atomic_load(&running.closed), count);
}

START_TEST(an_answer_in_parts_comes_whole) {
    static char joined[STREAM_BYTES];
    size_t length = 0;
    start_tcp();
    char *answer = exchange("GET /stream" TAIL "\r\n");
    ck_assert_int_eq(status_of(answer), 200);
    ck_assert_ptr_nonnull(strstr(answer, "Transfer-Encoding: chunked\r\n"));
    ck_assert(join_chunks(body_of(answer), joined, sizeof(joined), &length));
    ck_assert_uint_eq(length, STREAM_BYTES);
    for (size_t i = 0; i < length; i++)
        if (joined[i] != (char)('a' + i % 26))
            ck_abort_msg("byte %zu is %d", i, joined[i]);
    free(answer);
    wait_until_closed(1);
    answer = exchange("HEAD /stream" TAIL "\r\n");
    ck_assert_int_eq(status_of(answer), 200);
    ck_assert_str_eq(body_of(answer), "");
    free(answer);
    wait_until_closed(2);
    answer = exchange("GET /stream-without-status" TAIL "\r\n");
    ck_assert_int_eq(status_of(answer), 500);
    free(answer);
    wait_until_closed(3);
    stop();
}
END_TEST

START_TEST(an_answer_in_parts_that_fails_breaks_off) {
    static char joined[STREAM_BYTES];
    size_t length = 0;
    start_tcp();
    char *answer = exchange("GET /broken-stream" TAIL "\r\n");
    ck_assert(!join_chunks(body_of(answer), joined, sizeof(joined), &length));
    free(answer);
    wait_until_closed(1);
    stop();
}
END_TEST

START_TEST(parts_are_made_as_they_are_taken) {
    start_tcp();
    int descriptor = connect_tcp(), small = 4096;
    setsockopt(descriptor, SOL_SOCKET, SO_RCVBUF, &small, sizeof(small));
    for (int i = 0; i < 4; i++) { /* four megabytes: more than the sockets' own buffers hold */
        const char request[] = "GET /stream HTTP/1.1\r\nHost: localhost\r\n\r\n";
        send_all(descriptor, request, sizeof(request) - 1);
    }
    usleep(500000);
    int made = atomic_load(&running.streamed);
    usleep(300000);
    ck_assert_int_gt(made, 0);
    ck_assert_int_lt(made, 4 * STREAM_BYTES);
    ck_assert_int_eq(atomic_load(&running.streamed), made); /* nobody reads: nothing more is made */
    close(descriptor);
    wait_until_empty();
    ck_assert_int_ge(atomic_load(&running.closed), 1);
    stop();
}
END_TEST

/** Milliseconds until the server closes; sends one byte of `drip` each `every_ms` until then. */
static int64_t time_to_close(int descriptor, const char *drip, int every_ms) {
    int64_t start_ms = now_ms();
    for (size_t i = 0; now_ms() - start_ms < 20000; i++) {
        struct pollfd set = {.fd = descriptor, .events = POLLIN};
        if (poll(&set, 1, every_ms) > 0) {
            char byte[512];
            if (recv(descriptor, byte, sizeof(byte), 0) <= 0)
                break;
        }
        if (drip && drip[i % strlen(drip)])
            (void)!send(descriptor, drip + i % strlen(drip), 1, MSG_NOSIGNAL);
    }
    close(descriptor);
    return now_ms() - start_ms;
}

START_TEST(silent_connections_are_closed) {
    start_tcp();
    web_server_set_patience(running.server, 1, 30);
    int64_t took_ms = time_to_close(connect_tcp(), NULL, 100);
    ck_assert_int_ge(took_ms, 900);
    ck_assert_int_le(took_ms, 4000);
    stop();
}
END_TEST

START_TEST(dripping_connections_are_closed_and_others_served) {
    start_tcp();
    web_server_set_patience(running.server, 10, 2);
    int slow[10];
    for (int i = 0; i < 10; i++)
        slow[i] = connect_tcp();
    char *answer = exchange("GET /" TAIL "\r\n");
    ck_assert_int_eq(status_of(answer), 200);
    free(answer);
    int64_t took_ms = time_to_close(slow[0],
                                    "GET / HTTP/1.1\r\nHost: localhost\r\nX: aaaaaaaaaa"
                                    "aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa",
                                    100);
    ck_assert_int_ge(took_ms, 900);
    ck_assert_int_le(took_ms, 5000);
    for (int i = 1; i < 10; i++)
        close(slow[i]);
    stop();
}
END_TEST

START_TEST(a_body_that_drips_is_cut) {
    start_tcp();
    web_server_set_patience(running.server, 10, 2);
    int descriptor = connect_tcp();
    const char head[] = "POST /echo" TAIL "Content-Length: 60000\r\n\r\n";
    send_all(descriptor, head, sizeof(head) - 1);
    ck_assert_int_le(time_to_close(descriptor, "x", 100), 5000);
    ck_assert_int_eq(atomic_load(&running.handled), 0);
    stop();
}
END_TEST

START_TEST(a_client_that_leaves_in_the_middle_does_no_harm) {
    start_tcp();
    for (int i = 0; i < 40; i++) {
        int descriptor = connect_tcp();
        send_all(descriptor, "GET /large" TAIL "\r\n", strlen("GET /large" TAIL "\r\n"));
        struct linger at_once = {1, 0};
        usleep(i % 2 ? 2000 : 0);
        setsockopt(descriptor, SOL_SOCKET, SO_LINGER, &at_once, sizeof(at_once));
        close(descriptor);
    }
    wait_until_empty();
    char *answer = exchange("GET /" TAIL "\r\n");
    ck_assert_int_eq(status_of(answer), 200);
    free(answer);
    stop();
}
END_TEST

START_TEST(random_bytes_do_no_harm) {
    struct test_random random = {test_seed()};
    start_tcp();
    for (int i = 0; i < 200; i++) {
        char bytes[512];
        size_t length = test_random_next(&random) % sizeof(bytes);
        int descriptor = connect_tcp();
        if (i % 2)
            send_all(descriptor, "GET /", 5);
        for (size_t k = 0; k < length; k++)
            bytes[k] = (char)test_random_next(&random);
        send_all(descriptor, bytes, length);
        close(descriptor);
    }
    wait_until_empty();
    char *answer = exchange("GET /" TAIL "\r\n");
    ck_assert_int_eq(status_of(answer), 200);
    free(answer);
    stop();
}
END_TEST

/* ---- the Unix socket ---- */

START_TEST(unix_socket_is_the_operators) {
    ck_assert_ptr_nonnull(mkdtemp(folder));
    char *path = print("%s/operator.sock", folder);
    mode_t before = umask(0);
    start_unix(path);
    umask(before);
    struct stat made;
    ck_assert_int_eq(stat(path, &made), 0);
    ck_assert(S_ISSOCK(made.st_mode));
    ck_assert_int_eq(made.st_mode & 0777, 0660);

    int descriptor = connect_unix(path);
    const char request[] = "POST /x HTTP/1.1\r\nHost: anything\r\nConnection: close\r\n"
                           "Content-Length: 0\r\n\r\n";
    send_all(descriptor, request, sizeof(request) - 1);
    char *answer = receive_all(descriptor, NULL);
    ck_assert_str_eq(body_of(answer), "POST /x q=- n=- h=- c=- t=- o=1");
    free(answer);

    answer = post(connect_unix(path), WEB_BODY_BYTES_MAX, false);
    ck_assert_int_eq(status_of(answer), 200);
    free(answer);
    answer = post(connect_unix(path), WEB_BODY_BYTES_MAX + 1, false);
    ck_assert_int_ne(status_of(answer), 200);
    free(answer);
    stop();
    ck_assert_int_ne(stat(path, &made), 0); /* cleared away */
    free(path);
    rmdir(folder);
}
END_TEST

START_TEST(unix_socket_replaces_only_what_is_dead) {
    ck_assert_ptr_nonnull(mkdtemp(folder));
    char *path = print("%s/operator.sock", folder);
    FILE *file = fopen(path, "w");
    ck_assert_ptr_nonnull(file);
    fclose(file);
    ck_assert_ptr_null(web_server_create_socket(path, handle, NULL, why, sizeof(why)));
    ck_assert_ptr_nonnull(strstr(why, "no socket"));
    ck_assert_int_eq(access(path, F_OK), 0);
    unlink(path);

    struct sockaddr_un address = {.sun_family = AF_UNIX}; /* a dead one, as after a power cut */
    snprintf(address.sun_path, sizeof(address.sun_path), "%s", path);
    int dead = socket(AF_UNIX, SOCK_STREAM, 0);
    ck_assert_int_eq(bind(dead, (struct sockaddr *)&address, sizeof(address)), 0);
    ck_assert_int_eq(listen(dead, 1), 0);
    ck_assert_ptr_null(web_server_create_socket(path, handle, NULL, why, sizeof(why)));
    ck_assert_ptr_nonnull(strstr(why, "another process listens"));
    close(dead);
    start_unix(path);
    stop();

    char *long_path = print("%s/%0200d", folder, 1);
    ck_assert_ptr_null(web_server_create_socket(long_path, handle, NULL, why, sizeof(why)));
    ck_assert_ptr_null(web_server_create_socket("/nonexistent/x", handle, NULL, why, sizeof(why)));
    ck_assert_ptr_nonnull(strstr(why, "/nonexistent/x"));
    free(long_path);
    free(path);
    rmdir(folder);
}
END_TEST

START_TEST(a_port_that_cannot_be_had_is_told) {
    static const struct {
        const char *address;
        int port;
    } table[] = {{"127.0.0.1", -1},
                 {"127.0.0.1", 65536},
                 {"no.address.example", 0},
                 {"192.0.2.1", 0}}; /* RFC 5737: an address for documentation, never ours */
    for (size_t i = 0; i < sizeof(table) / sizeof(table[0]); i++) {
        why[0] = '\0';
        ck_assert_ptr_null(
            web_server_create_tcp(table[i].address, table[i].port, handle, NULL, why, sizeof(why)));
        ck_assert_ptr_nonnull(strstr(why, table[i].address));
    }
    start_tcp();
    ck_assert_ptr_null(web_server_create_tcp("127.0.0.1", web_server_port(running.server), handle,
                                             NULL, why, sizeof(why)));
    ck_assert_ptr_nonnull(strstr(why, "in use"));
    stop();
    web_server_destroy(NULL);
}
END_TEST

#define ROWS(table) (int)(sizeof(table) / sizeof((table)[0]))

int main(void) {
    TCase *web = tcase_create("web_server");
    tcase_add_loop_test(web, requests_get_their_status_and_body, 0, ROWS(requests));
    tcase_add_loop_test(web, a_doubtful_end_of_a_request_is_refused, 0, ROWS(doubtful));
    tcase_add_test(web, method_refusal_names_the_methods);
    tcase_add_loop_test(web, every_answer_has_the_security_headers, 0, ROWS(every_answer));
    tcase_add_test(web, a_header_cannot_be_split);
    tcase_add_test(web, head_is_get_without_its_body);
    tcase_add_loop_test(web, bodies_on_the_page_port_end_at_64_kib, 0, ROWS(bodies));
    tcase_add_test(web, an_endless_chunked_body_is_cut);
    tcase_add_test(web, long_addresses_and_headers_are_refused);
    tcase_add_loop_test(web, only_known_hosts_are_answered, 0, ROWS(hosts));
    tcase_add_test(web, one_connection_carries_many_requests);
    tcase_add_loop_test(web, seventy_slow_connections_hold_nobody_up, 0, ROWS(slow_ways));
    tcase_add_test(web, slow_readers_of_large_answers_hold_a_bounded_amount);
    tcase_add_test(web, an_answer_in_parts_comes_whole);
    tcase_add_test(web, an_answer_in_parts_that_fails_breaks_off);
    tcase_add_test(web, parts_are_made_as_they_are_taken);
    tcase_add_test(web, silent_connections_are_closed);
    tcase_add_test(web, dripping_connections_are_closed_and_others_served);
    tcase_add_test(web, a_body_that_drips_is_cut);
    tcase_add_test(web, a_client_that_leaves_in_the_middle_does_no_harm);
    tcase_add_test(web, random_bytes_do_no_harm);
    tcase_add_test(web, unix_socket_is_the_operators);
    tcase_add_test(web, unix_socket_replaces_only_what_is_dead);
    tcase_add_test(web, a_port_that_cannot_be_had_is_told);
    return run_test_case(web);
}
