/* Packed days: every reading comes back to the last bit, few bytes are enough, damage is noticed.
 */
#include "measure/unit.h"
#include "pack/bit_code.h"
#include "pack/day_pack.h"
#include "pack/value_form.h"
#include "test_support.h"

#include <float.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define DAY 20000
#define TEN_MINUTES 600000

static const struct day_pack_label label = {7, DAY};

struct day {
    size_t count;
    struct reading *readings;
    unsigned char *origins;
};

static struct day make_day(size_t count) {
    struct day day = {count, calloc(count, sizeof *day.readings), calloc(count, 1)};
    ck_assert(day.readings && day.origins);
    for (size_t i = 0; i < count; i++)
        day.readings[i].time_ms =
            DAY * DAY_PACK_DAY_MS + (int64_t)i * (DAY_PACK_DAY_MS / (int64_t)count);
    return day;
}

static void free_day(const struct day *day) {
    free(day->readings);
    free(day->origins);
}

static unsigned char *pack(const struct day_pack_label *of, const struct day *day, size_t *size) {
    unsigned char *bytes = malloc(day_pack_bound(day->count));
    ck_assert_ptr_nonnull(bytes);
    ck_assert_int_eq(day_pack_encode(of, day->readings, day->origins, day->count, bytes, size),
                     DAY_PACK_OK);
    ck_assert_uint_le(*size, day_pack_bound(day->count));
    unsigned char *exact = realloc(bytes, *size); /* so that reading too far is noticed */
    ck_assert_ptr_nonnull(exact);
    return exact;
}

static void expect_same(const struct day_pack_label *of, const struct day *day,
                        const unsigned char *bytes, size_t size) {
    size_t count;
    ck_assert_int_eq(day_pack_count(bytes, size, &count), DAY_PACK_OK);
    ck_assert_uint_eq(count, day->count);
    struct day got = make_day(count);
    ck_assert_int_eq(day_pack_decode(of, bytes, size, got.readings, got.origins), DAY_PACK_OK);
    for (size_t i = 0; i < count; i++) {
        ck_assert_int_eq(got.readings[i].time_ms, day->readings[i].time_ms);
        ck_assert_msg(memcmp(&got.readings[i].value, &day->readings[i].value, sizeof(double)) == 0,
                      "%zu: %a became %a", i, day->readings[i].value, got.readings[i].value);
        ck_assert_int_eq(got.origins[i], day->origins[i]);
    }
    ck_assert_int_eq(day_pack_decode(of, bytes, size, got.readings, NULL), DAY_PACK_OK);
    free_day(&got);
}

/* Packs, unpacks, compares; returns bytes per reading. */
static double there_and_back(const struct day *day) {
    size_t size;
    unsigned char *bytes = pack(&label, day, &size);
    expect_same(&label, day, bytes, size);
    free(bytes);
    return (double)size / (double)day->count;
}

static double gauss(struct test_random *random) { /* nearly: Irwin-Hall of 12 */
    double sum = -6;
    for (int i = 0; i < 12; i++)
        sum += test_random_unit(random);
    return sum;
}

static double rounded(double value, double digits) {
    return round(value * digits) / digits;
}

static double si_of(const char *unit, double value) {
    const struct unit *found = unit_find(unit, strlen(unit));
    ck_assert_ptr_nonnull(found);
    return unit_to_si(found, value) + 0.0;
}

/* ---- parts ---- */

START_TEST(the_check_sum_is_that_of_the_standard) {
    /* Check value of CRC-32/ISO-HDLC: "123456789" gives CBF43926 (ITU-T V.42; from memory). */
    ck_assert_uint_eq(bit_code_crc32(0, (const unsigned char *)"123456789", 9), 0xCBF43926);
    uint32_t half = bit_code_crc32(0, (const unsigned char *)"1234", 4);
    ck_assert_uint_eq(bit_code_crc32(half, (const unsigned char *)"56789", 5), 0xCBF43926);
    ck_assert_uint_eq(bit_code_crc32(0, NULL, 0), 0);
}
END_TEST

START_TEST(a_code_is_a_rice_code) {
    /* Width 2, number 9 (folded: 18 = 4 x 4 + 2): four ones and a zero, then 10. By hand from the
     * definition in JPL Publication 79-22. */
    unsigned char bytes[40] = {0};
    struct bit_writer writer = {.bytes = bytes};
    struct bit_code code;
    bit_code_begin(&code, 2);
    ck_assert_uint_eq(bit_code_width(&code), 2);
    bit_code_write(&code, &writer, 9);
    ck_assert_uint_eq(writer.bits, 7);
    ck_assert_uint_eq(bit_finish(&writer), 1);
    ck_assert_uint_eq(bytes[0], 0xF4); /* 1111 0 10 and a zero to fill */
}
END_TEST

START_TEST(codes_come_back) {
    struct test_random random = {test_seed()};
    enum { COUNT = 3000 };
    static int64_t numbers[COUNT];
    static unsigned char bytes[COUNT * (BIT_CODE_BITS_MAX / 8 + 1)];
    for (unsigned first = 0; first <= BIT_CODE_WIDTH_MAX; first++) {
        for (size_t i = 0; i < COUNT; i++) {
            unsigned shift = (unsigned)(test_random_next(&random) % 64);
            if (i / 100 % 2)
                shift = 60; /* small ones in a row */
            uint64_t bits = test_random_next(&random) >> shift;
            memcpy(&numbers[i], &bits, sizeof bits);
            if (i % 3 == 0)
                numbers[i] = -(numbers[i] >> 1);
        }
        numbers[0] = INT64_MIN;
        numbers[1] = INT64_MAX;
        struct bit_writer writer = {.bytes = bytes}, counter = {0};
        struct bit_code code, counted;
        bit_code_begin(&code, first);
        bit_code_begin(&counted, first);
        for (size_t i = 0; i < COUNT; i++) {
            size_t before = writer.bits;
            bit_code_write(&code, &writer, numbers[i]);
            bit_code_write(&counted, &counter, numbers[i]);
            ck_assert_uint_le(writer.bits - before, BIT_CODE_BITS_MAX);
        }
        ck_assert_uint_eq(writer.bits, counter.bits);
        struct bit_reader reader = {bytes, bit_finish(&writer), 0};
        bit_code_begin(&code, first);
        for (size_t i = 0; i < COUNT; i++)
            ck_assert_int_eq(bit_code_read(&code, &reader), numbers[i]);
        ck_assert(bit_reader_is_within(&reader));
        for (int i = 0; i < 100; i++)
            bit_code_read(&code, &reader);
        ck_assert(!bit_reader_is_within(&reader));
    }
}
END_TEST

/* Every spelling's factor is known to the packs: digits come out exactly, nothing is corrected. */
START_TEST(every_unit_is_known) {
    static const char *const spellings[] = {
        "Pa",    "hPa", "kPa",   "mbar",   "bar",  "inH2O", "ftH2O", "mmH2O",  "cmH2O", "mmHg",
        "inHg",  "psi", "Bq/m3", "kBq/m3", "Bq/L", "pCi/L", "m3/s",  "m3/min", "m3/h",  "L/s",
        "L/min", "cfm", "W",     "kW",     "mW",   "MW",    "A",     "mA",     "degC",  "degF",
        "K",     "%",   "/",     "V",      "mV",   "m",     "cm",    "mm",     "in",    "ft"};
    struct test_random random = {test_seed()};
    for (size_t s = 0; s < sizeof spellings / sizeof spellings[0]; s++) {
        for (int digits = 0; digits <= 3; digits++) {
            double values[144];
            for (size_t i = 0; i < 144; i++)
                values[i] = si_of(spellings[s],
                                  rounded(600 * test_random_unit(&random) - 40, pow(10, digits)));
            struct value_form form;
            ck_assert_msg(value_form_find_decimal(values, 144, &form), "%s", spellings[s]);
            for (size_t i = 0; i < 144; i++)
                ck_assert_msg(value_form_value(&form, value_form_number(&form, values[i])) ==
                                  values[i],
                              "%s, %d digits: %.17g", spellings[s], digits, values[i]);
        }
    }
}
END_TEST

START_TEST(a_lattice_is_found_behind_any_calibration) {
    struct test_random random = {test_seed()};
    int missed = 0;
    for (int round_number = 0; round_number < 200; round_number++) {
        double scale = exp(8 * test_random_unit(&random) - 4);
        double offset = 100 * test_random_unit(&random) - 50;
        double values[144];
        for (size_t i = 0; i < 144; i++)
            values[i] = (rounded(20 + gauss(&random), 100) * scale + offset) *
                        249.08891; /* as intake does */
        struct value_form form;
        if (!value_form_find_lattice(values, 144, &form)) {
            missed++; /* rounding may hide it: such a day is packed plainly */
            continue;
        }
        for (size_t i = 0; i < 144; i++) {
            int64_t number = value_form_number(&form, values[i]);
            int64_t off = value_form_correction(value_form_value(&form, number), values[i]);
            ck_assert_msg(llabs(off) < 1000000 && llabs(number) < 100000, "off by %lld at %lld",
                          (long long)off, (long long)number);
        }
    }
    ck_assert_int_le(missed, 2);
}
END_TEST

/* ---- whole days ---- */

START_TEST(a_single_reading) {
    static const double values[] = {0.0,     -0.0,     1.0,       154.4351242, DBL_MAX, -DBL_MAX,
                                    DBL_MIN, -DBL_MIN, 0x1p-1074, -0x1p-1074,  1e-300,  0.1};
    static const int64_t times[] = {0, 1, 43200000, DAY_PACK_DAY_MS - 1};
    for (size_t v = 0; v < sizeof values / sizeof values[0]; v++) {
        for (size_t t = 0; t < 4; t++) {
            for (unsigned char origin = 0; origin <= DAY_PACK_ORIGIN_MAX; origin++) {
                struct reading reading = {DAY * DAY_PACK_DAY_MS + times[t], values[v]};
                struct day day = {1, &reading, &origin};
                there_and_back(&day);
            }
        }
    }
}
END_TEST

START_TEST(days_of_every_kind_come_back) {
    struct test_random random = {test_seed() + (uint64_t)_i};
    static const double extremes[] = {DBL_MAX, -DBL_MAX, 0.0, -0.0, DBL_MIN, 0x1p-1074, 1.0, -1e-5};
    size_t count = 1 + (size_t)(test_random_next(&random) % (_i % 10 ? 300 : 20000));
    struct day day = make_day(count);
    double level = 1000 * test_random_unit(&random);
    int64_t spare = DAY_PACK_DAY_MS / (int64_t)count;
    for (size_t i = 0; i < count; i++) {
        struct reading *reading = &day.readings[i];
        uint64_t bits;
        switch (_i % 8) {
        case 0:
            reading->value = level;
            break;
        case 1:
            reading->value = si_of("inH2O", rounded(0.62 + 0.02 * gauss(&random), 100));
            break;
        case 2:
            do { /* any finite double */
                bits = test_random_next(&random);
                memcpy(&reading->value, &bits, sizeof bits);
            } while (!isfinite(reading->value));
            break;
        case 3:
            reading->value = extremes[test_random_next(&random) % 8];
            break;
        case 4:
            reading->value = (float)(level + gauss(&random));
            break;
        case 5:
            reading->value = -level + 1e-3 * gauss(&random);
            break;
        case 6: /* mostly of one form */
            reading->value = test_random_unit(&random) < 0.1
                                 ? gauss(&random)
                                 : si_of("degF", rounded(50 + 9 * gauss(&random), 10));
            break;
        default:
            reading->value = (rounded(level + gauss(&random), 10) * 0.7312 - 3.1) * 249.08891;
        }
        if (_i % 3 == 1)
            reading->time_ms += (int64_t)(test_random_unit(&random) * (double)(spare - 1));
        if (_i % 5 == 2)
            day.origins[i] = (unsigned char)(test_random_next(&random) % 3);
        else if (_i % 5 == 3)
            day.origins[i] = i > count / 2;
    }
    there_and_back(&day);
    free_day(&day);
}
END_TEST

START_TEST(times_of_every_kind_come_back) {
    struct test_random random = {test_seed() + (uint64_t)_i};
    for (int days = 0; days < 20; days++) {
        struct day day = make_day(1440);
        int64_t offset = (int64_t)(test_random_unit(&random) * 3600000), time = offset;
        size_t count = 0;
        while (time < DAY_PACK_DAY_MS && count < 1440) {
            day.readings[count++].time_ms = DAY * DAY_PACK_DAY_MS + time;
            double draw = test_random_unit(&random);
            if (draw < 0.05)
                time += 1;
            else if (draw < 0.1)
                time += (int64_t)(exp(20 * test_random_unit(&random))) + 1;
            else
                time += 60000 + (int64_t)(pow(10, _i) * test_random_unit(&random)) + 1;
        }
        day.count = count;
        there_and_back(&day);
        free_day(&day);
    }
}
END_TEST

START_TEST(days_before_1970_and_far_off) {
    static const int64_t days[] = {-1, -20000, -100000000, 100000000};
    for (size_t d = 0; d < 4; d++) {
        struct day_pack_label of = {-3, days[d]};
        struct day day = make_day(100);
        for (size_t i = 0; i < 100; i++) {
            day.readings[i].time_ms += (days[d] - DAY) * DAY_PACK_DAY_MS;
            day.readings[i].value = (double)i;
            ck_assert_int_eq(day_pack_day(day.readings[i].time_ms), days[d]);
        }
        size_t size;
        unsigned char *bytes = pack(&of, &day, &size);
        expect_same(&of, &day, bytes, size);
        free(bytes);
        free_day(&day);
    }
    ck_assert_int_eq(day_pack_day(-1), -1);
    ck_assert_int_eq(day_pack_day(0), 0);
    ck_assert_int_eq(day_pack_day(DAY_PACK_DAY_MS - 1), 0);
    ck_assert_int_eq(day_pack_day(-DAY_PACK_DAY_MS), -1);
}
END_TEST

START_TEST(a_reading_every_second) {
    struct test_random random = {test_seed()};
    struct day day = make_day(86400);
    for (size_t i = 0; i < day.count; i++)
        day.readings[i].value = si_of("inH2O", rounded(0.62 + 0.01 * gauss(&random), 1000));
    double bytes = there_and_back(&day);
    printf("86 400 readings: %.3f bytes each\n", bytes);
    ck_assert_double_lt(bytes, 1.0);
    free_day(&day);
}
END_TEST

/* ---- size ---- */

struct sensor {
    const char *name, *unit;
    double level, noise, digits; /* digits: 10^decimals */
    double jitter_ms;            /* of arrival, either way; 0: the device's own clock */
    size_t count;
    double bytes_most;
};

/* Limits lie a little above what was measured: a change that costs more is noticed. */
static const struct sensor sensors[] = {
    {"suction, own time", "inH2O", 0.62, 0.01, 100, 0, 144, 1.0},
    {"suction, 3 decimals, own time", "inH2O", 0.62, 0.01, 1000, 0, 144, 1.3},
    {"suction, own time", "Pa", 154.4, 2.0, 10, 0, 144, 1.4},
    {"airflow, own time", "cfm", 61.0, 1.5, 10, 0, 144, 1.3},
    {"radon, own time", "pCi/L", 1.3, 0.4, 10, 0, 144, 1.0},
    {"fan power, own time", "W", 63.0, 0.6, 10, 0, 144, 1.2},
    {"temperature, own time", "degF", 68.0, 0.5, 10, 0, 144, 1.1},
    {"suction, arrival within 50 ms", "inH2O", 0.62, 0.01, 100, 50, 144, 1.9},
    {"suction, arrival within 50 ms", "Pa", 154.4, 2.0, 10, 50, 144, 2.3},
    {"suction, arrival within 1 s", "inH2O", 0.62, 0.01, 100, 1000, 144, 2.5},
    {"suction, arrival within 5 s", "inH2O", 0.62, 0.01, 100, 5000, 144, 2.8},
    {"radon, hourly, own time", "pCi/L", 1.3, 0.4, 10, 0, 24, 2.0},
    {"radon, hourly, arrival within 50 ms", "pCi/L", 1.3, 0.4, 10, 50, 24, 3.0},
};

START_TEST(a_reading_takes_at_most_three_bytes) {
    const struct sensor *sensor = &sensors[_i];
    struct test_random random = {test_seed()};
    double sum = 0;
    for (int days = 0; days < 20; days++) {
        struct day day = make_day(sensor->count);
        double level = sensor->level;
        for (size_t i = 0; i < day.count; i++) {
            level += 0.1 * sensor->noise * gauss(&random);
            double value = rounded(level + sensor->noise * gauss(&random), sensor->digits);
            day.readings[i].value = si_of(sensor->unit, value);
            day.readings[i].time_ms +=
                TEN_MINUTES / 2 +
                (int64_t)(sensor->jitter_ms * (2 * test_random_unit(&random) - 1));
        }
        sum += there_and_back(&day);
        free_day(&day);
    }
    printf("%-36s %-6s %5.2f bytes a reading\n", sensor->name, sensor->unit, sum / 20);
    ck_assert_double_lt(sum / 20, sensor->bytes_most);
}
END_TEST

/* ---- damage ---- */

static struct day small_day(struct test_random *random) {
    struct day day = make_day(40);
    for (size_t i = 0; i < day.count; i++) {
        day.readings[i].value = rounded(20 + gauss(random), 10);
        day.readings[i].time_ms += (int64_t)(100 * test_random_unit(random));
        day.origins[i] = i % 7 == 0;
    }
    return day;
}

START_TEST(every_flipped_bit_is_noticed) {
    struct test_random random = {test_seed()};
    struct day day = small_day(&random);
    struct reading got[40];
    size_t size, count;
    unsigned char *bytes = pack(&label, &day, &size);
    for (size_t bit = 0; bit < 8 * size; bit++) {
        bytes[bit / 8] ^= (unsigned char)(1 << bit % 8);
        if (day_pack_count(bytes, size, &count) == DAY_PACK_OK) {
            struct day room = make_day(count);
            ck_assert_int_eq(day_pack_decode(&label, bytes, size, room.readings, room.origins),
                             DAY_PACK_DAMAGED);
            free_day(&room);
        }
        bytes[bit / 8] ^= (unsigned char)(1 << bit % 8);
    }
    ck_assert_int_eq(day_pack_decode(&label, bytes, size, got, NULL), DAY_PACK_OK);
    free(bytes);
    free_day(&day);
}
END_TEST

START_TEST(a_pack_in_the_wrong_place_or_cut_off_is_noticed) {
    struct test_random random = {test_seed()};
    struct day day = small_day(&random);
    struct reading got[40];
    size_t size, count;
    unsigned char *bytes = pack(&label, &day, &size);
    struct day_pack_label others[] = {{8, DAY}, {7, DAY + 1}, {7, -DAY}, {7, INT64_MAX}};
    for (size_t i = 0; i < 4; i++)
        ck_assert_int_eq(day_pack_decode(&others[i], bytes, size, got, NULL), DAY_PACK_DAMAGED);
    ck_assert_int_eq(day_pack_count(bytes, 0, &count), DAY_PACK_DAMAGED);
    for (size_t cut = 2; cut < size; cut++) {
        unsigned char *part = malloc(cut); /* so that reading too far is noticed */
        ck_assert_ptr_nonnull(part);
        memcpy(part, bytes, cut);
        ck_assert_int_eq(day_pack_decode(&label, part, cut, got, NULL), DAY_PACK_DAMAGED);
        free(part);
    }
    bytes[0] = 0xD2;
    ck_assert_int_eq(day_pack_decode(&label, bytes, size, got, NULL), DAY_PACK_NEWER);
    bytes[0] = 0x11;
    ck_assert_int_eq(day_pack_decode(&label, bytes, size, got, NULL), DAY_PACK_DAMAGED);
    free(bytes);
    free_day(&day);
}
END_TEST

/* Bytes of the format must stay readable for as long as there are stores. Made by hand from the
 * description in day_pack.h: 0.61, 0.62, 0.62 inH2O every ten minutes from 00:05 on. */
START_TEST(a_pack_written_by_hand_is_read) {
    unsigned char bytes[] = {0xD1, 3,                /* version, count */
                             0xE0, 0xA7, 0x12,       /* 300 000 ms = 0x493E0 */
                             0x04,                   /* from a sensor, regular */
                             0x80, 0xF8, 0xC9, 0x04, /* step 9 600 000 = 0x927C00 sixteenths */
                             0x09,                   /* decimal, no corrections, gain 0 */
                             4,    2,    0x7A, 1, /* inH2O, 2 decimals, base 61 folded, divisor 1 */
                             0,    0,             /* first number foretold 0; width 0 */
                             0x60, /* differences 0, 1, 0: 0, 110, 0, filled with 000 */
                             0,    0,    0,    0};
    const size_t checked = sizeof bytes - 4;
    unsigned char words[16] = {7, [8] = DAY & 255, DAY >> 8};
    uint32_t crc = bit_code_crc32(bit_code_crc32(0, words, 16), bytes, checked);
    for (unsigned i = 0; i < 4; i++)
        bytes[checked + i] = (unsigned char)(crc >> 8 * i);
    struct reading got[3];
    unsigned char origins[3];
    ck_assert_int_eq(day_pack_decode(&label, bytes, sizeof bytes, got, origins), DAY_PACK_OK);
    static const double inches[] = {0.61, 0.62, 0.62};
    for (int i = 0; i < 3; i++) {
        ck_assert_int_eq(got[i].time_ms, DAY * DAY_PACK_DAY_MS + 300000 + i * TEN_MINUTES);
        ck_assert_double_eq(got[i].value, inches[i] * 249.08891);
        ck_assert_int_eq(origins[i], 0);
    }
}
END_TEST

int main(void) {
    test_seed();
    TCase *tcase = tcase_create("day_pack");
    tcase_add_test(tcase, the_check_sum_is_that_of_the_standard);
    tcase_add_test(tcase, a_code_is_a_rice_code);
    tcase_add_test(tcase, codes_come_back);
    tcase_add_test(tcase, every_unit_is_known);
    tcase_add_test(tcase, a_lattice_is_found_behind_any_calibration);
    tcase_add_test(tcase, a_single_reading);
    tcase_add_loop_test(tcase, days_of_every_kind_come_back, 0, 120);
    tcase_add_loop_test(tcase, times_of_every_kind_come_back, 0, 5);
    tcase_add_test(tcase, days_before_1970_and_far_off);
    tcase_add_test(tcase, a_reading_every_second);
    tcase_add_loop_test(tcase, a_reading_takes_at_most_three_bytes, 0,
                        (int)(sizeof sensors / sizeof sensors[0]));
    tcase_add_test(tcase, every_flipped_bit_is_noticed);
    tcase_add_test(tcase, a_pack_in_the_wrong_place_or_cut_off_is_noticed);
    tcase_add_test(tcase, a_pack_written_by_hand_is_read);
    return run_test_case(tcase);
}
