/*
 * delivery against a scripted endpoint on loopback. Names that end in ".example" are resolved by
 * the getaddrinfo below, so that what a name server might answer can be tried without a network.
 */
#include "endpoint_process.h"
#include "link/delivery.h"
#include "test_support.h"

#include <arpa/inet.h>
#include <jansson.h>
#include <netdb.h>
#include <netinet/in.h>
#include <signal.h>
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

static struct addrinfo *answer_with(const char *address, int port) {
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

static void start_plain(void) {
    static char long_value[90001], whole[sizeof script + sizeof long_value];
    memset(long_value, 'x', sizeof long_value - 1);
    snprintf(whole, sizeof whole, script, long_value);
    const struct endpoint_options options = {.program = ENDPOINT_PROGRAM, .script = whole};
    endpoint_process_start(&plain, &options);
}

static void stop_plain(void) {
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

static double clock_s(void) {
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

static void take_result(void *context, const struct delivery_result *result) {
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

static void set_up(void) {
    const struct delivery_callbacks callbacks = {&result_count, take_result};
    result_count = 0;
    longest_turn_s = 0.0;
    delivery = delivery_create(&callbacks);
    ck_assert_ptr_nonnull(delivery);
    started_s = clock_s();
}

static void tear_down(void) {
    delivery_destroy(delivery);
}

static const struct delivery_header headers[] = {{"Authorization", "Bearer " MARK},
                                                 {"webhook-id", "msg_1"}};

static struct delivery_request request_to(const char *contact, const char *url) {
    return (struct delivery_request){.row = 7,
                                     .contact = contact,
                                     .url = url,
                                     .content_type = "application/cloudevents+json",
                                     .body = "{\"a\":1}",
                                     .body_length = 7,
                                     .headers = headers,
                                     .header_count = 2};
}

static const char *url_of(const struct endpoint_process *endpoint, const char *path) {
    static char urls[8][300];
    static int used;
    char *url = urls[used++ % 8];
    snprintf(url, sizeof urls[0], "http://127.0.0.1:%d%s?token=" MARK, endpoint->port, path);
    return url;
}

static void post(const char *contact, const char *url) {
    struct delivery_request request = request_to(contact, url);
    ck_assert(delivery_post(delivery, &request));
    ck_assert(delivery_busy(delivery, contact));
}

static void run_until(size_t count, double limit_s) {
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

static const struct reported *post_and_wait(const char *url) {
    size_t before = result_count;
    post("office", url);
    run_until(before + 1, 20);
    return &results[before];
}

/* ---- answers ---- */

static const struct {
    const char *path;
    int status;
    int64_t retry_after_s;
    const char *text;
} answers[] = {
    {"/", 204, -1, "204"},
    {"/200", 200, -1, "200"},
    {"/201", 201, -1, "201"},
    {"/400", 400, -1, "400"},
    {"/404", 404, -1, "404"},
    {"/408", 408, -1, "408"},
    {"/410", 410, -1, "410"},
    {"/425", 425, -1, "425"},
    {"/429", 429, -1, "429"},
    {"/500", 500, -1, "500"},
    {"/503", 503, -1, "503"},
    {"/once-more", 204, -1, "204"},
    /* RFC 9110 section 10.2.3, and the three dates of section 5.6.7 */
    {"/ra/seconds", 503, 120, "503"},
    {"/ra/zero", 429, 0, "429"},
    {"/ra/date", 503, 90, "503"},
    {"/ra/date2", 503, 90, "503"},
    {"/ra/date3", 503, 90, "503"},
    {"/ra/past", 503, 0, "503"},
    {"/ra/negative", 503, -1, "503"},
    {"/ra/absurd", 503, INT32_MAX, "503"},
    {"/ra/fraction", 503, -1, "503"},
    {"/ra/word", 503, -1, "503"},
    {"/ra/empty", 503, -1, "503"},
    {"/r/301", 301, -1, "redirect to other.example refused"},
    {"/r/302", 302, -1, "redirect to other.example refused"},
    {"/r/303", 303, -1, "redirect to 127.0.0.1 refused"},
    {"/r/307", 307, -1, "redirect to 127.0.0.1 refused"},
    {"/r/308", 308, -1, "redirect to [::1] refused"},
    {"/r/loop", 302, -1, "redirect to 127.0.0.1 refused"},
    {"/r/304", 304, -1, "redirect refused (304)"},
    {"/cut/answer", 0, -1, "closed without an answer"},
    {"/cut/body", 200, -1, "200"},
    {"/bomb", 200, -1, "200"},
    {"/empty", 0, -1, "closed without an answer"},
    {"/reset", 0, -1, "connection lost before the answer"},
    {"/not-http", 0, -1, "answer is not HTTP"},
    {"/big-head", 0, -1, "head of the answer too large"},
};

START_TEST(each_answer_is_reported_as_what_it_is) {
    const struct reported *result = post_and_wait(url_of(&plain, answers[_i].path));
    ck_assert_str_eq(result->text, answers[_i].text);
    ck_assert_int_eq(result->status, answers[_i].status);
    ck_assert_int_eq(result->retry_after_s, answers[_i].retry_after_s);
    ck_assert_int_eq(result->row, 7);
    ck_assert_str_eq(result->contact, "office");
    ck_assert_uint_eq(delivery_under_way(delivery), 0);
}
END_TEST

START_TEST(an_answer_cut_within_its_head_is_no_answer) {
    const struct reported *result = post_and_wait(url_of(&plain, "/cut/head"));
    ck_assert_int_eq(result->status, 0);
}
END_TEST

START_TEST(a_redirect_is_not_followed) {
    post_and_wait(url_of(&plain, "/r/307"));
    post_and_wait(url_of(&plain, "/r/loop"));
    json_t *never = endpoint_process_logged(&plain, "/never"),
           *loop = endpoint_process_logged(&plain, "/r/loop");
    ck_assert_uint_eq(json_array_size(never), 0);
    ck_assert_uint_le(json_array_size(loop), 2); /* one here, one of the table */
    json_decref(never);
    json_decref(loop);
}
END_TEST

START_TEST(the_request_is_what_was_asked_for_and_no_more) {
    setenv("http_proxy", "http://127.0.0.1:9", 1);
    setenv("all_proxy", "http://127.0.0.1:9", 1);
    ck_assert_int_eq(post_and_wait(url_of(&plain, "/what"))->status, 204);
    json_t *requests = endpoint_process_logged(&plain, "/what");
    ck_assert_uint_eq(json_array_size(requests), 1);
    json_t *request = json_array_get(requests, 0), *got = json_object_get(request, "headers");
    ck_assert_str_eq(json_string_value(json_object_get(request, "method")), "POST");
    ck_assert_str_eq(json_string_value(json_object_get(request, "body")), "{\"a\":1}");
    static const char *const expected[][2] = {{"content-type", "application/cloudevents+json"},
                                              {"authorization", "Bearer " MARK},
                                              {"webhook-id", "msg_1"},
                                              {"content-length", "7"},
                                              {"accept", "*/*"}};
    for (size_t i = 0; i < sizeof expected / sizeof expected[0]; i++)
        ck_assert_str_eq(json_string_value(json_object_get(got, expected[i][0])), expected[i][1]);
    ck_assert(!json_object_get(got, "accept-encoding"));
    ck_assert(!json_object_get(got, "expect"));
    ck_assert(!json_object_get(got, "cookie"));
    ck_assert_uint_eq(json_object_size(got), 7); /* and host, user-agent */
    json_decref(requests);
}
END_TEST

START_TEST(a_gigabyte_of_answer_is_cut_short) {
    const char *path = _i ? "/huge503" : "/huge";
    const struct reported *result = post_and_wait(url_of(&plain, path));
    ck_assert_int_eq(result->status, _i ? 503 : 200);
    ck_assert_double_lt(result->after_s, 3.0);
    for (int i = 0; i < 100; i++) { /* the line comes when the endpoint noticed */
        json_t *lines = endpoint_process_logged(&plain, path);
        json_t *sent = json_object_get(json_array_get(lines, 1), "sent");
        bool there = sent != NULL;
        if (there)
            ck_assert_int_lt(json_integer_value(sent), 16 * 1024 * 1024); /* socket buffers */
        json_decref(lines);
        if (there)
            return;
        usleep(20000);
    }
    ck_abort_msg("the endpoint still sends");
}
END_TEST

START_TEST(connections_are_used_again) {
    for (int i = 0; i < 5; i++)
        ck_assert_int_eq(post_and_wait(url_of(&plain, "/again"))->status, 204);
    json_t *requests = endpoint_process_logged(&plain, "/again");
    ck_assert_uint_eq(json_array_size(requests), 5);
    int first = (int)json_integer_value(json_object_get(json_array_get(requests, 0), "connection"));
    int last = (int)json_integer_value(json_object_get(json_array_get(requests, 4), "connection"));
    ck_assert_int_eq(first, last);
    json_decref(requests);
}
END_TEST

/* ---- what hangs ---- */

/* A port whose queue of connections is full: a connect gets no answer at all. */
static int full_port(int descriptors[3]) {
    struct sockaddr_in address = {.sin_family = AF_INET, .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    socklen_t size = sizeof address;
    descriptors[0] = socket(AF_INET, SOCK_STREAM, 0);
    ck_assert_int_eq(bind(descriptors[0], (struct sockaddr *)&address, size), 0);
    ck_assert_int_eq(listen(descriptors[0], 0), 0);
    getsockname(descriptors[0], (struct sockaddr *)&address, &size);
    for (int i = 1; i < 3; i++) {
        descriptors[i] = socket(AF_INET, SOCK_STREAM | SOCK_NONBLOCK, 0);
        (void)connect(descriptors[i], (struct sockaddr *)&address, size); /* under way */
    }
    return ntohs(address.sin_port);
}

static const struct reported *result_of(const char *contact) {
    for (size_t i = 0; i < result_count; i++)
        if (strcmp(results[i].contact, contact) == 0)
            return &results[i];
    ck_abort_msg("no result of %s", contact);
}

START_TEST(what_hangs_ends_in_time_and_delays_nobody) {
    static const struct {
        const char *path;
        int status;
        const char *text;
    } hung[] = {
        {"/hang/answer", 0, "no answer within 15 s"},
        {"/hang/head", 0, "no answer within 15 s"},
        {"/hang/drip", 0, "no answer within 15 s"},
        {"/hang/body", 200, "200"},
        {"/hang/body503", 503, "503"},
    };
    enum { HUNG = sizeof hung / sizeof hung[0] };
    int descriptors[3];
    char full[80];
    snprintf(full, sizeof full, "http://127.0.0.1:%d/", full_port(descriptors));
    for (size_t i = 0; i < HUNG; i++)
        post(hung[i].path, url_of(&plain, hung[i].path));
    post("full", full);
    post("no-name", "https://hang.example/" MARK);
    struct delivery_request again = request_to("full", full);
    ck_assert(!delivery_post(delivery, &again)); /* one at a time per contact */
    for (int i = 0; i < 20; i++) {
        double before_s = clock_s();
        ck_assert_int_eq(post_and_wait(url_of(&plain, "/"))->status, 204);
        ck_assert_double_lt(clock_s() - before_s, 1.0);
    }
    ck_assert_uint_eq(delivery_under_way(delivery), HUNG + 2);
    run_until(20 + HUNG + 2, 20);
    for (size_t i = 0; i < HUNG; i++) {
        const struct reported *result = result_of(hung[i].path);
        ck_assert_str_eq(result->text, hung[i].text);
        ck_assert_int_eq(result->status, hung[i].status);
        ck_assert_double_eq_tol(result->after_s, 15.0, 1.5);
    }
    ck_assert_str_eq(result_of("full")->text, "no connection within 10 s");
    ck_assert_str_eq(result_of("no-name")->text, "host name not resolved within 10 s");
    ck_assert_double_eq_tol(result_of("no-name")->after_s, 10.0, 1.5);
    ck_assert_double_lt(longest_turn_s, 1.0);
    for (int i = 0; i < 3; i++)
        close(descriptors[i]);
}
END_TEST

START_TEST(giving_up_is_quick) {
    post("a", url_of(&plain, "/hang/answer"));
    post("b", "https://hang.example/");
    post("c", url_of(&plain, "/hang/body"));
    for (int i = 0; i < 5; i++) {
        delivery_wait(delivery, NULL, 0, 50);
        delivery_turn(delivery, WALL_MS);
    }
    double before_s = clock_s();
    delivery_destroy(delivery);
    ck_assert_double_lt(clock_s() - before_s, 1.0);
    delivery = NULL; /* the fixture destroys NULL */
    ck_assert_uint_eq(result_count, 0);
}
END_TEST

START_TEST(two_hundred_at_once_all_end) {
    char contact[16];
    for (int i = 0; i < 200; i++) {
        snprintf(contact, sizeof contact, "c%d", i);
        post(contact, url_of(&plain, "/many"));
    }
    run_until(200, 20);
    for (size_t i = 0; i < 200; i++)
        ck_assert_int_eq(results[i].status, 204);
}
END_TEST

/* ---- where it may go ---- */

static const struct {
    const char *url; /* %d: the endpoint's port */
    bool allow_private;
    const char *text;
} places[] = {
    {"http://127.0.0.1:%d/", false, "204"},
    {"http://localhost:%d/", false, "204"},
    {"http://127.0.0.1:%d/", true, "204"},
    {"http://2130706433:%d/", true, "204"},
    {"http://myself.example:%d/", true, "204"},
    {"http://2130706433:%d/", false, "loopback address refused"},
    {"http://0x7f000001:%d/", false, "loopback address refused"},
    {"http://127.1:%d/", false, "loopback address refused"},
    {"http://[::ffff:127.0.0.1]:%d/", false, "loopback address refused"},
    {"http://myself.example:%d/", false, "loopback address refused"},
    {"https://myself.example:%d/", false, "loopback address refused"},
    {"http://mapped.example:%d/", false, "loopback address refused"},
    {"https://inside.example/", false, "private address refused"},
    {"https://unique-local.example/", false, "private address refused"},
    {"http://192.168.1.1/", false, "private address refused"},
    {"http://100.64.0.1/", false, "private address refused"},
    {"http://169.254.169.254/latest/" MARK, false,
     "link-local, multicast or reserved address refused"},
    {"http://169.254.169.254/latest/" MARK, true,
     "link-local, multicast or reserved address refused"},
    {"https://metadata.example/", true, "link-local, multicast or reserved address refused"},
    {"https://multicast.example/", true, "link-local, multicast or reserved address refused"},
    {"https://link-local.example/", true, "link-local, multicast or reserved address refused"},
    {"https://any.example/", true, "link-local, multicast or reserved address refused"},
    {"http://0.0.0.0:%d/", true, "link-local, multicast or reserved address refused"},
    {"http://0:%d/", true, "link-local, multicast or reserved address refused"},
    {"http://[::]:%d/", true, "link-local, multicast or reserved address refused"},
    {"http://public.example/", false, "plain http to a public address refused, use https"},
    {"http://public.example/", true, "plain http to a public address refused, use https"},
    {"https://missing.example/", false, "host name not found"},
    {"file:///etc/passwd", true, "neither https nor http"},
    {"gopher://127.0.0.1/", true, "neither https nor http"},
    {"ftp://127.0.0.1/", true, "neither https nor http"},
    {"dict://127.0.0.1:%d/", true, "neither https nor http"},
    {"http://", true, "malformed address"},
    {"http://127.0.0.1:99999/", true, "malformed address"},
    {"http://127.0.0.1/\r\nX-Injected: 1", true, "malformed address"},
};

START_TEST(it_goes_only_where_it_may) {
    char url[200];
    snprintf(url, sizeof url, places[_i].url, plain.port); /* rows without a port ignore it */
    struct delivery_request request = request_to("office", url);
    request.allow_private_address = places[_i].allow_private;
    ck_assert(delivery_post(delivery, &request));
    run_until(1, 5);
    ck_assert_msg(strcmp(results[0].text, places[_i].text) == 0, "%s: %s", url, results[0].text);
}
END_TEST

START_TEST(a_kept_connection_opens_no_door) {
    char url[80];
    ck_assert_int_eq(post_and_wait(url_of(&plain, "/door"))->status, 204);
    snprintf(url, sizeof url, "http://2130706433:%d/door", plain.port);
    const struct reported *result = post_and_wait(url);
    ck_assert_int_eq(result->status, 0);
    ck_assert_str_eq(result->text, "loopback address refused");
    json_t *requests = endpoint_process_logged(&plain, "/door");
    ck_assert_uint_eq(json_array_size(requests), 1);
    json_decref(requests);
}
END_TEST

START_TEST(nobody_listens) {
    int descriptor = socket(AF_INET, SOCK_STREAM, 0);
    struct sockaddr_in address = {.sin_family = AF_INET, .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    socklen_t size = sizeof address;
    ck_assert_int_eq(bind(descriptor, (struct sockaddr *)&address, size), 0);
    getsockname(descriptor, (struct sockaddr *)&address, &size);
    char url[80];
    snprintf(url, sizeof url, "http://127.0.0.1:%d/", ntohs(address.sin_port));
    ck_assert_str_eq(post_and_wait(url)->text, "connection refused");
    close(descriptor);
}
END_TEST

static const struct delivery_header bad_headers[] = {
    {"X-A", "1\r\nX-B: 2"}, {"X-A\r\nX-B", "1"}, {"X A", "1"},    {"", "1"},
    {"X:A", "1"},           {"X-A", "1\n"},      {"X-A", "\x7f"},
};

START_TEST(a_header_with_a_line_break_is_never_sent) {
    struct delivery_request request = request_to("office", url_of(&plain, "/header"));
    request.headers = &bad_headers[_i];
    request.header_count = 1;
    ck_assert(delivery_post(delivery, &request));
    ck_assert(delivery_busy(delivery, "office"));
    double before_s = clock_s();
    run_until(1, 5);
    ck_assert_double_lt(clock_s() - before_s, 0.09); /* the wait does not wait */
    ck_assert_str_eq(results[0].text, "header with a character that is not allowed refused");
    ck_assert_int_eq(results[0].status, 0);
    json_t *requests = endpoint_process_logged(&plain, "/header");
    ck_assert_uint_eq(json_array_size(requests), 0);
    json_decref(requests);
}
END_TEST

/* ---- TLS ---- */

static struct endpoint_process secure;
static char folder[64], ca_file[100], other_ca_file[100];

static void make_certificates(void) {
    char command[300];
    snprintf(folder, sizeof folder, "/tmp/test_delivery_%d_certificates", (int)getpid());
    snprintf(ca_file, sizeof ca_file, "%s/ca.pem", folder);
    snprintf(other_ca_file, sizeof other_ca_file, "%s/other-ca.pem", folder);
    snprintf(command, sizeof command, "sh %s/tests/support/make_certificates.sh %s", SOURCE_DIR,
             folder);
    ck_assert_int_eq(system(command), 0); // NOLINT(bugprone-command-processor,cert-env33-c)
}

static void remove_certificates(void) {
    char command[200];
    snprintf(command, sizeof command, "rm -r %s", folder);
    ck_assert_int_eq(system(command), 0); // NOLINT(bugprone-command-processor,cert-env33-c)
}

static const struct {
    const char *certificate, *tls_maximum;
    int ca; /* 0: none, 1: the right one, 2: another, 3: no such file */
    const char *text;
} tls[] = {
    {"good", NULL, 1, "204"},
    {"good", "TLSv1_2", 1, "204"},
    {"good", "TLSv1_1", 1, "TLS handshake failed"},
    {"good", NULL, 0, "certificate: unable to get local issuer certificate"},
    {"good", NULL, 2, "certificate: unable to get local issuer certificate"},
    {"good", NULL, 3, "certificate: CA file not readable"},
    {"wrong-host", NULL, 1, "certificate: is for another host name"},
    {"expired", NULL, 1, "certificate: certificate has expired"},
    {"self-signed", NULL, 1, "certificate: self-signed certificate"},
};

START_TEST(a_certificate_is_verified) {
    static const char *const ca_files[] = {NULL, ca_file, other_ca_file, "/nowhere/ca.pem"};
    char certificate[120], key[120], url[80];
    snprintf(certificate, sizeof certificate, "%s/%s.pem", folder, tls[_i].certificate);
    snprintf(key, sizeof key, "%s/%s.key", folder, tls[_i].certificate);
    const struct endpoint_options options = {.program = ENDPOINT_PROGRAM,
                                             .script = "{}",
                                             .certificate = certificate,
                                             .key = key,
                                             .tls_maximum = tls[_i].tls_maximum};
    endpoint_process_start(&secure, &options);
    snprintf(url, sizeof url, "https://127.0.0.1:%d/tls?" MARK, secure.port);
    struct delivery_request request = request_to("office", url);
    request.ca_file = ca_files[tls[_i].ca];
    ck_assert(delivery_post(delivery, &request));
    run_until(1, 10);
    ck_assert_str_eq(results[0].text, tls[_i].text);
    json_t *requests = endpoint_process_logged(&secure, "/tls");
    ck_assert_uint_eq(json_array_size(requests), results[0].status == 204);
    json_decref(requests);
    endpoint_process_stop(&secure);
}
END_TEST

/* ---- the wait of the loop ---- */

START_TEST(the_wait_ends_with_what_it_waits_for) {
    int ends[2];
    ck_assert_int_eq(pipe(ends), 0);
    struct delivery_descriptor descriptors[] = {
        {.descriptor = ends[0], .want_read = true, .readable = true},
        {.descriptor = -1, .want_read = true, .readable = true},
        {.descriptor = ends[1]},
    };
    double before_s = clock_s();
    delivery_wait(delivery, descriptors, 3, 200);
    ck_assert_double_eq_tol(clock_s() - before_s, 0.2, 0.1);
    for (int i = 0; i < 3; i++)
        ck_assert(!descriptors[i].readable && !descriptors[i].writable);
    descriptors[2].want_write = true;
    before_s = clock_s();
    delivery_wait(delivery, descriptors, 3, 5000);
    ck_assert_double_lt(clock_s() - before_s, 0.2);
    ck_assert(descriptors[2].writable && !descriptors[0].readable);
    descriptors[2].want_write = false;
    ck_assert_int_eq(write(ends[1], "x", 1), 1);
    delivery_wait(delivery, descriptors, 3, 5000);
    ck_assert(descriptors[0].readable && !descriptors[1].readable);
    char byte;
    ck_assert_int_eq(read(ends[0], &byte, 1), 1);
    close(ends[1]);
    descriptors[2].descriptor = -1;
    delivery_wait(delivery, descriptors, 3, 5000); /* the other end is gone: readable */
    ck_assert(descriptors[0].readable);
    close(ends[0]);
}
END_TEST

static void ignore_signal(int number) {
    (void)number;
}

START_TEST(signals_do_no_harm) {
    struct sigaction action = {.sa_handler = ignore_signal};
    sigaction(SIGALRM, &action, NULL);
    ualarm(2000, 2000);
    for (int i = 0; i < 50; i++)
        ck_assert_int_eq(post_and_wait(url_of(&plain, i % 5 ? "/" : "/cut/answer"))->status,
                         i % 5 ? 204 : 0);
    ualarm(0, 0);
}
END_TEST

int main(void) {
    TCase *endpoint = tcase_create("endpoint"), *encrypted = tcase_create("encrypted");
    tcase_add_unchecked_fixture(endpoint, start_plain, stop_plain);
    tcase_add_checked_fixture(endpoint, set_up, tear_down);
    tcase_add_loop_test(endpoint, each_answer_is_reported_as_what_it_is, 0,
                        sizeof answers / sizeof answers[0]);
    tcase_add_test(endpoint, an_answer_cut_within_its_head_is_no_answer);
    tcase_add_test(endpoint, a_redirect_is_not_followed);
    tcase_add_test(endpoint, the_request_is_what_was_asked_for_and_no_more);
    tcase_add_loop_test(endpoint, a_gigabyte_of_answer_is_cut_short, 0, 2);
    tcase_add_test(endpoint, connections_are_used_again);
    tcase_add_test(endpoint, what_hangs_ends_in_time_and_delays_nobody);
    tcase_add_test(endpoint, giving_up_is_quick);
    tcase_add_test(endpoint, two_hundred_at_once_all_end);
    tcase_add_loop_test(endpoint, it_goes_only_where_it_may, 0, sizeof places / sizeof places[0]);
    tcase_add_test(endpoint, a_kept_connection_opens_no_door);
    tcase_add_test(endpoint, nobody_listens);
    tcase_add_loop_test(endpoint, a_header_with_a_line_break_is_never_sent, 0,
                        sizeof bad_headers / sizeof bad_headers[0]);
    tcase_add_test(endpoint, the_wait_ends_with_what_it_waits_for);
    tcase_add_test(endpoint, signals_do_no_harm);
    tcase_add_unchecked_fixture(encrypted, make_certificates, remove_certificates);
    tcase_add_checked_fixture(encrypted, set_up, tear_down);
    tcase_add_loop_test(encrypted, a_certificate_is_verified, 0, sizeof tls / sizeof tls[0]);
    TCase *const cases[] = {endpoint, encrypted};
    return run_test_cases(cases, 2);
}
