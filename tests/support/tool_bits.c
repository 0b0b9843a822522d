/*
 * tool_bits: the numbers that a seeded house comes to, bit by bit, so that machines can be
 * compared.
 *
 *     tool_bits [HOUSES]     default 20
 *
 * Standard output, one line each: house, what, and the bits of each double (or each byte) in hex;
 * of what exp, log or erfc stand in, twelve digits, for their last bit is the C library's affair
 * (C17 5.2.4.2.2): it is another one where the processor cannot multiply and add in one step.
 * The readings are made of whole numbers and read from text, as a broker brings them, so that they
 * are the same wherever it runs; what differs was computed differently.
 */
#include "analysis/average.h"
#include "analysis/drift.h"
#include "analysis/trend.h"
#include "measure/decimal.h"
#include "pack/day_pack.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { DAYS = 400, READINGS = 144, INTERVAL_MS = 600000, FIRST_DAY = 19700 };
#define CONFIDENCE 0.99

struct house {
    int number;
    uint64_t random;
    struct average_bucket sums[DAYS];
    double days[DAYS], means[DAYS], outdoor_c[DAYS];
};

/* splitmix64 (Steele, Lea, Flood, OOPSLA 2014): whole numbers only. */
static uint64_t random_next(struct house *house) {
    uint64_t z = (house->random += 0x9E3779B97F4A7C15ULL);
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9ULL;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBULL;
    return z ^ (z >> 31);
}

static void print_doubles(const struct house *house, const char *what, const double *values,
                          size_t n) {
    printf("%d %s", house->number, what);
    for (size_t i = 0; i < n; i++) {
        uint64_t bits;
        memcpy(&bits, &values[i], sizeof bits);
        printf(" %016" PRIx64, bits);
    }
    putchar('\n');
}

static void print_digits(const struct house *house, const char *what, const double *values,
                         size_t n) {
    printf("%d %s", house->number, what);
    for (size_t i = 0; i < n; i++)
        printf(" %.11e", values[i]);
    putchar('\n');
}

static void stop(const char *what, int status) {
    fprintf(stderr, "tool_bits: %s: %d\n", what, status);
    exit(EXIT_FAILURE);
}

static double from_text(const char *text) {
    double value;
    if (decimal_read(text, strlen(text), &value) != strlen(text))
        stop(text, 0);
    return value;
}

/* A suction in inches of water that falls by a tenth in a year, with noise. */
static void one_reading(struct house *house, int day, int i, struct reading *reading) {
    char text[32];
    uint64_t noise = random_next(house) % 400 + random_next(house) % 400;
    snprintf(text, sizeof text, "1.%04d", 9000 - 6 * day - (int)noise);
    reading->value = from_text(text) * 249.08891;
    reading->time_ms = (FIRST_DAY + day) * DAY_PACK_DAY_MS + (int64_t)i * INTERVAL_MS +
                       (int64_t)(random_next(house) % 3000);
}

static void pack(const struct house *house, int day, const struct reading *readings) {
    const struct day_pack_label label = {house->number, FIRST_DAY + day};
    static const unsigned char origins[READINGS];
    unsigned char *bytes = malloc(day_pack_bound(READINGS));
    size_t size = 0;
    if (!bytes || day_pack_encode(&label, readings, origins, READINGS, bytes, &size) != DAY_PACK_OK)
        stop("day_pack_encode", day);
    printf("%d pack ", house->number);
    for (size_t i = 0; i < size; i++)
        printf("%02x", bytes[i]);
    putchar('\n');
    free(bytes);
}

static void one_day(struct house *house, int day) {
    struct reading readings[READINGS];
    struct average_reading averaged[READINGS];
    int64_t from_ms = (FIRST_DAY + day) * DAY_PACK_DAY_MS;
    for (int i = 0; i < READINGS; i++) {
        one_reading(house, day, i, &readings[i]);
        averaged[i] = (struct average_reading){readings[i].time_ms, readings[i].value};
    }
    int status = (int)average_readings(averaged, READINGS, INTERVAL_MS, from_ms,
                                       from_ms + AVERAGE_DAY_MS, &house->sums[day]);
    if (status != AVERAGE_OK)
        stop("average_readings", status);
    house->days[day] = FIRST_DAY + day;
    house->means[day] = house->sums[day].value_ms / (double)house->sums[day].covered_ms;
    house->outdoor_c[day] = (double)(random_next(house) % 300) / 10.0 - 5.0;
    if (day % 40 == 0)
        pack(house, day, readings);
}

static void print_average(const struct house *house) {
    const struct average_settings settings = {0.10, 2.0, 400.0, AVERAGE_LEAST_COVERAGE};
    struct average_bucket sum;
    struct average average;
    int64_t from_ms = house->sums[0].start_ms, to_ms = house->sums[DAYS - 1].end_ms;
    int status = (int)average_sum(house->sums, DAYS, from_ms, to_ms, &sum);
    if (status == AVERAGE_OK)
        status = (int)average_assess(&sum, from_ms, to_ms, house->sums, DAYS, &settings, &average);
    if (status != AVERAGE_OK)
        stop("average", status);
    const double values[] = {average.mean,
                             average.coverage,
                             average.effective_days,
                             average.r1,
                             average.standard_uncertainty,
                             average.degrees_of_freedom};
    print_doubles(house, "average", values, sizeof values / sizeof *values);
    print_digits(house, "probability", &average.probability_at_or_above, 1);
}

static void print_trend(const struct house *house, const char *what, const struct trend *trend) {
    const double line[] = {trend->per_year, trend->variance_factor, trend->level_day, trend->level,
                           trend->per_kelvin};
    const double chance[] = {trend->lower, trend->upper, trend->p_value, trend->p_value_cautious};
    /* A drift is fitted to logarithms. */
    (trend->method == TREND_DRIFT ? print_digits : print_doubles)(house, what, line, 5);
    print_digits(house, "chance", chance, sizeof chance / sizeof *chance);
}

static void print_trends(const struct house *house) {
    struct trend plain, outdoors, drift;
    struct trend_series series = {DAYS, house->days, house->means, NULL, NULL, NULL};
    if (trend_fit(&series, CONFIDENCE, &plain) != TREND_OK)
        stop("trend_fit", house->number);
    series.outdoor_c = house->outdoor_c;
    if (trend_fit(&series, CONFIDENCE, &outdoors) != TREND_OK ||
        drift_fit(&series, FIRST_DAY, &drift_suction, CONFIDENCE, &drift) != TREND_OK)
        stop("trend with outdoor temperature", house->number);
    print_trend(house, "trend", &plain);
    print_trend(house, "trend-outdoors", &outdoors);
    print_trend(house, "drift", &drift);
}

static void print_house(struct house *house) {
    for (int day = 0; day < DAYS; day++)
        one_day(house, day);
    print_doubles(house, "means", house->means, DAYS);
    print_average(house);
    print_trends(house);
}

int main(int argc, char **argv) {
    int houses = argc > 1 ? atoi(argv[1]) : 20;
    for (int number = 1; number <= houses; number++) {
        static struct house house;
        house = (struct house){.number = number, .random = (uint64_t)number};
        print_house(&house);
    }
    return EXIT_SUCCESS;
}
