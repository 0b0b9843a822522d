/*
 * tool_year: what radon readings of a part of a year say of the year's mean, for the fleet of
 * houses in tests/fleet.
 *
 * Standard input, any number of times: "n interval" (seconds) and n lines "time value" (Unix
 * seconds, Bq/m3) in order. Standard output, one line of JSON each: status, mean, lower, upper,
 * days, with the defaults of a radon point. Days are those of UTC.
 */
#include "analysis/average.h"
#include "analysis/year_mean.h"
#include "measure/quantity.h"

#include <stdio.h>
#include <stdlib.h>

#define DAY_MS AVERAGE_DAY_MS

static size_t days_of(const struct average_reading *readings, size_t n, int64_t interval_ms,
                      struct year_mean_day *days, size_t most) {
    size_t count = 0, first = 0;
    int64_t from = n ? readings[0].time_ms / DAY_MS : 0;
    int64_t to = n ? readings[n - 1].time_ms / DAY_MS : 0;
    for (int64_t day = from; day <= to && count < most; day++) {
        struct average_bucket sum;
        while (first + 1 < n && readings[first + 1].time_ms < day * DAY_MS)
            first++;
        size_t behind = first;
        while (behind < n && readings[behind].time_ms < (day + 2) * DAY_MS)
            behind++;
        if (average_readings(readings + first, behind - first, interval_ms, day * DAY_MS,
                             (day + 1) * DAY_MS, &sum) == AVERAGE_OK &&
            (double)sum.covered_ms >= AVERAGE_LEAST_COVERAGE * (double)DAY_MS)
            days[count++] = (struct year_mean_day){day, sum.value_ms / (double)sum.covered_ms};
    }
    return count;
}

static void print_year(const struct average_reading *readings, size_t n, int64_t interval_ms) {
    static struct year_mean_day days[4000];
    const struct year_mean_settings settings = {
        .relative = AVERAGE_CALIBRATION_RELATIVE,
        .absolute = quantity_info(QUANTITY_RADON)->zero_uncertainty,
        .level = 148.0,
    };
    struct year_mean year = {0};
    size_t count = days_of(readings, n, interval_ms, days, sizeof days / sizeof days[0]);
    int status = (int)year_mean_assess(days, count, &settings, &year);
    printf("{\"status\":%d,\"mean\":%.17g,\"lower\":%.17g,\"upper\":%.17g,\"days\":%zu,"
           "\"probability\":%.17g}\n",
           status, year.mean, year.lower, year.upper, count, year.probability_at_or_above);
}

int main(void) {
    size_t n = 0;
    double interval_s = 0.0;
    while (scanf("%zu %lf", &n, &interval_s) == 2) {
        struct average_reading *readings = malloc((n + 1) * sizeof *readings);
        if (!readings)
            return EXIT_FAILURE;
        for (size_t i = 0; i < n; i++) {
            double time_s = 0.0;
            if (scanf("%lf %lf", &time_s, &readings[i].value) != 2)
                return EXIT_FAILURE;
            readings[i].time_ms = (int64_t)(time_s * 1000.0);
        }
        print_year(readings, n, (int64_t)(interval_s * 1000.0));
        free(readings);
    }
    return EXIT_SUCCESS;
}
