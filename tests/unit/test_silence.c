/*
 * Silence: who is looked at only when one of his points may have more to say says the same as who
 * is looked at each time. Two monitors see the same houses fall silent and speak again, for weeks,
 * by chance: points, gateways, regions, readings that come late or carry old times, clocks that
 * move.
 */
#include "measure/duration.h"
#include "monitor/monitor_private.h"
#include "small_fleet.h"

#include <inttypes.h>

#define MINUTE DURATION_MINUTE_MS

enum { HOUSES = 6, POINTS_A_HOUSE = 4, POINTS = HOUSES * POINTS_A_HOUSE, TOLD_BYTES = 1 << 16 };

static const int64_t start_ms = INT64_C(1767225600000); /* 2026-01-01T00:00:00Z */

/* Where the world stands: until when points, houses and all of them say nothing. */
struct world {
    struct test_random random;
    int64_t now_ms, clock_ms; /* of the sensors, of ours */
    int64_t point_quiet_ms[POINTS], house_quiet_ms[HOUSES], all_quiet_ms;
    int64_t next_ms[POINTS];
    double value;
};

static struct fleet *fleet;
static struct monitor *monitors[2]; /* the second looks at all of them each time */
static char told[2][TOLD_BYTES];

static void set_up(void) {
    char texts[HOUSES][600];
    const char *systems[HOUSES];
    for (int h = 0; h < HOUSES; h++) {
        snprintf(texts[h], sizeof texts[h],
                 "id: house-%d\nname: House\npoints:\n"
                 "  - {id: suction, quantity: suction, unit: Pa, every: 10 min}\n"
                 "  - {id: power, quantity: fan-power, unit: W, every: 1 min}\n"
                 "  - {id: radon, quantity: radon, unit: Bq/m3, every: 1 h}\n"
                 "  - {id: %s}\n%s",
                 h,
                 h == 2 ? "tube, quantity: suction, unit: Pa, by: hand, every: 7 d"
                        : "hole, quantity: field, unit: Pa, every: 30 min",
                 h == 1 ? "conditions: {sensor-silent: {setpoint: 12 min}}\n" : "");
        systems[h] = texts[h];
    }
    fleet = small_fleet(NULL, systems, HOUSES);
    ck_assert_uint_eq(fleet->point_count, POINTS);
    for (int i = 0; i < 2; i++) {
        monitors[i] = monitor_create(fleet);
        ck_assert_ptr_nonnull(monitors[i]);
    }
}

static void tear_down(void) {
    monitor_destroy(monitors[0]);
    monitor_destroy(monitors[1]);
    fleet_destroy(fleet);
}

/* ---- what each of them says ---- */

static void say(void *context, const char *what, size_t system, size_t point,
                enum condition condition, int64_t at_ms) {
    char *text = context;
    size_t used = strlen(text);
    snprintf(text + used, TOLD_BYTES - used, "%s %s/%s %s@%" PRId64 "\n", what,
             fleet_system_id(fleet, system), fleet_point_id(fleet, point),
             condition_info(condition)->name, (at_ms - start_ms) / 1000);
    ck_assert_uint_lt(used, TOLD_BYTES - 200);
}

static void on_tell(void *context, struct alarm *alarm, enum alarm_notice notice) {
    bool raised = notice == ALARM_NOTICE_RAISED;
    say(context, raised ? "+" : "-", alarm->system, alarm->point, alarm->condition,
        raised ? alarm->raised_ms : alarm->returned_ms);
}

static bool on_hour(void *context, size_t point, const struct rollup_hour *hour) {
    (void)context, (void)point, (void)hour;
    return true;
}

static bool on_alarm(void *context, const struct alarm *alarm) {
    say(context, alarm_stands(alarm) ? "stands" : "over", alarm->system, alarm->point,
        alarm->condition, alarm_stands(alarm) ? alarm->since_ms : alarm->returned_ms);
    return true;
}

static bool on_tracker(void *context, const struct monitor_tracker *tracker) {
    static const char *const phases[] = {"rests", "begins", "stands", "ends"};
    say(context, phases[tracker->tracker.phase], tracker->system, tracker->point,
        tracker->condition, tracker->tracker.since_ms);
    return true;
}

/* The clock gets on; both say the same. */
static void compare(const struct world *world) {
    silence_look_at_all(monitors[1]);
    for (int i = 0; i < 2; i++) {
        const struct monitor_sink sink = {told[i], on_hour, on_alarm, on_tracker};
        told[i][0] = '\0';
        monitor_advance(monitors[i], world->clock_ms);
        monitor_tell(monitors[i], world->clock_ms, told[i], on_tell);
        ck_assert(monitor_flush(monitors[i], &sink));
    }
    ck_assert_str_eq(told[0], told[1]);
}

/* ---- what happens ---- */

static bool happens(struct world *world, double share) {
    return test_random_unit(&world->random) < share;
}

static int64_t up_to(struct world *world, int64_t most_ms) {
    return (int64_t)(test_random_unit(&world->random) * (double)most_ms);
}

static void fall_silent(struct world *world) {
    for (size_t p = 0; p < POINTS; p++)
        if (happens(world, 0.0005))
            world->point_quiet_ms[p] = world->now_ms + up_to(world, 12 * DURATION_HOUR_MS);
    for (size_t h = 0; h < HOUSES; h++)
        if (happens(world, 0.0005))
            world->house_quiet_ms[h] = world->now_ms + up_to(world, 8 * DURATION_HOUR_MS);
    if (happens(world, 0.0003))
        world->all_quiet_ms = world->now_ms + up_to(world, 6 * DURATION_HOUR_MS);
}

static void send(struct world *world, size_t point) {
    int64_t late_ms = happens(world, 0.05) ? up_to(world, 90 * MINUTE) : up_to(world, 2000);
    const struct reading reading = {world->now_ms - late_ms, world->value += 0.01};
    for (int i = 0; i < 2; i++)
        if (monitor_is_newest(monitors[i], point, reading.time_ms))
            monitor_reading(monitors[i], point, &reading, world->clock_ms);
}

static void send_due(struct world *world) {
    for (size_t p = 0; p < POINTS; p++) {
        const struct point_description *description = fleet->points[p].description;
        bool quiet = world->now_ms < world->point_quiet_ms[p] ||
                     world->now_ms < world->house_quiet_ms[p / POINTS_A_HOUSE] ||
                     world->now_ms < world->all_quiet_ms;
        if (world->now_ms < world->next_ms[p] || quiet)
            continue;
        world->next_ms[p] = world->now_ms + description->every_ms;
        if (!happens(world, 0.02)) /* else it is lost */
            send(world, p);
    }
}

static void move_clock(struct world *world) {
    int64_t by_ms = up_to(world, 4 * DURATION_HOUR_MS) - 2 * DURATION_HOUR_MS;
    world->clock_ms += by_ms;
    for (int i = 0; i < 2; i++)
        monitor_clock_moved(monitors[i], by_ms);
}

static void pause_broker(struct world *world) {
    int64_t off_ms = up_to(world, 3 * DURATION_HOUR_MS);
    world->now_ms += off_ms;
    world->clock_ms += off_ms;
    for (int i = 0; i < 2; i++)
        monitor_set_backlog(monitors[i], true, world->clock_ms);
    compare(world);
    send_due(world);
    for (int i = 0; i < 2; i++)
        monitor_set_backlog(monitors[i], false, world->clock_ms);
}

START_TEST(who_is_not_looked_at_has_nothing_overdue) {
    struct world world = {.random = {test_seed() + (uint64_t)_i}, .value = 200.0};
    world.now_ms = world.clock_ms = start_ms;
    int messages = 0;
    /* Two sensors are dead for days; one of them in the house that is told of sooner. */
    world.point_quiet_ms[POINTS_A_HOUSE] = start_ms + 9 * DURATION_DAY_MS;
    world.point_quiet_ms[2 * POINTS_A_HOUSE + 1] = start_ms + 12 * DURATION_DAY_MS;
    for (size_t p = 0; p < POINTS; p++) /* some begin days later */
        world.next_ms[p] = start_ms + (happens(&world, 0.2) ? up_to(&world, 3 * DURATION_DAY_MS)
                                                            : up_to(&world, DURATION_HOUR_MS));
    for (int minute = 0; minute < 14 * 1440; minute++) {
        world.now_ms += MINUTE;
        world.clock_ms += MINUTE;
        fall_silent(&world);
        send_due(&world);
        if (happens(&world, 0.0002))
            move_clock(&world);
        if (happens(&world, 0.0002))
            pause_broker(&world);
        compare(&world);
        messages += strstr(told[0], "-silent@") != NULL;
    }
    ck_assert_int_gt(messages, 10);
}
END_TEST

/* A system whose points report is looked at once in a while, not each time. */
START_TEST(a_look_waits_until_one_of_them_may_be_overdue) {
    for (size_t p = 0; p < POINTS_A_HOUSE; p++) {
        const struct reading reading = {start_ms, 200.0 + (double)p};
        monitor_reading(monitors[0], p, &reading, start_ms);
    }
    monitor_advance(monitors[0], start_ms);
    /* The point of one minute may be overdue after one and a half. */
    ck_assert_int_eq(monitors[0]->silences[0].look_at_ms, start_ms + MINUTE + MINUTE / 2);
    ck_assert_int_eq(monitors[0]->silences[1].look_at_ms, INT64_MAX); /* never reported */
}
END_TEST

/* Nor is one with a dead sensor: the others say nothing new of it before they may be overdue. */
START_TEST(a_dead_sensor_does_not_have_its_system_looked_at_each_time) {
    enum { DEAD = 1, HOURS = 12 };
    for (int minute = 0; minute < HOURS * 60; minute += 10) {
        for (size_t p = 0; p < POINTS_A_HOUSE; p++) {
            const struct reading reading = {start_ms + minute * MINUTE, 200.0 + minute};
            if (p != DEAD || minute == 0)
                monitor_reading(monitors[0], p, &reading, reading.time_ms);
        }
        monitor_advance(monitors[0], start_ms + minute * MINUTE);
    }
    int64_t now_ms = start_ms + (HOURS * 60 - 10) * MINUTE;
    /* The dead one may be heard now, and be overdue more than its minute later. */
    ck_assert_int_eq(monitors[0]->silences[0].look_at_ms, now_ms + MINUTE + 1);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("silence");
    tcase_set_timeout(tcase, 120);
    tcase_add_checked_fixture(tcase, set_up, tear_down);
    tcase_add_loop_test(tcase, who_is_not_looked_at_has_nothing_overdue, 0, 4);
    tcase_add_test(tcase, a_look_waits_until_one_of_them_may_be_overdue);
    tcase_add_test(tcase, a_dead_sensor_does_not_have_its_system_looked_at_each_time);
    return run_test_case(tcase);
}
