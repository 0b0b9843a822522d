/*
 * web_server over real sockets of this machine. Sources of the expected status codes: RFC 9110
 * (HTTP semantics: 405 with Allow in 15.5.6, 413 in 15.5.14, 414 in 15.5.15, 421 in 15.5.20, HEAD
 * in 9.3.2) and RFC 3986 section 2.1 (percent codes).
 */
#include "web_bench.h"

#include <sys/stat.h>

static char folder[] = "/tmp/web_server_XXXXXX";

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
    tcase_add_test(web, unix_socket_is_the_operators);
    tcase_add_test(web, unix_socket_replaces_only_what_is_dead);
    tcase_add_test(web, a_port_that_cannot_be_had_is_told);
    return run_test_case(web);
}
