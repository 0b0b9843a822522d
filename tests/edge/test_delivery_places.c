/*
 * delivery goes only where it may: addresses, headers, certificates.
 */
#include "delivery_bench.h"

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

int main(void) {
    TCase *endpoint = tcase_create("endpoint"), *encrypted = tcase_create("encrypted");
    tcase_add_unchecked_fixture(endpoint, start_plain, stop_plain);
    tcase_add_checked_fixture(endpoint, set_up, tear_down);
    tcase_add_unchecked_fixture(encrypted, make_certificates, remove_certificates);
    tcase_add_checked_fixture(encrypted, set_up, tear_down);
    tcase_add_loop_test(endpoint, it_goes_only_where_it_may, 0, sizeof places / sizeof places[0]);
    tcase_add_test(endpoint, a_kept_connection_opens_no_door);
    tcase_add_test(endpoint, nobody_listens);
    tcase_add_loop_test(endpoint, a_header_with_a_line_break_is_never_sent, 0,
                        sizeof bad_headers / sizeof bad_headers[0]);
    tcase_add_loop_test(encrypted, a_certificate_is_verified, 0, sizeof tls / sizeof tls[0]);
    TCase *const cases[] = {endpoint, encrypted};
    return run_test_cases(cases, 2);
}
