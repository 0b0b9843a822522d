/* Files of readings for replay: columns, bad lines, repeats, damage. */
#include "replay_bench.h"

#include <unistd.h>

/* ---- files ---- */

static struct replay *read_text(const struct fleet *fleet, struct heard *heard, const char *text,
                                bool *good, char *why, size_t why_size) {
    char path[] = "/tmp/test_replay_XXXXXX";
    int file = mkstemp(path);
    ck_assert_int_ge(file, 0);
    ck_assert_int_eq(write(file, text, strlen(text)), (ssize_t)strlen(text));
    close(file);
    struct replay *replay = make_replay(fleet, heard);
    *good = replay_read(replay, path, why, why_size);
    unlink(path);
    return replay;
}

START_TEST(bad_lines_are_told_with_their_line) {
    static const struct {
        const char *line, *why;
    } rows[] = {
        {"2026-01-01T00:00:00,sys-0,suction,200,Pa", "RFC 3339"}, /* no offset */
        {"yesterday,sys-0,suction,200,Pa", "RFC 3339"},
        {"2026-01-01T00:00:00Z,sys-9,suction,200,Pa", "no system \"sys-9\""},
        {"2026-01-01T00:00:00Z,sys-0,riser,200,Pa", "no point \"riser\""},
        {"2026-01-01T00:00:00Z,sys-0,suction,much,Pa", "not a number"},
        {"2026-01-01T00:00:00Z,sys-0,suction,0x10,Pa", "not a number"},
        {"2026-01-01T00:00:00Z,sys-0,suction,nan,Pa", "not a number"},
        {"2026-01-01T00:00:00Z,sys-0,suction,,Pa", "not a number"},
        {"2026-01-01T00:00:00Z,sys-0,suction,200,bananas", "not known"},
        {"2026-01-01T00:00:00Z,sys-0,suction,200,pCi/L", "not for suction"},
        {"2026-01-01T00:00:00Z,sys-0,suction,1e9,Pa", "physically possible"},
        {"2026-01-01T00:00:00Z,sys-0,suction,200", "fields"},
        {"2026-01-01T00:00:00Z,sys-0,\"suction,200,Pa", "quote"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        char text[400], why[200] = "";
        struct heard heard = {0};
        bool good = false;
        struct fleet *fleet = make_fleet(1);
        snprintf(text, sizeof text,
                 "time,system,point,value,unit\n"
                 "2026-01-01T00:00:00Z,sys-0,fan-power,20,W\n\n%s\n"
                 "2026-01-01T00:10:00Z,sys-0,fan-power,20.1,W\n",
                 rows[i].line);
        struct replay *replay = read_text(fleet, &heard, text, &good, why, sizeof why);
        ck_assert_msg(good && replay_run(replay), "%s", why);
        ck_assert_msg(heard.bad == 1 && heard.bad_line == 4, "%s: %zu bad, line %lld", rows[i].line,
                      heard.bad, (long long)heard.bad_line);
        ck_assert_msg(strstr(heard.why, rows[i].why) != NULL, "%s: %s", rows[i].line, heard.why);
        ck_assert_int_eq(replay_counts(replay).taken, 2);
        ck_assert_int_eq(replay_counts(replay).bad, 1);
        replay_destroy(replay);
        fleet_destroy(fleet);
    }
}
END_TEST

START_TEST(columns_stand_in_any_order) {
    static const char text[] = "\xEF\xBB\xBFunit,value,note,Point,system,time\r\n"
                               "inH2O,0.8,\"two\nlines, \"\"quoted\"\"\",suction,sys-0,"
                               "2025-12-31T17:00:00-07:00\r\n"
                               ",20.5,,fan-power,sys-0,2026-01-01 00:10:00.5Z";
    struct heard heard = {0};
    char why[200] = "";
    bool good = false;
    struct fleet *fleet = make_fleet(1);
    struct replay *replay = read_text(fleet, &heard, text, &good, why, sizeof why);
    ck_assert_msg(good && replay_run(replay), "%s", why);
    ck_assert_msg(heard.bad == 0, "%s", heard.why);
    const struct point_state *suction = monitor_point(replay_monitor(replay), 0);
    ck_assert_int_eq(suction->newest_ms, START);
    /* 0.8 in of the conventional inch of water, 249.08891 Pa (NIST SP 811, appendix B.8) */
    ck_assert_double_eq_tol(suction->newest_value, 199.271128, 1e-6);
    ck_assert_int_eq(monitor_point(replay_monitor(replay), 1)->newest_ms,
                     START + 10 * MINUTE + 500);
    replay_destroy(replay);
    fleet_destroy(fleet);
}
END_TEST

START_TEST(repeats_are_ignored_and_conflicts_told) {
    static const char text[] = "time,system,point,value,unit\n"
                               "2026-01-01T00:00:00Z,sys-0,suction,200,Pa\n"
                               "2026-01-01T00:10:00Z,sys-0,suction,201,Pa\n"
                               "2026-01-01T00:00:00Z,sys-0,suction,200.0,Pa\n"
                               "2026-01-01T00:10:00Z,sys-0,suction,150,Pa\n";
    struct heard heard = {0};
    char why[200] = "";
    bool good = false;
    struct fleet *fleet = make_fleet(1);
    struct replay *replay = read_text(fleet, &heard, text, &good, why, sizeof why);
    ck_assert(good && replay_run(replay));
    struct replay_counts counts = replay_counts(replay);
    ck_assert_int_eq(counts.taken, 2);
    ck_assert_int_eq(counts.same, 1);
    ck_assert_int_eq(counts.bad, 1);
    ck_assert_int_eq(heard.bad_line, 5);
    ck_assert_ptr_nonnull(strstr(heard.why, "conflict"));
    replay_destroy(replay);
    fleet_destroy(fleet);
}
END_TEST

START_TEST(a_header_that_lacks_a_column_is_refused) {
    static const char *const texts[] = {"time,system,point,value\n", "", "\n\n",
                                        "2026-01-01T00:00:00Z,sys-0,suction,200,Pa\n"};
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        struct heard heard = {0};
        char why[300] = "";
        bool good = true;
        struct fleet *fleet = make_fleet(1);
        struct replay *replay = read_text(fleet, &heard, texts[i], &good, why, sizeof why);
        ck_assert(!good);
        ck_assert_msg(strstr(why, ":1: ") && strstr(why, "time,system,point,value,unit"), "%s",
                      why);
        replay_destroy(replay);
        fleet_destroy(fleet);
    }
}
END_TEST

/* One unclosed quote and one endless line spoil themselves, not the rest of the file. */
START_TEST(damage_stays_where_it_is) {
    enum { LONG = 200 * 1024, ROWS = 3000 };
    char *text = malloc(2 * LONG + ROWS * 64), *to = text;
    struct heard heard = {0};
    char why[200] = "";
    bool good = false;
    struct fleet *fleet = make_fleet(1);
    to += sprintf(to, "time,system,point,value,unit\n\"2026-01-01,sys-0\n");
    memset(to, 'x', LONG);
    to += LONG;
    *to++ = '\n';
    for (int i = 0; i < ROWS; i++)
        to += sprintf(to, "2026-01-%02dT%02d:%02d:00Z,sys-0,suction,%d.5,Pa\n", 1 + i / 1440,
                      i / 60 % 24, i % 60, 200 + i % 3);
    struct replay *replay = read_text(fleet, &heard, text, &good, why, sizeof why);
    ck_assert_msg(good && replay_run(replay), "%s", why);
    ck_assert_uint_eq(heard.bad, 2);
    ck_assert_int_eq(heard.bad_line, 3);
    ck_assert_int_eq(replay_counts(replay).taken, ROWS);
    replay_destroy(replay);
    fleet_destroy(fleet);
    free(text);
}
END_TEST

/* Bytes from outside, spoiled at random: every line is taken or told, none is lost. */
START_TEST(spoiled_files_lose_no_line) {
    struct test_random random = {test_seed()};
    static const char letters[] = "\",\r 0-:TZ.\xFF\x01+eE";
    for (int round = 0; round < 40; round++) {
        char text[8192], why[200] = "", *to = text;
        struct heard heard = {0};
        bool good = false;
        int lines = 0;
        struct fleet *fleet = make_fleet(1);
        to += sprintf(to, "time,system,point,value,unit\n");
        char *body = to;
        for (int i = 0; i < 100; i++, lines++)
            to += sprintf(to, "2026-01-01T%02d:%02d:00Z,sys-0,suction,%d.5,Pa\n", i / 60, i % 60,
                          200 + i % 3);
        /* No quotes: those may join lines, and the count below is by line. */
        for (int i = 0; i < 60; i++) {
            size_t at = test_random_below(&random, (size_t)(to - body));
            if (body[at] != '\n')
                body[at] = letters[1 + test_random_next(&random) % (sizeof letters - 2)];
        }
        struct replay *replay = read_text(fleet, &heard, text, &good, why, sizeof why);
        ck_assert_msg(good && replay_run(replay), "%s", why);
        struct replay_counts counts = replay_counts(replay);
        ck_assert_int_eq(counts.taken + counts.same + counts.bad, lines);
        for (int i = 0; i < 40; i++) /* now with quotes: nothing breaks */
            body[test_random_next(&random) % (size_t)(to - body)] =
                letters[test_random_next(&random) % (sizeof letters - 1)];
        replay_destroy(replay);
        replay = read_text(fleet, &heard, text, &good, why, sizeof why);
        ck_assert_msg(good && replay_run(replay), "%s", why);
        replay_destroy(replay);
        fleet_destroy(fleet);
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("replay");
    tcase_set_timeout(tcase, 60);
    tcase_add_test(tcase, bad_lines_are_told_with_their_line);
    tcase_add_test(tcase, columns_stand_in_any_order);
    tcase_add_test(tcase, repeats_are_ignored_and_conflicts_told);
    tcase_add_test(tcase, a_header_that_lacks_a_column_is_refused);
    tcase_add_test(tcase, damage_stays_where_it_is);
    tcase_add_test(tcase, spoiled_files_lose_no_line);
    return run_test_case(tcase);
}
