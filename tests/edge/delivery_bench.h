/*
 * delivery_bench: a name server and an endpoint of our own, and one delivery with what it reported.
 * Functions in a header, because only programs that link the edges can use them.
 */
#ifndef DELIVERY_BENCH_H
#define DELIVERY_BENCH_H

#include "endpoint_process.h"
#include "link/delivery.h"
#include "test_support.h"

#include <arpa/inet.h>
#include <jansson.h>
#include <netdb.h>
#include <netinet/in.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <time.h>
#include <unistd.h>

#define MARK "SECRETMARK" /* in every path, query and header: never to be seen in a text */

#define WALL_MS INT64_C(784111687000) /* 90 s before 06 Nov 1994 08:49:37 GMT */

/* ---- a name server of our own ---- */

static const struct {
    const char *name, *address; /* NULL: the name is not found */
} hosts[] = {
    {"public.example", "192.0.2.1"},
    {"metadata.example", "169.254.169.254"},
    {"inside.example", "10.0.0.1"},
    {"myself.example", "127.0.0.1"},
    {"mapped.example", "::ffff:127.0.0.1"},
    {"multicast.example", "224.0.0.1"},
    {"missing.example", NULL},
    {"unique-local.example", "fd00::1"},
    {"link-local.example", "fe80::1"},
    {"any.example", "0.0.0.0"},
};

static inline struct addrinfo *answer_with(const char *address, int port) {
    struct addrinfo *info = calloc(1, sizeof *info);
    struct sockaddr_in6 *in6 = calloc(1, sizeof *in6);
    struct sockaddr_in *in = (struct sockaddr_in *)(void *)in6;
    bool four = inet_pton(AF_INET, address, &in->sin_addr) == 1;
    if (!four)
        inet_pton(AF_INET6, address, &in6->sin6_addr);
    in6->sin6_port = htons((uint16_t)port);
    in6->sin6_family = four ? AF_INET : AF_INET6;
    info->ai_family = in6->sin6_family;
    info->ai_socktype = SOCK_STREAM;
    info->ai_protocol = IPPROTO_TCP;
    info->ai_addr = (struct sockaddr *)in6;
    info->ai_addrlen = four ? sizeof *in : sizeof *in6;
    return info;
}

int getaddrinfo(const char *name, const char *service, const struct addrinfo *req,
                struct addrinfo **pai) {
    (void)req;
    int port = service ? atoi(service) : 0;
    if (strcmp(name, "hang.example") == 0)
        sleep(300);
    for (size_t i = 0; i < sizeof hosts / sizeof hosts[0]; i++)
        if (strcmp(name, hosts[i].name) == 0 && hosts[i].address) {
            *pai = answer_with(hosts[i].address, port);
            return 0;
        }
    return EAI_NONAME;
}

void freeaddrinfo(struct addrinfo *ai) {
    free(ai->ai_addr);
    free(ai);
}

/* ---- the endpoints ---- */

#define ENDPOINT_PROGRAM SOURCE_DIR "/tests/support/scripted_endpoint.py"

static const char script[] =
    "{\"/200\": {\"status\": 200, \"body\": \"fine\"}, \"/201\": {\"status\": 201},"
    "\"/400\": {\"status\": 400}, \"/404\": {\"status\": 404}, \"/408\": {\"status\": 408},"
    "\"/410\": {\"status\": 410}, \"/425\": {\"status\": 425}, \"/429\": {\"status\": 429},"
    "\"/500\": {\"status\": 500}, \"/503\": {\"status\": 503},"
    "\"/ra/seconds\": {\"status\": 503, \"headers\": {\"Retry-After\": \"120\"}},"
    "\"/ra/zero\": {\"status\": 429, \"headers\": {\"Retry-After\": \"0\"}},"
    "\"/ra/date\": {\"status\": 503, \"headers\": {\"retry-after\":"
    " \"Sun, 06 Nov 1994 08:49:37 GMT\"}},"
    "\"/ra/date2\": {\"status\": 503, \"headers\": {\"Retry-After\":"
    " \"Sunday, 06-Nov-94 08:49:37 GMT\"}},"
    "\"/ra/date3\": {\"status\": 503, \"headers\": {\"Retry-After\":"
    " \"Sun Nov  6 08:49:37 1994\"}},"
    "\"/ra/past\": {\"status\": 503, \"headers\": {\"Retry-After\":"
    " \"Sun, 06 Nov 1988 08:49:37 GMT\"}},"
    "\"/ra/negative\": {\"status\": 503, \"headers\": {\"Retry-After\": \"-5\"}},"
    "\"/ra/absurd\": {\"status\": 503, \"headers\": {\"Retry-After\":"
    " \"99999999999999999999999\"}},"
    "\"/ra/fraction\": {\"status\": 503, \"headers\": {\"Retry-After\": \"1.5\"}},"
    "\"/ra/word\": {\"status\": 503, \"headers\": {\"Retry-After\": \"Tomorrow\"}},"
    "\"/ra/empty\": {\"status\": 503, \"headers\": {\"Retry-After\": \"\"}},"
    "\"/r/301\": {\"status\": 301, \"redirect\": \"http://other.example/" MARK "\"},"
    "\"/r/302\": {\"status\": 302, \"redirect\": \"https://other.example:444/?" MARK "\"},"
    "\"/r/303\": {\"status\": 303, \"redirect\": \"/never\"},"
    "\"/r/307\": {\"status\": 307, \"redirect\": \"/never\"},"
    "\"/r/308\": {\"status\": 308, \"redirect\": \"ftp://u:" MARK "@[::1]/\"},"
    "\"/r/loop\": {\"status\": 302, \"redirect\": \"/r/loop\"},"
    "\"/r/304\": {\"status\": 304},"
    "\"/hang/answer\": {\"delay\": 60}, \"/hang/head\": {\"delay_headers\": 60, \"status\": 200},"
    "\"/hang/body\": {\"delay_body\": 60, \"status\": 200, \"body\": \"fine\"},"
    "\"/hang/body503\": {\"delay_body\": 60, \"status\": 503, \"body\": \"fine\"},"
    "\"/hang/drip\": {\"drip\": 1, \"status\": 200},"
    "\"/cut/answer\": {\"cut\": \"answer\"}, \"/cut/head\": {\"cut\": \"head\", \"status\": 200},"
    "\"/cut/body\": {\"cut\": \"body\", \"status\": 200, \"body\": \"0123456789\"},"
    "\"/reset\": {\"reset\": true}, \"/huge\": {\"status\": 200, \"huge\": 1073741824},"
    "\"/huge503\": {\"status\": 503, \"huge\": 1073741824},"
    "\"/bomb\": {\"status\": 200, \"headers\": {\"Content-Encoding\": \"gzip\"},"
    " \"gzip_zeros\": 268435456},"
    "\"/not-http\": {\"raw\": \"220 mail.example ESMTP\\r\\n\"},"
    "\"/empty\": {\"raw\": \"\"},"
    "\"/big-head\": {\"raw\": \"HTTP/1.1 200 OK\\r\\nX: "
    "%s\\r\\n\\r\\n\"},"
    "\"/once-more\": {\"raw\": \"HTTP/1.1 100 Continue\\r\\n\\r\\nHTTP/1.1 204 OK\\r\\n\\r\\n\"}}";

static struct endpoint_process plain;

static inline void start_plain(void) {
    static char long_value[90001], whole[sizeof script + sizeof long_value];
    memset(long_value, 'x', sizeof long_value - 1);
    snprintf(whole, sizeof whole, script, long_value);
    const struct endpoint_options options = {.program = ENDPOINT_PROGRAM, .script = whole};
    endpoint_process_start(&plain, &options);
}

static inline void stop_plain(void) {
    endpoint_process_stop(&plain);
}

/* ---- one delivery and what it reported ---- */

#define RESULTS_MAX 256

struct reported {
    int64_t row, retry_after_s;
    int status;
    char contact[40], text[240];
    double after_s;
};

static struct delivery *delivery;

static struct reported results[RESULTS_MAX];

static size_t result_count;

static double started_s, longest_turn_s;

static inline double clock_s(void) {
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

static inline void take_result(void *context, const struct delivery_result *result) {
    ck_assert_ptr_eq(context, &result_count);
    ck_assert_uint_lt(result_count, RESULTS_MAX);
    struct reported *to = &results[result_count++];
    to->row = result->row;
    to->status = result->status;
    to->retry_after_s = result->retry_after_s;
    to->after_s = clock_s() - started_s;
    snprintf(to->contact, sizeof to->contact, "%s", result->contact);
    snprintf(to->text, sizeof to->text, "%s", result->text);
    ck_assert_msg(!strstr(to->text, MARK), "secret in: %s", to->text);
    ck_assert_msg(!strstr(to->text, "/hang") && !strstr(to->text, "?"), "path in: %s", to->text);
    ck_assert_str_ne(to->text, "");
    ck_assert(!delivery_busy(delivery, result->contact));
}

static inline void set_up(void) {
    const struct delivery_callbacks callbacks = {&result_count, take_result};
    result_count = 0;
    longest_turn_s = 0.0;
    delivery = delivery_create(&callbacks);
    ck_assert_ptr_nonnull(delivery);
    started_s = clock_s();
}

static inline void tear_down(void) {
    delivery_destroy(delivery);
}

static const struct delivery_header headers[] = {{"Authorization", "Bearer " MARK},
                                                 {"webhook-id", "msg_1"}};

static inline struct delivery_request request_to(const char *contact, const char *url) {
    return (struct delivery_request){.row = 7,
                                     .contact = contact,
                                     .url = url,
                                     .content_type = "application/cloudevents+json",
                                     .body = "{\"a\":1}",
                                     .body_length = 7,
                                     .headers = headers,
                                     .header_count = 2};
}

static inline const char *url_of(const struct endpoint_process *endpoint, const char *path) {
    static char urls[8][300];
    static int used;
    char *url = urls[used++ % 8];
    snprintf(url, sizeof urls[0], "http://127.0.0.1:%d%s?token=" MARK, endpoint->port, path);
    return url;
}

static inline void post(const char *contact, const char *url) {
    struct delivery_request request = request_to(contact, url);
    ck_assert(delivery_post(delivery, &request));
    ck_assert(delivery_busy(delivery, contact));
}

static inline void run_until(size_t count, double limit_s) {
    double end_s = clock_s() + limit_s;
    while (result_count < count && clock_s() < end_s) {
        delivery_wait(delivery, NULL, 0, 100);
        double before_s = clock_s();
        delivery_turn(delivery, WALL_MS);
        double took_s = clock_s() - before_s;
        if (took_s > longest_turn_s)
            longest_turn_s = took_s;
    }
    ck_assert_msg(result_count >= count, "%zu of %zu results", result_count, count);
}

static inline const struct reported *post_and_wait(const char *url) {
    size_t before = result_count;
    post("office", url);
    run_until(before + 1, 20);
    return &results[before];
}

#endif
