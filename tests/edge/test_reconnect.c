/*
 * What intake stands on: how long to wait before the next connection, and names looked up beside
 * the loop.
 */
#include "scripted_intake.h"

#include <mosquitto.h>
#include <unistd.h>

/* ---- the parts below ---- */

START_TEST(waits_grow_to_a_minute) {
    for (int k = 0; k < 2; k++) {
        double chance = k ? 0.999999 : 0.0;
        struct reconnect reconnect = {0};
        int64_t wanted_ms = 1000;
        for (int i = 0; i < 10; i++) {
            int64_t wait_ms =
                reconnect_wait_ms(&reconnect, RECONNECT_FAILED, -1, i * 100000, chance);
            ck_assert_int_ge(wait_ms, wanted_ms == 1000 ? 1000 : wanted_ms * 3 / 4);
            ck_assert_int_le(wait_ms, wanted_ms * 5 / 4 > 60000 ? 60000 : wanted_ms * 5 / 4);
            wanted_ms = wanted_ms * 2 > 60000 ? 60000 : wanted_ms * 2;
        }
        /* A connection that lasted makes the next wait short again; one that did not, does not. */
        ck_assert_int_ge(reconnect_wait_ms(&reconnect, RECONNECT_FAILED, 59999, 0, chance), 45000);
        ck_assert_int_le(reconnect_wait_ms(&reconnect, RECONNECT_FAILED, 60000, 0, chance), 1250);
    }
}
END_TEST

START_TEST(takeovers_count_only_within_a_minute) {
    struct reconnect reconnect = {0};
    for (int i = 0; i < 5; i++) {
        reconnect_wait_ms(&reconnect, RECONNECT_TAKEN_OVER, 1000, i * 30001, 0.5);
        ck_assert(!reconnect_contested(&reconnect));
    }
    for (int i = 0; i < 3; i++)
        reconnect_wait_ms(&reconnect, RECONNECT_CLOSED, 1000, 200000 + i * 30000, 0.5);
    ck_assert(reconnect_contested(&reconnect));
    reconnect_wait_ms(&reconnect, RECONNECT_CLOSED, 60000, 400000, 0.5);
    ck_assert(!reconnect_contested(&reconnect));
}
END_TEST

START_TEST(names_are_looked_up_beside_the_loop) {
    static const struct {
        const char *host;
        bool is_address;
    } hosts[] = {{"127.0.0.1", true},  {"::1", true},    {"fe80::1%lo", true},
                 {"localhost", false}, {"1.2.3", false}, {"", false}};
    for (size_t i = 0; i < sizeof(hosts) / sizeof(hosts[0]); i++)
        ck_assert_int_eq(name_lookup_is_address(hosts[i].host), hosts[i].is_address);

    static const char *const names[] = {"localhost", "no-such-host.invalid"}; /* RFC 6761 */
    for (size_t i = 0; i < 2; i++) {
        struct name_lookup_answer answer = {0};
        int descriptor = name_lookup_start(names[i]);
        ck_assert_int_ge(descriptor, 0);
        struct pollfd set = {.fd = descriptor, .events = POLLIN};
        ck_assert_int_eq(poll(&set, 1, 20000), 1);
        ck_assert(name_lookup_take(descriptor, &answer));
        close(descriptor);
        ck_assert_int_eq(answer.count > 0, i == 0);
        ck_assert_int_eq(answer.why[0] != '\0', i == 1);
        for (size_t k = 0; k < answer.count; k++)
            ck_assert(name_lookup_is_address(answer.address[k]));
    }
}
END_TEST

int main(void) {
    TCase *link = tcase_create("intake");
    tcase_add_test(link, waits_grow_to_a_minute);
    tcase_add_test(link, takeovers_count_only_within_a_minute);
    tcase_add_test(link, names_are_looked_up_beside_the_loop);
    return run_test_case(link);
}
