/*
 * Fuzzer of the drawing of a chart. The first bytes choose quantity, units and time, the rest are
 * samples: a series as a store could hold it, with any doubles in it. Whatever they are, the figure
 * is whole, and no number in it is none.
 */
#include "page/plot.h"

#include <assert.h>
#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

struct bytes {
    const uint8_t *next;
    size_t left;
};

static uint64_t take(struct bytes *bytes, size_t count) {
    uint64_t number = 0;
    for (size_t i = 0; i < count; i++) {
        number = number << 8 | (bytes->left ? *bytes->next : 0);
        bytes->next += bytes->left > 0;
        bytes->left -= bytes->left > 0;
    }
    return number;
}

static double take_double(struct bytes *bytes) {
    uint64_t bits = take(bytes, 8);
    double value;
    memcpy(&value, &bits, sizeof value);
    return value;
}

static void take_series(struct bytes *bytes, int64_t at_ms, struct page_series *series) {
    *series =
        (struct page_series){.gap_ms = (int64_t)take(bytes, 4), .is_reading = take(bytes, 1) & 1};
    while (bytes->left && series->count < PAGE_SAMPLES_MAX) {
        int64_t to_ms = at_ms + (int64_t)take(bytes, 3);
        uint64_t has_spread = take(bytes, 1) & 1;
        struct page_sample sample = {at_ms, to_ms, take_double(bytes), 0.0, 0.0};
        sample.lowest = has_spread ? take_double(bytes) : sample.value;
        sample.highest = has_spread ? take_double(bytes) : sample.value;
        series->samples[series->count++] = sample;
        at_ms = to_ms + (int64_t)take(bytes, 3);
    }
}

static void check(const char *text) {
    for (const char *at = text; *at;) {
        size_t length = 0;
        while (isalnum((unsigned char)at[length]))
            length++;
        assert(length != 3 || (strncasecmp(at, "nan", 3) != 0 && strncmp(at, "inf", 3) != 0));
        at += length ? length : 1;
    }
    assert(strstr(text, "</svg></div>") && strstr(text, "</figure>"));
}

static void draw(struct bytes *bytes, struct page_series *series) {
    struct time_zone *zone = time_zone_create_utc();
    enum quantity quantity = (enum quantity)(take(bytes, 1) % QUANTITY_COUNT);
    struct page_plot plot = {.name = "point", .zone = zone, .series = series};
    struct page_view view = {.language = 0};
    plot.quantity = quantity;
    plot.dimension = quantity_info(quantity)->dimension;
    plot.units = take(bytes, 1) & 1 ? UNIT_SYSTEM_SI : UNIT_SYSTEM_US;
    plot.from_ms = (int64_t)take(bytes, 5);
    plot.to_ms = plot.from_ms + 1 + (int64_t)take(bytes, 5);
    plot.baseline = take_double(bytes);
    for (uint64_t limits = take(bytes, 1) % PAGE_LIMITS_MAX; limits > 0; limits--) {
        double si = take_double(bytes);
        if (isfinite(si))
            plot.limits[plot.limit_count++] =
                (struct page_limit){si, limits & 1 ? SIDE_ABOVE : SIDE_BELOW, "limit"};
    }
    take_series(bytes, plot.from_ms, series);
    page_plots_draw(&view, &plot, 1);
    char *text = text_buffer_take(&view.html.text);
    assert(text);
    check(text);
    free(text);
    time_zone_destroy(zone);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    struct page_series *series = malloc(sizeof *series);
    struct bytes bytes = {data, size};
    assert(series);
    draw(&bytes, series);
    free(series);
    return 0;
}
