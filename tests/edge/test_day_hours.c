/* Hours of a day as bytes: what goes in comes out to the last bit, and nothing else is taken. */
#include "pack/day_hours.h"
#include "store_support.h"

#include <math.h>

#define HOUR_MS INT64_C(3600000)

static const struct day_pack_label label = {7, 20000};

static const int64_t start_ms = 20000 * DAY_PACK_DAY_MS;

/* A day of hours as readings every ten minutes make them, some of them odd. */
static struct day_hours make_written(struct test_random *random, double odd) {
    struct day_hours day = {.written = 0};
    for (unsigned i = 0; i < DAY_HOURS_COUNT; i++) {
        struct series_hour *hour = &day.table.hours[i];
        if (test_random_unit(random) < odd)
            continue;
        double level = round(600 + 20 * test_random_unit(random)) / 1000 * 249.08891;
        *hour = (struct series_hour){start_ms + i * HOUR_MS, 6,           level * 3.6e6, HOUR_MS,
                                     level * 0.99,           level * 1.01};
        if (test_random_unit(random) < odd) {
            hour->count = (int64_t)(test_random_next(random) % 5000);
            hour->covered_ms = 1 + (int64_t)(test_random_next(random) % HOUR_MS);
            hour->value_ms = -level / 7 * (double)hour->covered_ms;
        }
        if (hour->count == 0)
            hour->lowest = hour->highest = (double)NAN;
        day.table.present |= 1U << i;
    }
    day.written = day.table.present | (odd > 0 ? 1U << test_random_next(random) % 24 : 0);
    return day;
}

static void expect_back(const struct day_hours *day, size_t *size) {
    unsigned char bytes[DAY_HOURS_BYTES_MAX];
    struct day_hours back;
    ck_assert_int_eq(day_hours_encode(&label, day, bytes, size), DAY_PACK_OK);
    ck_assert_int_eq(day_hours_decode(&label, bytes, *size, &back), DAY_PACK_OK);
    ck_assert_int_eq(back.is_computed, day->is_computed);
    ck_assert_int_eq(back.interval_ms, day->interval_ms);
    ck_assert_int_eq(back.first_span_ms, day->first_span_ms);
    ck_assert_int_eq(back.reach_ms, day->reach_ms);
    ck_assert_double_eq(back.after_value, day->reach_ms > 0 ? day->after_value : 0.0);
    ck_assert_uint_eq(back.written, day->written);
    for (unsigned i = 0; i < DAY_HOURS_COUNT; i++)
        if (day->written >> i & 1)
            ck_assert_msg(day_hours_equal(&back.table, &day->table, i), "hour %u differs", i);
    /* Any changed bit is noticed, and so is another place. */
    struct test_random random = {test_seed() + *size};
    for (int i = 0; i < 20; i++) {
        size_t bit = test_random_below(&random, 8 * *size);
        bytes[bit / 8] = (unsigned char)(bytes[bit / 8] ^ 1 << bit % 8);
        ck_assert_int_ne(day_hours_decode(&label, bytes, *size, &back), DAY_PACK_OK);
        bytes[bit / 8] = (unsigned char)(bytes[bit / 8] ^ 1 << bit % 8);
    }
    const struct day_pack_label other = {7, 20001};
    ck_assert_int_eq(day_hours_decode(&other, bytes, *size, &back), DAY_PACK_DAMAGED);
    for (size_t length = 0; length < *size; length++)
        ck_assert_int_eq(day_hours_decode(&label, bytes, length, &back), DAY_PACK_DAMAGED);
}

START_TEST(written_hours_come_back) {
    struct test_random random = {test_seed() + (uint64_t)_i};
    struct day_hours day = make_written(&random, _i % 4 == 0 ? 0.0 : 0.3 * (_i % 4));
    size_t size;
    if (_i % 2) {
        day.is_computed = true;
        day.interval_ms = 1 + (int64_t)(test_random_next(&random) % (3 * DAY_PACK_DAY_MS));
        day.first_span_ms = (int64_t)(test_random_next(&random) % (uint64_t)day.interval_ms);
        day.reach_ms = _i % 3 ? 0 : 1 + (int64_t)(test_random_next(&random) % DAY_PACK_DAY_MS);
        day.after_value = -1.0 / 3;
    }
    expect_back(&day, &size);
}
END_TEST

START_TEST(a_usual_day_is_small) {
    size_t size;
    struct test_random random = {test_seed()};
    struct day_hours day = {.is_computed = true,
                            .interval_ms = 600000,
                            .first_span_ms = 600000,
                            .reach_ms = 300000,
                            .after_value = 150.0};
    expect_back(&day, &size);
    ck_assert_uint_le(size, 24);
    day = make_written(&random, 0.0);
    expect_back(&day, &size);
    printf("24 hours written: %zu bytes\n", size);
    ck_assert_uint_le(size, 24 * 16);
}
END_TEST

START_TEST(a_newer_version_is_told) {
    unsigned char bytes[] = {0xE2, 0, 0, 0, 0, 0};
    struct day_hours day;
    ck_assert_int_eq(day_hours_decode(&label, bytes, sizeof bytes, &day), DAY_PACK_NEWER);
    bytes[0] = 0xD1;
    ck_assert_int_eq(day_hours_decode(&label, bytes, sizeof bytes, &day), DAY_PACK_DAMAGED);
}
END_TEST

/* By the definition: every reading's span cut at the edges of the hour, summed in order. */
START_TEST(computed_hours_follow_the_definition) {
    struct test_random random = {test_seed() + (uint64_t)_i};
    static struct reading readings[400];
    size_t count = 0;
    const int64_t interval_ms = 600000 << _i % 4;
    for (int64_t t = (int64_t)(test_random_next(&random) % 7200000);
         t < DAY_PACK_DAY_MS && count < 400;
         t += 1 + (int64_t)(test_random_unit(&random) * 1.4 * (double)interval_ms))
        readings[count++] = (struct reading){start_ms + t, test_random_unit(&random) * 300};
    const struct day_hours day = {.is_computed = true,
                                  .interval_ms = interval_ms,
                                  .first_span_ms = interval_ms / 3,
                                  .reach_ms = 100000,
                                  .after_value = 77.0};
    struct day_hours_table table;
    day_hours_fill(&day, &label, readings, count, &table);
    for (unsigned i = 0; i < DAY_HOURS_COUNT; i++) {
        int64_t from_ms = start_ms + i * HOUR_MS, to_ms = from_ms + HOUR_MS, covered_ms = 0;
        int64_t inside = 0;
        double value_ms = 0;
        for (size_t r = 0; r <= count; r++) {
            int64_t end_ms = r < count ? readings[r].time_ms : start_ms + DAY_PACK_DAY_MS;
            int64_t span_ms = r == count ? day.reach_ms
                              : r == 0   ? day.first_span_ms
                                         : readings[r].time_ms - readings[r - 1].time_ms;
            span_ms = span_ms < interval_ms ? span_ms : interval_ms;
            int64_t begin_ms = end_ms - span_ms > from_ms ? end_ms - span_ms : from_ms;
            int64_t part_ms = (end_ms < to_ms ? end_ms : to_ms) - begin_ms;
            covered_ms += part_ms > 0 ? part_ms : 0;
            value_ms += part_ms > 0 ? (r < count ? readings[r].value : 77.0) * (double)part_ms : 0;
            inside += r < count && end_ms >= from_ms && end_ms < to_ms;
        }
        ck_assert_int_eq(table.present >> i & 1, inside > 0 || covered_ms > 0);
        if (!(table.present >> i & 1))
            continue;
        ck_assert_int_eq(table.hours[i].hour_ms, from_ms);
        ck_assert_int_eq(table.hours[i].count, inside);
        ck_assert_int_eq(table.hours[i].covered_ms, covered_ms);
        ck_assert_double_eq(table.hours[i].value_ms, value_ms);
    }
}
END_TEST

START_TEST(what_cannot_be_held_is_told) {
    const struct series_hour good = {start_ms, 3, 5.0, 1000, 1.0, 2.0};
    ck_assert(day_hours_can_hold(&label, &good));
    struct series_hour bad[8];
    for (int i = 0; i < 8; i++)
        bad[i] = good;
    bad[0].hour_ms = start_ms + 1;
    bad[1].hour_ms = start_ms + DAY_PACK_DAY_MS;
    bad[2].count = -1;
    bad[3].covered_ms = HOUR_MS + 1;
    bad[4].value_ms = INFINITY;
    bad[5].lowest = (double)NAN;
    bad[6].count = 0;
    bad[7] = (struct series_hour){start_ms, 0, 0.0, 0, (double)NAN, (double)NAN};
    for (int i = 0; i < 8; i++)
        ck_assert_msg(!day_hours_can_hold(&label, &bad[i]), "%d", i);
}
END_TEST

int main(void) {
    test_seed();
    TCase *tcase = tcase_create("day_hours");
    tcase_add_loop_test(tcase, written_hours_come_back, 0, 60);
    tcase_add_test(tcase, a_usual_day_is_small);
    tcase_add_test(tcase, a_newer_version_is_told);
    tcase_add_loop_test(tcase, computed_hours_follow_the_definition, 0, 40);
    tcase_add_test(tcase, what_cannot_be_held_is_told);
    return run_test_case(tcase);
}
