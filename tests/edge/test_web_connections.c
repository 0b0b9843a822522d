/*
 * web_server with many, slow, silent and broken connections, and answers that are made in parts
 * (chunks: RFC 9112, section 7.1), over real sockets of this machine.
 */
#include "web_bench.h"

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
    int made = 0, before = -1;
    for (int i = 0; i < 200 && (made == 0 || made != before);
         i++) { /* a slow machine takes a while */
        before = made;
        usleep(300000);
        made = atomic_load(&running.streamed);
    }
    ck_assert_int_gt(made, 0);
    ck_assert_int_eq(made, before);           /* nobody reads: nothing more is made */
    ck_assert_int_lt(made, 4 * STREAM_BYTES); /* and it is not all */
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

/* A list behind `less`, a page over a weak radio link: nothing moves for longer than a silent
   connection may stay. Afterwards the connection is a silent one again. */
START_TEST(who_pauses_while_reading_gets_the_rest) {
    enum { ANSWERS = 8 }; /* more than the sockets' own buffers hold */
    static char bytes[1 << 16];
    const char request[] = "GET /stream HTTP/1.1\r\nHost: localhost\r\n\r\n";
    size_t got = 0;
    start_tcp();
    web_server_set_patience(running.server, 1, 30);
    int descriptor = connect_tcp(), small = 1 << 16;
    setsockopt(descriptor, SOL_SOCKET, SO_RCVBUF, &small, sizeof(small));
    for (int i = 0; i < ANSWERS; i++)
        send_all(descriptor, request, sizeof(request) - 1);
    usleep(2500000);
    int64_t last_ms = now_ms();
    for (ssize_t length; (length = recv(descriptor, bytes, sizeof bytes, 0)) > 0;
         last_ms = now_ms())
        got += (size_t)length;
    close(descriptor);
    ck_assert_uint_ge(got, ANSWERS * STREAM_BYTES);
    /* A second from the server's last byte, which a busy reader may have got a while later. */
    ck_assert_int_ge(now_ms() - last_ms, 300);
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
        size_t length = test_random_below(&random, sizeof(bytes));
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

#define ROWS(table) (int)(sizeof(table) / sizeof((table)[0]))

int main(void) {
    TCase *web = tcase_create("web_server");
    tcase_add_loop_test(web, seventy_slow_connections_hold_nobody_up, 0, ROWS(slow_ways));
    tcase_add_test(web, slow_readers_of_large_answers_hold_a_bounded_amount);
    tcase_add_test(web, an_answer_in_parts_comes_whole);
    tcase_add_test(web, an_answer_in_parts_that_fails_breaks_off);
    tcase_add_test(web, parts_are_made_as_they_are_taken);
    tcase_add_test(web, silent_connections_are_closed);
    tcase_add_test(web, who_pauses_while_reading_gets_the_rest);
    tcase_add_test(web, dripping_connections_are_closed_and_others_served);
    tcase_add_test(web, a_body_that_drips_is_cut);
    tcase_add_test(web, a_client_that_leaves_in_the_middle_does_no_harm);
    tcase_add_test(web, random_bytes_do_no_harm);
    return run_test_case(web);
}
