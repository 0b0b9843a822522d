/*
 * Replay: what history would have said. Delays are those of the table of conditions (design
 * defaults: suction-low 70 % of baseline, 6 h; off-delay 10 min; silence after 30 min).
 */
#include "replay_bench.h"

#define HOUR DURATION_HOUR_MS

/* A live signal, never quite the same twice. */
static double wobble(int64_t minute) {
    return 0.5 * (double)(minute / 10 % 7);
}

/* Readings of every point from `from` to `to` minutes, suction at `suction_pa`. */
static void feed(struct replay *replay, const struct fleet *fleet, int64_t from, int64_t to,
                 double suction_pa) {
    for (int64_t minute = from; minute < to; minute += 10) {
        for (size_t s = 0; s < fleet->system_count; s++) {
            size_t first = fleet->systems[s].first_point;
            replay_add(replay, first, START + minute * MINUTE, suction_pa + wobble(minute), 2);
            replay_add(replay, first + 1, START + minute * MINUTE, 20.0 + wobble(minute) / 50.0, 3);
        }
    }
}

static const struct replay_alarm *row_at(const struct replay *replay, size_t i, size_t expected) {
    size_t count = 0;
    const struct replay_alarm *rows = replay_alarms(replay, &count);
    ck_assert_uint_eq(count, expected);
    return &rows[i];
}

START_TEST(suction_low_is_raised_six_hours_after_it_began) {
    struct heard heard = {0};
    struct fleet *fleet = make_fleet(1);
    struct replay *replay = make_replay(fleet, &heard);
    feed(replay, fleet, 0, 600, 200.0);
    feed(replay, fleet, 600, 1200, 100.0);
    ck_assert(replay_run(replay));
    const struct replay_alarm *row = row_at(replay, 0, 1);
    ck_assert_int_eq(row->condition, CONDITION_SUCTION_LOW);
    ck_assert_int_eq(row->raised_ms, START + 600 * MINUTE + 6 * HOUR);
    ck_assert_int_eq(row->returned_ms, TIMESTAMP_NONE); /* stands at the end of the file */
    ck_assert_int_eq(row->priority, PRIORITY_MEDIUM);
    ck_assert_int_eq(replay_counts(replay).last_ms, START + 1190 * MINUTE);
    replay_destroy(replay);
    fleet_destroy(fleet);
}
END_TEST

/* A new gauge that sends inches of water for Pa: suction-lost comes first, but it isn't the tube.
 */
START_TEST(a_unit_mixup_is_the_cause_of_lost_suction) {
    struct heard heard = {0};
    struct fleet *fleet = make_fleet(1);
    struct replay *replay = make_replay(fleet, &heard);
    feed(replay, fleet, 0, 1440, 200.0);
    for (int64_t minute = 1440; minute < 1500; minute += 10) {
        int64_t time_ms = START + minute * MINUTE;
        replay_add(replay, 0, time_ms, (200.0 + wobble(minute)) / 249.08891, 2);
        replay_add(replay, 1, time_ms, 20.0 + wobble(minute) / 50.0, 3);
    }
    ck_assert(replay_run(replay));
    const struct replay_alarm *row = row_at(replay, 0, 1);
    ck_assert_int_eq(row->condition, CONDITION_SUCTION_LOST);
    ck_assert_str_eq(row->cause, "unit-mix-up");
    replay_destroy(replay);
    fleet_destroy(fleet);
}
END_TEST

START_TEST(a_minute_short_of_the_delay_is_not_told) {
    struct heard heard = {0};
    struct fleet *fleet = make_fleet(1);
    struct replay *replay = make_replay(fleet, &heard);
    feed(replay, fleet, 0, 600, 200.0);
    feed(replay, fleet, 600, 950, 100.0); /* low for 350 min */
    feed(replay, fleet, 950, 1200, 200.0);
    ck_assert(replay_run(replay));
    row_at(replay, 0, 0);
    replay_destroy(replay);
    fleet_destroy(fleet);
}
END_TEST

START_TEST(a_fault_that_came_and_went_has_both_times) {
    struct heard heard = {0};
    struct fleet *fleet = make_fleet(1);
    struct replay *replay = make_replay(fleet, &heard);
    feed(replay, fleet, 0, 600, 200.0);
    feed(replay, fleet, 600, 1100, 100.0);
    feed(replay, fleet, 1100, 3000, 200.0);
    feed(replay, fleet, 3000, 3600, 100.0); /* once more */
    feed(replay, fleet, 3600, 4000, 200.0);
    ck_assert(replay_run(replay));
    const struct replay_alarm *rows = row_at(replay, 0, 2);
    ck_assert_int_eq(rows[0].raised_ms, START + 960 * MINUTE);
    ck_assert_int_eq(rows[0].returned_ms, START + 1110 * MINUTE); /* off-delay 10 min */
    ck_assert_int_eq(rows[1].raised_ms, START + 3360 * MINUTE);
    ck_assert_int_eq(rows[1].returned_ms, START + 3610 * MINUTE);
    replay_destroy(replay);
    fleet_destroy(fleet);
}
END_TEST

START_TEST(what_a_cause_explains_is_left_out) {
    struct heard heard = {0};
    struct fleet *fleet = make_fleet(1);
    struct replay *replay = make_replay(fleet, &heard);
    feed(replay, fleet, 0, 600, 200.0);
    feed(replay, fleet, 600, 1300, 5.0); /* lost, so also low */
    ck_assert(replay_run(replay));
    const struct replay_alarm *row = row_at(replay, 0, 1);
    ck_assert_int_eq(row->condition, CONDITION_SUCTION_LOST);
    ck_assert_int_eq(row->raised_ms, START + 630 * MINUTE);
    replay_destroy(replay);
    fleet_destroy(fleet);
}
END_TEST

START_TEST(a_silence_shorter_than_a_minute_is_told) {
    struct heard heard = {0};
    struct fleet *fleet = make_fleet(1);
    struct replay *replay = make_replay(fleet, &heard);
    size_t point = fleet->systems[0].first_point;
    /* Due after 15 min, silent an hour later: from 01:15:10 on, heard again at 01:15:40, no full
       minute between. */
    replay_add(replay, point, START + 10 * DURATION_SECOND_MS, 200.0, 2);
    replay_add(replay, point + 1, START + 10 * DURATION_SECOND_MS, 20.0, 2);
    replay_add(replay, point, START + 75 * MINUTE + 40 * DURATION_SECOND_MS, 201.0, 3);
    ck_assert(replay_run(replay));
    const struct replay_alarm *row = row_at(replay, 0, 1);
    ck_assert_int_eq(row->condition, CONDITION_SYSTEM_SILENT);
    ck_assert_int_eq(row->raised_ms, START + 75 * MINUTE + 10 * DURATION_SECOND_MS);
    ck_assert_int_eq(row->returned_ms, START + 75 * MINUTE + 40 * DURATION_SECOND_MS);
    replay_destroy(replay);
    fleet_destroy(fleet);
}
END_TEST

/* Readings of two years with so many outages a year, of half an hour to twelve hours. */
static void feed_with_outages(struct replay *replay, int a_year, struct test_random *random) {
    int64_t up = 0, down = 0;
    for (int64_t minute = 0; minute < 730 * 1440; minute += 10) {
        if (minute >= down) {
            up = minute + (int64_t)(-log(1.0 - test_random_unit(random)) * 525600 / a_year);
            down = up + (int64_t)(30.0 * exp(test_random_unit(random) * log(24.0)));
        }
        if (minute >= up)
            continue;
        replay_add(replay, 0, START + minute * MINUTE, 200.0 + wobble(minute), 2);
        replay_add(replay, 1, START + minute * MINUTE, 20.0 + wobble(minute) / 50.0, 3);
    }
}

static const struct {
    int outages_a_year;
    size_t most_a_year;
} gateways[] = {{4, 4}, {27, 10}, {100, 18}, {1000, 10}};

START_TEST(a_bad_gateway_is_a_message_a_week_at_most) {
    struct test_random random = {test_seed()};
    struct heard heard = {0};
    struct fleet *fleet = make_fleet(1);
    size_t told = 0;
    for (int run = 0; run < 5; run++) {
        struct replay *replay = make_replay(fleet, &heard);
        int64_t last_ms[4] = {0};
        size_t count = 0, silences = 0;
        feed_with_outages(replay, gateways[_i].outages_a_year, &random);
        ck_assert(replay_run(replay));
        const struct replay_alarm *rows = replay_alarms(replay, &count);
        for (size_t i = 0; i < count; i++) {
            ck_assert_int_ne(rows[i].condition, CONDITION_SENSOR_SILENT);
            if (rows[i].condition != CONDITION_SYSTEM_SILENT)
                continue;
            /* After the first three: four in four weeks at most. */
            if (silences >= 7)
                ck_assert_int_ge(rows[i].raised_ms - last_ms[silences % 4], 28 * DURATION_DAY_MS);
            last_ms[silences++ % 4] = rows[i].raised_ms;
        }
        told += silences;
        replay_destroy(replay);
    }
    ck_assert_uint_le(told, 10 * gateways[_i].most_a_year);
    fleet_destroy(fleet);
}
END_TEST

/* The same readings in any order give the same rows. */
START_TEST(order_of_lines_does_not_matter) {
    struct test_random random = {test_seed()};
    enum { COUNT = 2000 };
    static struct {
        int64_t time_ms;
        double value;
    } lines[COUNT], held;
    struct heard heard = {0};
    struct fleet *fleet = make_fleet(1);
    struct replay *replays[2] = {make_replay(fleet, &heard), make_replay(fleet, &heard)};
    for (size_t i = 0; i < COUNT; i++) {
        double value = i / 200 % 3 == 1 ? 100.0 : 200.0;
        lines[i].time_ms = START + (int64_t)i * 10 * MINUTE;
        lines[i].value = value + wobble((int64_t)i * 10);
        replay_add(replays[0], 0, lines[i].time_ms, lines[i].value, (int64_t)i);
    }
    for (size_t i = COUNT; i > 1; i--) {
        size_t other = test_random_below(&random, i);
        held = lines[i - 1];
        lines[i - 1] = lines[other];
        lines[other] = held;
    }
    for (size_t i = 0; i < COUNT; i++)
        replay_add(replays[1], 0, lines[i].time_ms, lines[i].value, (int64_t)i);
    ck_assert(replay_run(replays[0]) && replay_run(replays[1]));
    size_t count[2] = {0};
    const struct replay_alarm *rows[2] = {replay_alarms(replays[0], &count[0]),
                                          replay_alarms(replays[1], &count[1])};
    ck_assert_uint_gt(count[0], 2);
    ck_assert_uint_eq(count[0], count[1]);
    for (size_t i = 0; i < count[0]; i++) {
        ck_assert_int_eq(rows[0][i].condition, rows[1][i].condition);
        ck_assert_int_eq(rows[0][i].raised_ms, rows[1][i].raised_ms);
        ck_assert_int_eq(rows[0][i].returned_ms, rows[1][i].returned_ms);
    }
    replay_destroy(replays[0]);
    replay_destroy(replays[1]);
    fleet_destroy(fleet);
}
END_TEST

START_TEST(a_fleet_going_silent_is_one_fact) {
    struct heard heard = {0};
    struct fleet *fleet = make_fleet(12);
    struct replay *replay = make_replay(fleet, &heard);
    feed(replay, fleet, 0, 300, 200.0);
    feed(replay, fleet, 480, 700, 200.0);
    ck_assert(replay_run(replay));
    const struct replay_alarm *row = row_at(replay, 0, 1);
    ck_assert_int_eq(row->condition, CONDITION_FLEET_SILENT);
    ck_assert_uint_eq(row->system, FLEET_NONE);
    ck_assert_int_eq(row->raised_ms, START + 320 * MINUTE);
    ck_assert_int_ge(row->returned_ms, START + 480 * MINUTE);
    ck_assert_int_le(row->returned_ms, START + 481 * MINUTE);
    replay_destroy(replay);
    fleet_destroy(fleet);
}
END_TEST

START_TEST(days_end_before_the_next_begins) {
    struct heard heard = {0};
    struct fleet *fleet = make_fleet(1);
    struct replay *replay = make_replay(fleet, &heard);
    feed(replay, fleet, 0, 2 * 1440 + 10, 200.0);
    ck_assert(replay_run(replay));
    ck_assert_uint_eq(heard.days[0], 2);
    ck_assert(!heard.day_too_late);
    replay_destroy(replay);
    fleet_destroy(fleet);
}
END_TEST

/* A gap of years is passed quickly and its silence is told once. */
START_TEST(a_long_gap_is_one_silence) {
    struct heard heard = {0};
    struct fleet *fleet = make_fleet(1);
    struct replay *replay = make_replay(fleet, &heard);
    const int64_t gap = INT64_C(500) * 1440;
    feed(replay, fleet, 0, 300, 200.0);
    feed(replay, fleet, gap, gap + 300, 200.0);
    ck_assert(replay_run(replay));
    const struct replay_alarm *row = row_at(replay, 0, 2);
    ck_assert_int_eq(row[1].condition, CONDITION_RETEST_DUE); /* a month after the record */
    ck_assert_int_eq(row->condition, CONDITION_SYSTEM_SILENT);
    ck_assert_int_eq(row->returned_ms, START + gap * MINUTE);
    ck_assert_uint_eq(heard.days[0], 500);
    replay_destroy(replay);
    fleet_destroy(fleet);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("replay");
    tcase_set_timeout(tcase, 60);
    tcase_add_test(tcase, suction_low_is_raised_six_hours_after_it_began);
    tcase_add_test(tcase, a_unit_mixup_is_the_cause_of_lost_suction);
    tcase_add_test(tcase, a_minute_short_of_the_delay_is_not_told);
    tcase_add_test(tcase, a_fault_that_came_and_went_has_both_times);
    tcase_add_test(tcase, what_a_cause_explains_is_left_out);
    tcase_add_loop_test(tcase, a_bad_gateway_is_a_message_a_week_at_most, 0,
                        sizeof gateways / sizeof gateways[0]);
    tcase_add_test(tcase, a_silence_shorter_than_a_minute_is_told);
    tcase_add_test(tcase, order_of_lines_does_not_matter);
    tcase_add_test(tcase, a_fleet_going_silent_is_one_fact);
    tcase_add_test(tcase, days_end_before_the_next_begins);
    tcase_add_test(tcase, a_long_gap_is_one_silence);
    return run_test_case(tcase);
}
