/*
 * intake and TLS at the start, against a broker of scripted bytes; certificates are in
 * test_intake_broker.c.
 */
#include "scripted_intake.h"

static char folder[] = "/tmp/intake_XXXXXX", ca_file[64];

/* ---- TLS at the start; certificates are in test_intake_broker.c ---- */

static void begin_tls(void) {
    char command[512];
    begin(5);
    ck_assert_ptr_nonnull(mkdtemp(folder));
    snprintf(ca_file, sizeof(ca_file), "%s/ca.pem", folder);
    snprintf(command, sizeof(command),
             "openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -days 2 -subj "
             "/CN=test -keyout /dev/null -out %s 2>/dev/null",
             ca_file);
    ck_assert_int_eq(system(command), 0);
    bench.settings.broker.tls = true;
    bench.settings.broker.ca_file = ca_file;
    bench.settings.broker.username = (char *)"subslabd";
    bench.password = "secret words";
}

static void end_tls(void) {
    end();
    unlink(ca_file);
    rmdir(folder);
}

START_TEST(a_stalled_handshake_gets_ten_seconds_and_no_password) {
    begin_tls();
    intake_bench_create(&bench);
    turns(50);
    ck_assert_uint_eq(broker.connections, 1);
    ck_assert_uint_gt(broker.length, 100); /* the ClientHello: a TLS handshake record */
    ck_assert_int_eq(broker.received[0], 0x16);
    ck_assert_ptr_null(memmem(broker.received, broker.length, "secret", 6));
    bench.clock_ms += 10000;
    turns(1);
    ck_assert_int_eq(intake_state(bench.intake), INTAKE_DISCONNECTED);
    turns(5);
    ck_assert(broker.ended);
    end_tls();
}
END_TEST

START_TEST(a_plain_broker_on_a_tls_port_is_told) {
    begin_tls();
    intake_bench_create(&bench);
    turns(20);
    scripted_broker_send(&broker, bytes, scripted_connack(bytes, 5, false, 0));
    scripted_broker_send(&broker, "HTTP/1.1 400 Bad Request\r\n\r\n", 28);
    for (int i = 0; i < 1000 && intake_state(bench.intake) != INTAKE_DISCONNECTED; i++)
        turns(1);
    ck_assert_msg(strstr(intake_why(bench.intake), "no TLS with this broker") != NULL, "%s",
                  intake_why(bench.intake));
    ck_assert_ptr_null(memmem(broker.received, broker.length, "secret", 6));
    end_tls();
}
END_TEST

START_TEST(a_missing_ca_file_is_told_at_the_start) {
    char why[256] = "";
    const struct intake_callbacks none = {0};
    begin(5);
    bench.settings.broker.tls = true;
    bench.settings.broker.ca_file = (char *)"/nonexistent/ca.pem";
    ck_assert_ptr_null(intake_create(&bench.settings, NULL, &none, why, sizeof(why)));
    ck_assert_ptr_nonnull(strstr(why, "/nonexistent/ca.pem"));
    intake_destroy(NULL);
    scripted_broker_close(&broker);
}
END_TEST

int main(void) {
    TCase *link = tcase_create("intake");
    tcase_add_test(link, a_stalled_handshake_gets_ten_seconds_and_no_password);
    tcase_add_test(link, a_plain_broker_on_a_tls_port_is_told);
    tcase_add_test(link, a_missing_ca_file_is_told_at_the_start);
    return run_test_case(link);
}
