/*
 * Second looks after late readings, against the plain way: judging all readings in order of time.
 * Record and alarms must end the same, in whatever order readings come, in whatever pieces a look
 * is cut, and wherever it is broken off and begun again.
 */
#include "measure/duration.h"
#include "monitor/second_look.h"
#include "small_fleet.h"

#include <math.h>

#define MINUTE DURATION_MINUTE_MS
#define HOUR DURATION_HOUR_MS
#define ROOM 4000

static const int64_t start_ms = INT64_C(1767225600000); /* 2026-01-01T00:00:00Z */

static const char house[] = "id: house\n"
                            "name: House\n"
                            "points:\n"
                            "  - {id: suction, quantity: suction, unit: Pa, every: 10 min}\n"
                            "  - {id: radon, quantity: radon, unit: Bq/m3, every: 1 h}\n";
enum { SUCTION, RADON };

/* A monitor with what a store would hold beside it. */
struct world {
    struct fleet *fleet;
    struct monitor *monitor;
    struct reading readings[ROOM];
    size_t reading_count;
    struct second_look_occurrence rows[ROOM]; /* what is over */
    size_t row_count;
    uint64_t judged; /* readings that second looks have judged */
};

static struct world in_order, shuffled;

static void open_world(struct world *world) {
    const char *const systems[] = {house};
    *world = (struct world){.fleet = small_fleet(NULL, systems, 1)};
    world->monitor = monitor_create(world->fleet);
    ck_assert_ptr_nonnull(world->monitor);
    monitor_load_baseline(world->monitor, SUCTION, start_ms, 200.0, "the installer", false);
}

static void close_world(struct world *world) {
    monitor_destroy(world->monitor);
    fleet_destroy(world->fleet);
}

static void set_up(void) {
    open_world(&in_order);
    open_world(&shuffled);
}

static void tear_down(void) {
    close_world(&in_order);
    close_world(&shuffled);
}

/* ---- the store ---- */

static bool put_hour(void *context, size_t point, const struct rollup_hour *hour) {
    (void)context, (void)point, (void)hour;
    return true;
}

static bool put_tracker(void *context, const struct monitor_tracker *tracker) {
    (void)context, (void)tracker;
    return true;
}

static bool put_alarm(void *context, const struct alarm *alarm) {
    struct world *world = context;
    size_t i = 0;
    /* An odd step is odd beside what came before it: that keeps its first judgement. */
    if (alarm->returned_ms == TIMESTAMP_NONE ||
        condition_info(alarm->condition)->measure == MEASURE_EVENT)
        return true;
    while (i < world->row_count && world->rows[i].id != alarm->id)
        i++;
    ck_assert_uint_lt(i, ROOM);
    world->row_count += i == world->row_count;
    world->rows[i] = (struct second_look_occurrence){
        alarm->id,          alarm->condition, alarm->since_ms, alarm->raised_ms,
        alarm->returned_ms, alarm->value,     alarm->setpoint, alarm->told};
    return true;
}

static void write_world(struct world *world) {
    const struct monitor_sink sink = {world, put_hour, put_alarm, put_tracker};
    ck_assert(monitor_flush(world->monitor, &sink));
}

static void delete_row(struct world *world, int64_t id) {
    for (size_t i = 0; i < world->row_count; i++) {
        if (world->rows[i].id == id) {
            world->rows[i] = world->rows[--world->row_count];
            return;
        }
    }
}

static int by_raised(const void *a, const void *b) {
    const struct second_look_occurrence *x = a, *y = b;
    if (x->condition != y->condition)
        return x->condition < y->condition ? -1 : 1;
    return (x->raised_ms > y->raised_ms) - (x->raised_ms < y->raised_ms);
}

static size_t find_reading(const struct world *world, int64_t time_ms) {
    size_t i = 0;
    while (i < world->reading_count && world->readings[i].time_ms < time_ms)
        i++;
    return i;
}

static void store_reading(struct world *world, const struct reading *reading) {
    size_t place = find_reading(world, reading->time_ms);
    ck_assert_uint_lt(world->reading_count, ROOM);
    memmove(&world->readings[place + 1], &world->readings[place],
            (world->reading_count++ - place) * sizeof *reading);
    world->readings[place] = *reading;
}

/* ---- a look ---- */

static struct second_look *begin(struct world *world, size_t point, int64_t from_ms) {
    size_t place = find_reading(world, from_ms);
    int64_t before_ms = place > 0 ? world->readings[place - 1].time_ms : TIMESTAMP_NONE;
    struct second_look *look = second_look_create(world->monitor, point, from_ms, before_ms);
    ck_assert_ptr_nonnull(look);
    qsort(world->rows, world->row_count, sizeof world->rows[0], by_raised);
    for (size_t i = 0; i < world->row_count; i++) {
        bool last = i + 1 == world->row_count || world->rows[i + 1].raised_ms > before_ms ||
                    world->rows[i + 1].condition != world->rows[i].condition;
        if (last && world->rows[i].raised_ms <= before_ms)
            second_look_stood(look, &world->rows[i]);
    }
    return look;
}

static bool settle(struct world *world, struct second_look *look, bool ended, int64_t to_ms) {
    int64_t until_ms = ended ? INT64_MAX : second_look_reached_ms(look);
    qsort(world->rows, world->row_count, sizeof world->rows[0], by_raised);
    for (size_t i = 0; i < world->row_count; i++) {
        if (world->rows[i].raised_ms > second_look_settled_ms(look) &&
            world->rows[i].raised_ms <= until_ms)
            ck_assert(second_look_recorded(look, &world->rows[i]));
    }
    enum second_look_progress progress = second_look_settle(look, ended, to_ms);
    ck_assert_int_ne(progress, SECOND_LOOK_NO_MEMORY);
    write_world(world);
    size_t count;
    const int64_t *forgotten = second_look_forgotten(look, &count);
    for (size_t i = 0; i < count; i++)
        delete_row(world, forgotten[i]);
    return progress == SECOND_LOOK_DONE;
}

/* Looks again in pieces of random size; now and then it is broken off, as by a restart. */
static void look_again(struct world *world, size_t point, int64_t late_ms,
                       struct test_random *random) {
    write_world(world);
    struct second_look *look = begin(world, point, late_ms);
    for (bool done = false; !done;) {
        size_t most = 1 + test_random_below(random, 200);
        size_t place = find_reading(world, second_look_next_ms(look));
        size_t count = world->reading_count - place < most ? world->reading_count - place : most;
        second_look_judge(look, &world->readings[place], count);
        world->judged += count;
        done = settle(world, look, count < most, late_ms);
        if (!done && test_random_unit(random) < 0.2) {
            int64_t again_ms = second_look_again_ms(look);
            second_look_destroy(look);
            look = begin(world, point, again_ms);
        }
    }
    second_look_destroy(look);
}

static void take(struct world *world, size_t point, const struct reading *reading,
                 struct test_random *random) {
    store_reading(world, reading);
    if (monitor_is_newest(world->monitor, point, reading->time_ms))
        monitor_reading(world->monitor, point, reading, reading->time_ms);
    else
        look_again(world, point, reading->time_ms, random);
}

/* ---- what both must agree on ---- */

static void expect_the_same(size_t point) {
    write_world(&in_order);
    write_world(&shuffled);
    qsort(in_order.rows, in_order.row_count, sizeof in_order.rows[0], by_raised);
    qsort(shuffled.rows, shuffled.row_count, sizeof shuffled.rows[0], by_raised);
    ck_assert_uint_eq(in_order.row_count, shuffled.row_count);
    for (size_t i = 0; i < in_order.row_count; i++) {
        const struct second_look_occurrence *a = &in_order.rows[i], *b = &shuffled.rows[i];
        ck_assert_int_eq(a->condition, b->condition);
        ck_assert_int_eq(a->since_ms, b->since_ms);
        ck_assert_int_eq(a->raised_ms, b->raised_ms);
        ck_assert_int_eq(a->returned_ms, b->returned_ms);
    }
    for (int c = 0; c < CONDITION_COUNT; c++) {
        const struct alarm *a =
            alarm_book_standing(monitor_alarms(in_order.monitor), 0, point, (enum condition)c);
        const struct alarm *b =
            alarm_book_standing(monitor_alarms(shuffled.monitor), 0, point, (enum condition)c);
        if (condition_info((enum condition)c)->measure == MEASURE_EVENT)
            continue;
        ck_assert_msg((a != NULL) == (b != NULL), "%s", condition_info((enum condition)c)->name);
        ck_assert(!a || (a->raised_ms == b->raised_ms && a->since_ms == b->since_ms));
    }
    const struct point_state *a = monitor_point(in_order.monitor, point);
    const struct point_state *b = monitor_point(shuffled.monitor, point);
    ck_assert_int_eq(a->newest_ms, b->newest_ms);
    ck_assert(a->newest_value == b->newest_value);
    const struct fleet_point *owner = &in_order.fleet->points[point];
    for (size_t i = 0; i < owner->rule_count; i++)
        ck_assert(condition_info(owner->rules[i].condition)->measure == MEASURE_EVENT ||
                  a->trackers[i].phase == b->trackers[i].phase);
}

/* ---- histories ---- */

/* Levels that hold for a while, gaps of hours, noise; in order of time. */
static size_t draw(struct test_random *random, size_t point, size_t count,
                   struct reading *readings) {
    static const double suctions[] = {200.0, 5.0, 130.0, 144.0, 300.0};
    static const double radons[] = {40.0, 148.0, 220.0, 400.0};
    const double *levels = point == SUCTION ? suctions : radons;
    size_t level_count = point == SUCTION ? 5 : 4;
    int64_t time_ms = start_ms, step_ms = point == SUCTION ? 10 * MINUTE : HOUR;
    double level = levels[0];
    for (size_t i = 0; i < count; i++) {
        if (test_random_unit(random) < 0.03)
            level = levels[test_random_next(random) % level_count];
        time_ms += step_ms;
        if (test_random_unit(random) < 0.01)
            time_ms += (int64_t)(test_random_unit(random) * 20.0 * (double)HOUR);
        readings[i] = (struct reading){time_ms, level * (1.0 + 0.02 * test_random_unit(random))};
    }
    return count;
}

static void judge_in_order(size_t point, const struct reading *readings, size_t count) {
    for (size_t i = 0; i < count; i++)
        monitor_reading(in_order.monitor, point, &readings[i], readings[i].time_ms);
}

START_TEST(late_readings_end_where_sorted_ones_do) {
    enum { COUNT = 216 };
    struct test_random random = {test_seed() + (uint64_t)_i};
    size_t point = _i % 2 ? RADON : SUCTION;
    struct reading readings[COUNT];
    draw(&random, point, COUNT, readings);
    judge_in_order(point, readings, COUNT);
    for (size_t i = COUNT - 1; i > 0; i--) {
        size_t j = test_random_below(&random, i + 1);
        struct reading swap = readings[i];
        readings[i] = readings[j];
        readings[j] = swap;
    }
    for (size_t i = 0; i < COUNT; i++)
        take(&shuffled, point, &readings[i], &random);
    expect_the_same(point);
}
END_TEST

/* Single ones and blocks that come late into weeks of readings; most looks end long before now. */
static void a_few_come_late(uint64_t seed, size_t point) {
    enum { COUNT = 3000 };
    struct test_random random = {seed};
    size_t late = 0;
    static struct reading readings[COUNT];
    static bool is_late[COUNT];
    draw(&random, point, COUNT, readings);
    judge_in_order(point, readings, COUNT);
    memset(is_late, 0, sizeof is_late);
    for (size_t block = 0; block < 6; block++) {
        size_t from = test_random_below(&random, COUNT - 100);
        size_t length = block % 2 ? 1 : test_random_below(&random, 60);
        for (size_t i = from; i < from + length; i++)
            is_late[i] = true;
    }
    for (size_t i = 0; i < COUNT; i++) {
        if (!is_late[i])
            take(&shuffled, point, &readings[i], &random);
        late += is_late[i];
    }
    for (size_t i = 0; i < COUNT; i++) {
        if (is_late[i])
            take(&shuffled, point, &readings[i], &random);
    }
    expect_the_same(point);
    ck_assert_uint_lt(shuffled.judged, late * COUNT * 7 / 10); /* far from all the way */
}

START_TEST(a_few_late_readings_among_many_end_where_sorted_ones_do) {
    a_few_come_late(test_seed() + (uint64_t)_i, _i % 2 ? RADON : SUCTION);
}
END_TEST

/* A raise within the look-back whose return delay runs when the late reading comes. */
START_TEST(a_return_that_is_under_way_goes_on) {
    a_few_come_late(UINT64_C(1795969141), RADON);
}
END_TEST

/* Broken off while the old occurrence and the one in its place are both in the record. */
START_TEST(what_takes_the_place_of_an_occurrence_is_not_kept_beside_it) {
    a_few_come_late(UINT64_C(1160004), RADON);
}
END_TEST

/* ---- what the record keeps ---- */

static void fill(double value, int64_t from_minute, int64_t to_minute) {
    struct test_random random = {1};
    for (int64_t m = from_minute; m < to_minute; m += 10) {
        const struct reading reading = {start_ms + m * MINUTE,
                                        value * (1.0 + 0.01 * (double)(m / 10 % 3))};
        take(&shuffled, SUCTION, &reading, &random);
    }
}

static void tell(void *context, struct alarm *alarm, enum alarm_notice notice) {
    (void)alarm, (void)notice;
    ++*(int *)context;
}

START_TEST(what_people_were_told_stays_as_it_was_told) {
    struct test_random random = {1};
    int told = 0;
    fill(200.0, 0, 100);
    fill(3.0, 100, 200);
    monitor_tell(shuffled.monitor, start_ms + 200 * MINUTE, &told, tell);
    ck_assert_int_eq(told, 1);
    fill(200.0, 200, 6000);
    monitor_tell(shuffled.monitor, start_ms + 6000 * MINUTE, &told, tell);
    ck_assert_int_eq(told, 2);
    write_world(&shuffled);
    ck_assert_uint_eq(shuffled.row_count, 1);
    const struct second_look_occurrence before = shuffled.rows[0];
    const struct reading late = {start_ms + 125 * MINUTE, 200.0};
    take(&shuffled, SUCTION, &late, &random);
    monitor_tell(shuffled.monitor, start_ms + 6000 * MINUTE, &told, tell);
    ck_assert_int_eq(told, 2);
    ck_assert_uint_eq(shuffled.row_count, 1);
    ck_assert_int_eq(shuffled.rows[0].raised_ms, before.raised_ms);
    ck_assert_int_eq(shuffled.rows[0].returned_ms, before.returned_ms);
}
END_TEST

START_TEST(a_late_reading_does_not_end_the_silence_after_the_newest) {
    struct test_random random = {1};
    fill(200.0, 0, 600);
    monitor_advance(shuffled.monitor, start_ms + 2000 * MINUTE);
    struct alarm_book *book = monitor_alarms(shuffled.monitor);
    const struct alarm *silent = alarm_book_standing(book, 0, SUCTION, CONDITION_SENSOR_SILENT);
    ck_assert_ptr_nonnull(silent);
    const struct reading late = {start_ms + 585 * MINUTE, 200.0};
    take(&shuffled, SUCTION, &late, &random);
    ck_assert_ptr_eq(alarm_book_standing(book, 0, SUCTION, CONDITION_SENSOR_SILENT), silent);
}
END_TEST

START_TEST(what_waits_for_its_second_look_is_not_told) {
    struct test_random random = {1};
    int told = 0;
    fill(200.0, 0, 100);
    fill(3.0, 100, 140);
    int64_t now_ms = start_ms + 140 * MINUTE;
    monitor_set_look_waits(shuffled.monitor, SUCTION, true);
    monitor_tell(shuffled.monitor, now_ms, &told, tell);
    ck_assert_int_eq(told, 0);
    const struct reading late = {start_ms + 125 * MINUTE, 200.0};
    take(&shuffled, SUCTION, &late, &random);
    monitor_set_look_waits(shuffled.monitor, SUCTION, false);
    monitor_tell(shuffled.monitor, now_ms, &told, tell);
    ck_assert_int_eq(told, 0);
    ck_assert_uint_eq(shuffled.row_count, 0); /* it never was */
}
END_TEST

/* A raise found, far from the newest reading, must not be told before it is known to stand. */
START_TEST(a_change_that_never_ends_is_followed_to_the_newest) {
    struct test_random random = {1};
    fill(200.0, 0, 60);
    fill(144.0, 60, 30000); /* within the deadband of suction-low */
    const struct reading late = {start_ms + 5 * MINUTE, 200.0};
    for (int64_t m = 20; m < 55; m += 10) {
        const struct reading low = {start_ms + m * MINUTE + 1, 130.0};
        take(&shuffled, SUCTION, &low, &random);
    }
    take(&shuffled, SUCTION, &late, &random);
    static struct reading readings[ROOM];
    memcpy(readings, shuffled.readings, sizeof readings);
    judge_in_order(SUCTION, readings, shuffled.reading_count);
    expect_the_same(SUCTION);
}
END_TEST

int main(void) {
    test_seed();
    TCase *tcase = tcase_create("second look");
    tcase_set_timeout(tcase, 60);
    tcase_add_checked_fixture(tcase, set_up, tear_down);
    tcase_add_loop_test(tcase, late_readings_end_where_sorted_ones_do, 0, 40);
    tcase_add_loop_test(tcase, a_few_late_readings_among_many_end_where_sorted_ones_do, 0, 30);
    tcase_add_test(tcase, a_return_that_is_under_way_goes_on);
    tcase_add_test(tcase, what_takes_the_place_of_an_occurrence_is_not_kept_beside_it);
    tcase_add_test(tcase, what_people_were_told_stays_as_it_was_told);
    tcase_add_test(tcase, a_late_reading_does_not_end_the_silence_after_the_newest);
    tcase_add_test(tcase, what_waits_for_its_second_look_is_not_told);
    tcase_add_test(tcase, a_change_that_never_ends_is_followed_to_the_newest);
    return run_test_case(tcase);
}
