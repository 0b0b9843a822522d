/*
 * delivery against a scripted endpoint on loopback. Names that end in ".example" are resolved by
 * the getaddrinfo below, so that what a name server might answer can be tried without a network.
 */
#include "delivery_bench.h"

#include <signal.h>

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
    TCase *endpoint = tcase_create("endpoint");
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
    tcase_add_test(endpoint, the_wait_ends_with_what_it_waits_for);
    tcase_add_test(endpoint, signals_do_no_harm);
    return run_test_case(endpoint);
}
