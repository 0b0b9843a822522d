/*
 * The contract with libmosquitto that nothing is acknowledged before its commit, and what is sent
 * to a broker, field by field. To be run at each update of the library. Packet layouts: OASIS MQTT
 * 3.1.1 and 5.0 (chapters 3.1 CONNECT, 3.2 CONNACK, 3.3 PUBLISH, 3.4 PUBACK, 3.8 SUBSCRIBE).
 */
#include "scripted_intake.h"

#include <dlfcn.h>
#include <signal.h>
#include <time.h>

/* ---- the contract: nothing is acknowledged before its commit ---- */

static int64_t monotonic_ms(void) {
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (int64_t)now.tv_sec * 1000 + now.tv_nsec / 1000000;
}

START_TEST(no_byte_leaves_before_the_commit) {
    begin(protocols[_i]);
    intake_bench_create(&bench);
    connect_fully(false);
    for (int id = 1; id <= 50; id++)
        publish(2, id, "subslab/a/suction", "1");
    /* 6.5 s by the clock, however slow a turn is: longer than the keepalive of 5 s, so that one
       PINGREQ comes due, and shorter than two. */
    for (int64_t until_ms = monotonic_ms() + 6500; monotonic_ms() < until_ms;) {
        intake_bench_read(&bench);
        scripted_broker_pump(&broker);
        usleep(10000);
    }
    ck_assert_uint_eq(bench.uncommitted, 50);
    ck_assert_uint_eq(broker.length, 0);
    ck_assert(!intake_wants_write(bench.intake)); /* or the loop would spin */

    intake_bench_commit(&bench);
    intake_release(bench.intake);
    usleep(20000);
    scripted_broker_pump(&broker);
    ck_assert_uint_eq(scripted_broker_count(&broker, PACKET_PUBACK), 50);
    struct scripted_packet packet;
    for (size_t n = 0; n < 50; n++) {
        ck_assert(scripted_broker_packet(&broker, n, &packet));
        ck_assert_int_eq(packet.type, PACKET_PUBACK);
        ck_assert_uint_eq((unsigned)(packet.body[0] << 8 | packet.body[1]), n + 1);
    }
    ck_assert_uint_eq(scripted_broker_count(&broker, PACKET_PINGREQ), 1); /* behind them */
    end();
}
END_TEST

/* A library that sends its acknowledgements from within mosquitto_loop_read has nothing left to
   write; this takes the library's place for the code under test. */
static bool acknowledges_early;

bool mosquitto_want_write(struct mosquitto *client) {
    bool (*real)(struct mosquitto *) = NULL;
    *(void **)&real = dlsym(RTLD_NEXT, "mosquitto_want_write");
    return !acknowledges_early && real(client);
}

START_TEST(a_library_that_acknowledges_early_is_stopped) { /* expects SIGABRT */
    begin(5);
    intake_bench_create(&bench);
    connect_fully(false);
    acknowledges_early = true;
    publish(2, 1, "subslab/a/suction", "1");
    turns(100);
}
END_TEST

START_TEST(releasing_uncommitted_readings_aborts) { /* expects SIGABRT */
    begin(5);
    intake_bench_create(&bench);
    connect_fully(false);
    publish(2, 1, "subslab/a/suction", "1");
    for (int i = 0; i < 100 && !bench.uncommitted; i++) {
        usleep(1000);
        intake_bench_read(&bench);
    }
    if (bench.uncommitted)
        intake_release(bench.intake);
}
END_TEST

START_TEST(nothing_is_subscribed_while_something_is_uncommitted) {
    struct scripted_packet packet;
    begin(protocols[_i]);
    intake_bench_create(&bench);
    await(PACKET_CONNECT, &packet);
    scripted_broker_forget(&broker);
    /* A kept session: its messages follow the CONNACK at once, in the same read. */
    size_t length = scripted_connack(bytes, protocols[_i], true, 0);
    length += scripted_publish(bytes + length, protocols[_i], 2, 9, "subslab/a", "1", 1);
    scripted_broker_send(&broker, bytes, length);
    for (int i = 0; i < 100; i++) {
        intake_bench_read(&bench);
        scripted_broker_pump(&broker);
        usleep(1000);
    }
    ck_assert_uint_eq(bench.uncommitted, 1);
    ck_assert_uint_eq(broker.length, 0);
    intake_bench_commit(&bench);
    await(PACKET_SUBSCRIBE, &packet);
    ck_assert_uint_eq(scripted_broker_count(&broker, PACKET_PUBACK), 1);
    end();
}
END_TEST

START_TEST(an_abandoned_batch_is_never_acknowledged_and_comes_again) {
    begin(protocols[_i]);
    intake_bench_create(&bench);
    connect_fully(false);
    publish(2, 7, "subslab/a/suction", "7");
    for (int i = 0; i < 100 && !bench.uncommitted; i++) {
        usleep(1000);
        intake_bench_read(&bench);
    }
    ck_assert_uint_eq(bench.uncommitted, 1);
    intake_abandon(bench.intake, "readings could not be stored");
    bench.uncommitted = 0; /* the failed commit took them along */
    usleep(20000);
    scripted_broker_pump(&broker);
    ck_assert(broker.ended);
    ck_assert_uint_eq(broker.length, 0);
    ck_assert_uint_eq(bench.disconnected, 1);
    ck_assert_ptr_nonnull(strstr(bench.why, "could not be stored"));
    ck_assert_int_eq(intake_state(bench.intake), INTAKE_DISCONNECTED);

    pass_the_wait();
    connect_fully(true);
    ck_assert(bench.session_present);
    publish(2 | 8, 7, "subslab/a/suction", "7");
    for (int i = 0; i < 100 && bench.messages < 2; i++)
        turns(1);
    turns(5);
    ck_assert_uint_eq(scripted_broker_count(&broker, PACKET_PUBACK), 1);
    end();
}
END_TEST

START_TEST(leaving_acknowledges_nothing_uncommitted) {
    struct scripted_packet packet;
    begin(protocols[_i / 2]);
    intake_bench_create(&bench);
    connect_fully(false);
    publish(2, 7, "subslab/a/suction", "7");
    for (int i = 0; i < 100 && !bench.uncommitted; i++) {
        usleep(1000);
        intake_bench_read(&bench);
    }
    bool committed = _i % 2;
    if (committed)
        intake_bench_commit(&bench);
    intake_stop(bench.intake);
    usleep(20000);
    scripted_broker_pump(&broker);
    ck_assert(broker.ended);
    ck_assert_uint_eq(scripted_broker_count(&broker, PACKET_PUBACK), committed);
    ck_assert_uint_eq(scripted_broker_count(&broker, PACKET_DISCONNECT), committed);
    if (committed)
        ck_assert(scripted_broker_packet(&broker, 0, &packet) && packet.type == PACKET_PUBACK);
    ck_assert_uint_eq(bench.disconnected, 0); /* the end we asked for is no loss */
    bench.uncommitted = 0;
    end();
}
END_TEST

/* ---- CONNECT and SUBSCRIBE, field by field ---- */

static size_t take_string(const uint8_t *at, char *text, size_t size) {
    size_t length = (size_t)(at[0] << 8 | at[1]);
    ck_assert_uint_lt(length, size);
    memcpy(text, at + 2, length);
    text[length] = '\0';
    return length + 2;
}

static void check_strings(const uint8_t *at, const uint8_t *after) {
    static const char *const wanted[] = {"bench", "subslabd", "secret words"};
    for (size_t i = 0; i < 3; i++) {
        char text[64];
        at += take_string(at, text, sizeof(text));
        ck_assert_str_eq(text, wanted[i]);
    }
    ck_assert_ptr_eq(at, after);
}

START_TEST(connect_of_mqtt_311_field_by_field) {
    struct scripted_packet packet;
    begin(4);
    bench.settings.broker.username = (char *)"subslabd";
    bench.password = "secret words";
    bench.settings.broker.keepalive_s = 37;
    intake_bench_create(&bench);
    await(PACKET_CONNECT, &packet);
    static const uint8_t head[] = {
        0, 4, 'M', 'Q', 'T', 'T', 4, 0xc0 /* user name, password; clean session 0, no will */,
        0, 37};
    ck_assert_int_eq(packet.flags, 0);
    ck_assert_int_eq(memcmp(packet.body, head, sizeof(head)), 0);
    check_strings(packet.body + sizeof(head), packet.body + packet.length);
    end();
}
END_TEST

START_TEST(connect_of_mqtt_5_field_by_field) {
    struct scripted_packet packet;
    begin(5);
    bench.settings.broker.username = (char *)"subslabd";
    bench.password = "secret words";
    bench.settings.broker.keepalive_s = 300;
    bench.settings.broker.receive_maximum = 1234;
    bench.settings.broker.maximum_packet = 0x00012345;
    intake_bench_create(&bench);
    await(PACKET_CONNECT, &packet);
    static const uint8_t head[] = {
        0, 4, 'M', 'Q', 'T', 'T', 5, 0xc0 /* clean start 0 */, 300 >> 8, 300 & 0xff};
    ck_assert_int_eq(memcmp(packet.body, head, sizeof(head)), 0);
    const uint8_t *at = packet.body + sizeof(head), *after = at + 1 + at[0];
    unsigned long expiry = 0, receive_maximum = 0, packet_maximum = 0;
    for (at++; at < after;) {
        int property = *at++;
        unsigned long value = 0;
        for (int n = property == 0x21 ? 2 : 4; n > 0; n--)
            value = value << 8 | *at++;
        ck_assert(property == 0x11 || property == 0x21 || property == 0x27);
        *(property == 0x11   ? &expiry
          : property == 0x21 ? &receive_maximum
                             : &packet_maximum) = value;
    }
    ck_assert_uint_eq(expiry, 0xffffffff);
    ck_assert_uint_eq(receive_maximum, 1234);
    ck_assert_uint_eq(packet_maximum, 0x00012345);
    check_strings(after, packet.body + packet.length);
    end();
}
END_TEST

START_TEST(subscribes_every_filter_at_qos_1) {
    struct scripted_packet packet;
    begin(protocols[_i]);
    intake_bench_create(&bench);
    await(PACKET_CONNECT, &packet);
    scripted_broker_send(&broker, bytes, scripted_connack(bytes, protocols[_i], false, 0));
    await(PACKET_SUBSCRIBE, &packet);
    ck_assert_int_eq(packet.flags, 2);
    const uint8_t *at = packet.body + (protocols[_i] == 5 ? 3 : 2);
    for (size_t i = 0; i < 2; i++) {
        char text[64];
        at += take_string(at, text, sizeof(text));
        ck_assert_str_eq(text, bench.filters[i]);
        ck_assert_int_eq(*at++, 1); /* QoS 1; MQTT 5: no option set, retained ones are sent */
    }
    ck_assert_ptr_eq(at, packet.body + packet.length);
    ck_assert_int_eq(intake_state(bench.intake), INTAKE_CONNECTING);
    ck_assert_uint_eq(bench.connected, 0);
    end();
}
END_TEST

int main(void) {
    TCase *contract = tcase_create("contract");
    tcase_add_loop_test(contract, no_byte_leaves_before_the_commit, 0, 2);
    tcase_add_test_raise_signal(contract, a_library_that_acknowledges_early_is_stopped, SIGABRT);
    tcase_add_test_raise_signal(contract, releasing_uncommitted_readings_aborts, SIGABRT);
    tcase_add_loop_test(contract, nothing_is_subscribed_while_something_is_uncommitted, 0, 2);
    tcase_add_loop_test(contract, an_abandoned_batch_is_never_acknowledged_and_comes_again, 0, 2);
    tcase_add_loop_test(contract, leaving_acknowledges_nothing_uncommitted, 0, 4);
    tcase_add_test(contract, connect_of_mqtt_311_field_by_field);
    tcase_add_test(contract, connect_of_mqtt_5_field_by_field);
    tcase_add_loop_test(contract, subscribes_every_filter_at_qos_1, 0, 2);
    return run_test_case(contract);
}
