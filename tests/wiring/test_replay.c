/*
 * Replay: what history would have said. Delays are those of the table of conditions (design
 * defaults: suction-low 70 % of baseline, 6 h; off-delay 10 min; silence after 30 min).
 */
#include "measure/duration.h"
#include "measure/timestamp.h"
#include "test_support.h"
#include "tool/replay.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define START INT64_C(1767225600000) /* 2026-01-01T00:00:00Z */
#define MINUTE DURATION_MINUTE_MS
#define HOUR DURATION_HOUR_MS

static struct time_zone *utc_only(void *context, const char *name) {
    (void)context, (void)name;
    return NULL;
}

/* `count` systems sys-0 …, each with suction and fan-power every 10 min. */
static struct fleet *make_fleet(size_t count) {
    static const char text[] = "units: us\n";
    struct settings_errors errors = {0};
    struct settings *settings = settings_parse("s.yaml", text, strlen(text), &errors);
    struct system_description **systems = calloc(count, sizeof(struct system_description *));
    ck_assert_ptr_nonnull(settings);
    for (size_t i = 0; i < count; i++) {
        char system[400], file[40];
        snprintf(file, sizeof file, "sys-%zu.yaml", i);
        snprintf(system, sizeof system,
                 "id: sys-%zu\n"
                 "points:\n"
                 "  - {id: suction, quantity: suction, unit: Pa, every: 10 min}\n"
                 "  - {id: fan-power, quantity: fan-power, unit: W, every: 10 min}\n",
                 i);
        systems[i] = system_description_parse(file, system, strlen(system), settings, &errors);
        ck_assert_msg(systems[i] != NULL, "%s", errors.count ? errors.lines[0] : "");
    }
    struct fleet *fleet = fleet_create(settings, systems, count, utc_only, NULL, &errors);
    ck_assert_ptr_nonnull(fleet);
    settings_errors_free(&errors);
    return fleet;
}

static void give_baseline(struct replay *replay, size_t system) {
    struct commissioning_value values[] = {{(char *)"suction", 200.0}, {(char *)"fan-power", 20.0}};
    const struct commissioning record = {
        .from_ms = START - DURATION_DAY_MS,
        .by = (char *)"the installer",
        .next_calibration_ms = TIMESTAMP_NONE,
        .radon_before_bq_m3 = NAN,
        .radon_after_bq_m3 = NAN,
        .ground_exponent = NAN,
        .values = values,
        .value_count = 2,
    };
    ck_assert(replay_commission(replay, system, &record));
}

struct heard {
    size_t bad;
    int64_t bad_line;
    char why[200];
    size_t days[4];
    int64_t last_day_end_ms, taken_before_day_end;
    bool day_too_late;
};

static void on_bad(void *context, int64_t line, const char *why) {
    struct heard *heard = context;
    heard->bad++;
    heard->bad_line = line;
    snprintf(heard->why, sizeof heard->why, "%s", why);
}

static void on_day(void *context, struct monitor *monitor, size_t system, int64_t local_day,
                   int64_t start_ms, int64_t end_ms) {
    struct heard *heard = context;
    (void)monitor, (void)local_day;
    ck_assert_int_eq(end_ms - start_ms, DURATION_DAY_MS); /* UTC */
    heard->days[system]++;
    heard->last_day_end_ms = end_ms;
}

static void on_taken(void *context, size_t point, const struct reading *reading) {
    struct heard *heard = context;
    (void)point;
    if (reading->time_ms >= START + DURATION_DAY_MS && heard->last_day_end_ms == 0)
        heard->day_too_late = true;
}

static struct replay *make_replay(const struct fleet *fleet, struct heard *heard) {
    const struct replay_listener listener = {
        .context = heard, .bad = on_bad, .day = on_day, .taken = on_taken};
    struct replay *replay = replay_create(fleet, &listener);
    ck_assert_ptr_nonnull(replay);
    for (size_t s = 0; s < fleet->system_count; s++)
        give_baseline(replay, s);
    return replay;
}

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

static const struct replay_row *row_at(const struct replay *replay, size_t i, size_t expected) {
    size_t count = 0;
    const struct replay_row *rows = replay_rows(replay, &count);
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
    const struct replay_row *row = row_at(replay, 0, 1);
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
    const struct replay_row *row = row_at(replay, 0, 1);
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
    const struct replay_row *rows = row_at(replay, 0, 2);
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
    const struct replay_row *row = row_at(replay, 0, 1);
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
    const struct replay_row *row = row_at(replay, 0, 1);
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
        const struct replay_row *rows = replay_rows(replay, &count);
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
        size_t other = test_random_next(&random) % i;
        held = lines[i - 1];
        lines[i - 1] = lines[other];
        lines[other] = held;
    }
    for (size_t i = 0; i < COUNT; i++)
        replay_add(replays[1], 0, lines[i].time_ms, lines[i].value, (int64_t)i);
    ck_assert(replay_run(replays[0]) && replay_run(replays[1]));
    size_t count[2] = {0};
    const struct replay_row *rows[2] = {replay_rows(replays[0], &count[0]),
                                        replay_rows(replays[1], &count[1])};
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
    const struct replay_row *row = row_at(replay, 0, 1);
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
    const struct replay_row *row = row_at(replay, 0, 2);
    ck_assert_int_eq(row[1].condition, CONDITION_RETEST_DUE); /* a month after the record */
    ck_assert_int_eq(row->condition, CONDITION_SYSTEM_SILENT);
    ck_assert_int_eq(row->returned_ms, START + gap * MINUTE);
    ck_assert_uint_eq(heard.days[0], 500);
    replay_destroy(replay);
    fleet_destroy(fleet);
}
END_TEST

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
            size_t at = test_random_next(&random) % (size_t)(to - body);
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
    tcase_add_test(tcase, bad_lines_are_told_with_their_line);
    tcase_add_test(tcase, columns_stand_in_any_order);
    tcase_add_test(tcase, repeats_are_ignored_and_conflicts_told);
    tcase_add_test(tcase, a_header_that_lacks_a_column_is_refused);
    tcase_add_test(tcase, damage_stays_where_it_is);
    tcase_add_test(tcase, spoiled_files_lose_no_line);
    return run_test_case(tcase);
}
