/* renewals: what starts anew by a record or a visit, from what it says that was changed. */
#include "measure/duration.h"
#include "monitor/monitor.h"
#include "monitor/renewals.h"
#include "settings/change_words.h"
#include "small_fleet.h"
#include "test_support.h"

#include <string.h>

static const char house[] = "id: house\npoints:\n"
                            "  - {id: suction, quantity: suction, unit: Pa}\n"
                            "  - {id: hole, quantity: field, unit: Pa}\n"
                            "  - {id: radon, quantity: radon, unit: Bq/m3}\n";
enum { SUCTION, HOLE, RADON };
static const int64_t day_ms = DURATION_DAY_MS, now_ms = 1000 * DURATION_DAY_MS;

struct world {
    struct fleet *fleet;
    struct monitor *monitor;
};

static struct world open_world(void) {
    static const char *const texts[] = {house};
    struct world world = {.fleet = small_fleet(NULL, texts, 1)};
    world.monitor = monitor_create(world.fleet);
    ck_assert_ptr_nonnull(world.monitor);
    return world;
}

static void close_world(struct world *world) {
    monitor_destroy(world->monitor);
    fleet_destroy(world->fleet);
}

/* A record of a day: the values of some points, and what it says of changes. */
static void record(struct world *world, int64_t day, const char *points, unsigned changed) {
    static const char *const ids[] = {"suction", "hole", "radon"};
    ck_assert(monitor_load_renewal(world->monitor, 0, day * day_ms, changed));
    for (size_t point = 0; point < 3; point++) {
        if (strstr(points, ids[point]))
            ck_assert(monitor_load_baseline(world->monitor, point, day * day_ms, 10.0, "installer",
                                            false));
    }
}

static int64_t house_day(const struct world *world) {
    int64_t since_ms = renewals_house_ms(world->monitor, 0, now_ms);
    return since_ms == TIMESTAMP_NONE ? -1 : since_ms / day_ms;
}

static int64_t series_day(const struct world *world, size_t point) {
    int64_t since_ms = renewals_series_ms(world->monitor, point, now_ms);
    return since_ms == TIMESTAMP_NONE ? -1 : since_ms / day_ms;
}

START_TEST(without_a_record_there_is_no_beginning) {
    struct world world = open_world();
    ck_assert_int_eq(house_day(&world), -1);
    ck_assert_int_eq(series_day(&world, SUCTION), -1);
    ck_assert(renewals_repair_ms(world.monitor, 0, now_ms) == TIMESTAMP_NONE);
    close_world(&world);
}
END_TEST

START_TEST(the_first_record_begins_and_is_no_repair) {
    struct world world = open_world();
    record(&world, 100, "hole", CHANGE_UNSAID); /* also one without the riser */
    ck_assert_int_eq(house_day(&world), 100);
    ck_assert(renewals_repair_ms(world.monitor, 0, now_ms) == TIMESTAMP_NONE);
    ck_assert_int_eq(renewals_house_ms(world.monitor, 0, 100 * day_ms - 1), TIMESTAMP_NONE);
    close_world(&world);
}
END_TEST

START_TEST(a_hole_measured_again_begins_only_itself) {
    struct world world = open_world();
    record(&world, 100, "suction hole", CHANGE_UNSAID);
    record(&world, 200, "hole", CHANGE_UNSAID);
    ck_assert_int_eq(house_day(&world), 100);
    ck_assert_int_eq(series_day(&world, HOLE), 200);
    ck_assert_int_eq(series_day(&world, SUCTION), 100);
    record(&world, 300, "suction hole", CHANGE_UNSAID); /* all anew */
    ck_assert_int_eq(house_day(&world), 300);
    ck_assert_int_eq(renewals_repair_ms(world.monitor, 0, now_ms), 300 * day_ms);
    /* Asked of the past, the past answers. */
    ck_assert_int_eq(renewals_house_ms(world.monitor, 0, 250 * day_ms), 100 * day_ms);
    close_world(&world);
}
END_TEST

struct effect {
    unsigned changed;
    int64_t house, monitor, suction, radon; /* the day since when, of 100 and 200 */
};
static const struct effect effects[] = {
    {CHANGE_FAN, 200, 200, 200, 200},     {CHANGE_GROUND, 200, 200, 200, 200},
    {CHANGE_PIPING, 200, 200, 200, 200},  {CHANGE_GAUGE, 100, 100, 200, 100},
    {CHANGE_MONITOR, 100, 200, 100, 200}, {CHANGE_NOTHING, 100, 100, 100, 100},
};

START_TEST(what_is_changed_begins_anew) {
    const struct effect *effect = &effects[_i];
    struct world world = open_world();
    record(&world, 100, "suction hole radon", CHANGE_UNSAID);
    record(&world, 200, "suction hole radon", effect->changed);
    ck_assert_int_eq(house_day(&world), effect->house);
    ck_assert_int_eq(renewals_radon_ms(world.monitor, 0, now_ms) / day_ms, effect->monitor);
    ck_assert_int_eq(series_day(&world, SUCTION), effect->suction);
    ck_assert_int_eq(series_day(&world, HOLE), effect->suction);
    ck_assert_int_eq(series_day(&world, RADON), effect->radon);
    /* The values hold in any case. */
    ck_assert_int_eq(point_state_baseline(monitor_point(world.monitor, SUCTION), now_ms)->from_ms,
                     200 * day_ms);
    close_world(&world);
}
END_TEST

START_TEST(a_visit_without_values_begins_the_house) {
    struct world world = open_world();
    record(&world, 100, "suction hole", CHANGE_UNSAID);
    record(&world, 200, "", CHANGE_PIPING);
    ck_assert_int_eq(house_day(&world), 200);
    ck_assert_int_eq(series_day(&world, SUCTION), 200); /* though its baseline is the old one */
    record(&world, 150, "", CHANGE_FAN);                /* written down later */
    record(&world, 200, "", CHANGE_GAUGE);              /* a second word of the same day */
    ck_assert_int_eq(house_day(&world), 200);
    ck_assert_int_eq(renewals_house_ms(world.monitor, 0, 199 * day_ms), 150 * day_ms);
    ck_assert_uint_eq(monitor_renewals(world.monitor, 0)->count, 3);
    close_world(&world);
}
END_TEST

START_TEST(words_and_bits_are_the_same) {
    unsigned bit = 0, n = 0;
    for (; change_word(n); n++) {
        ck_assert(change_find(change_word(n), &bit));
        ck_assert_uint_eq(bit, 1U << n);
    }
    ck_assert_uint_eq(n, 6);
    ck_assert(!change_find("roof", &bit));
    ck_assert(change_possible(CHANGE_FAN | CHANGE_GAUGE) && change_possible(CHANGE_NOTHING));
    ck_assert(!change_possible(CHANGE_NOTHING | CHANGE_FAN));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("renewals");
    tcase_add_test(tcase, without_a_record_there_is_no_beginning);
    tcase_add_test(tcase, the_first_record_begins_and_is_no_repair);
    tcase_add_test(tcase, a_hole_measured_again_begins_only_itself);
    tcase_add_loop_test(tcase, what_is_changed_begins_anew, 0,
                        (int)(sizeof effects / sizeof effects[0]));
    tcase_add_test(tcase, a_visit_without_values_begins_the_house);
    tcase_add_test(tcase, words_and_bits_are_the_same);
    return run_test_case(tcase);
}
