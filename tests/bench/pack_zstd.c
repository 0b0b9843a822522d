/*
 * pack_zstd: would libzstd with a trained dictionary over plain differences do instead of the bit
 * codes of lib/pack? Bytes a reading and CPU a day of both, on days of invented fleets. The numbers
 * behind the values are found alike (value_form); then here come varints of second differences of
 * times and of first differences of numbers, and zstd over them, without any frame that it can do
 * without. One dictionary for all, trained on every other day of each set; measured on the rest.
 *
 * No part of the build, for nothing else here needs libzstd (Debian: libzstd-dev). To run it again:
 *
 *   cmake --build build --target edges
 *   cc -O2 -Ilib tests/bench/pack_zstd.c build/libedges.a build/libcore.a -lzstd -lm -o pack_zstd
 *   ./pack_zstd [READINGS.csv…]      # as tests/support/fleet_years.py writes them
 */
#define ZSTD_STATIC_LINKING_ONLY
#include "measure/timestamp.h"
#include "measure/unit.h"
#include "pack/day_pack.h"
#include "pack/day_pack_bytes.h"
#include "pack/value_form.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <zdict.h>
#include <zstd.h>

enum { MOST = 2000, ROOM = 40 * MOST, DICTIONARY = 16384 };

struct day {
    struct day_pack_label label;
    struct reading *readings;
    size_t count;
};

struct set {
    char name[80];
    struct day *days;
    size_t count;
};

static void fail(const char *what) {
    fprintf(stderr, "pack_zstd: %s\n", what);
    exit(1);
}

static double cpu(void) {
    struct timespec now;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

/* ---- days ---- */

static void add_day(struct set *set, const struct reading *readings, size_t count) {
    struct day *days = realloc(set->days, (set->count + 1) * sizeof *days);
    struct reading *copy = malloc(count * sizeof *copy);
    if (!days || !copy)
        fail("out of memory");
    memcpy(copy, readings, count * sizeof *copy);
    days[set->count] = (struct day){{1, day_pack_day(readings[0].time_ms)}, copy, count};
    set->days = days;
    set->count++;
}

static void add_file(struct set *set, const char *path) {
    static struct reading readings[MOST];
    char line[300], point[200], last_point[200] = "";
    size_t count = 0;
    FILE *file = fopen(path, "r");
    if (!file || !fgets(line, sizeof line, file))
        fail("cannot read the readings");
    while (fgets(line, sizeof line, file)) {
        struct tm at = {0};
        double value;
        if (sscanf(line, "%d-%d-%dT%d:%d:%dZ,%199[^,],%*[^,],%lf", &at.tm_year, &at.tm_mon,
                   &at.tm_mday, &at.tm_hour, &at.tm_min, &at.tm_sec, point, &value) != 8)
            continue;
        const char *name = strchr(strchr(line, ',') + 1, ',') + 1;
        snprintf(point + strlen(point), 40, "/%.*s", (int)strcspn(name, ","), name);
        at.tm_year -= 1900;
        at.tm_mon -= 1;
        int64_t time_ms = (int64_t)timegm(&at) * 1000;
        if (count > 0 && (strcmp(point, last_point) != 0 || count == MOST ||
                          day_pack_day(time_ms) != day_pack_day(readings[0].time_ms))) {
            add_day(set, readings, count);
            count = 0;
        }
        if (count > 0 && time_ms <= readings[count - 1].time_ms)
            continue;
        snprintf(last_point, sizeof last_point, "%s", point);
        readings[count++] = (struct reading){time_ms, value};
    }
    fclose(file);
    if (count > 0)
        add_day(set, readings, count);
    snprintf(set->name, sizeof set->name, "%.70s", path);
}

static double uniform(void) { /* splitmix64 */
    static uint64_t state = 1;
    uint64_t z = state += UINT64_C(0x9E3779B97F4A7C15);
    z = (z ^ z >> 30) * UINT64_C(0xBF58476D1CE4E5B9);
    z = (z ^ z >> 27) * UINT64_C(0x94D049BB133111EB);
    return (double)((z ^ z >> 31) >> 11) * 0x1p-53;
}

static double noise(void) { /* Irwin-Hall of 12: nearly normal */
    double sum = -6;
    for (int i = 0; i < 12; i++)
        sum += uniform();
    return sum;
}

/* The four points of bench_pack. */
static void make_days(struct set *set, double jitter_ms) {
    static const struct {
        const char *unit;
        double level, noise, digits;
    } points[] = {{"inH2O", 0.62, 0.01, 100},
                  {"pCi/L", 1.3, 0.4, 10},
                  {"cfm", 61, 1.5, 10},
                  {"W", 63, 0.6, 10}};
    struct reading readings[144];
    for (int p = 0; p < 4; p++) {
        const struct unit *unit = unit_find(points[p].unit, strlen(points[p].unit));
        double level = points[p].level;
        for (int64_t day = 16000; day < 16400; day++) {
            for (int i = 0; i < 144; i++) {
                double value = level + points[p].noise * noise();
                level += 0.02 * points[p].noise * noise() + 0.001 * (points[p].level - level);
                readings[i].time_ms = day * DAY_PACK_DAY_MS + i * 600000 + 300000 +
                                      (int64_t)(jitter_ms * (2 * uniform() - 1));
                readings[i].value =
                    unit_to_si(unit, round(value * points[p].digits) / points[p].digits);
            }
            add_day(set, readings, 144);
        }
    }
    snprintf(set->name, sizeof set->name, "bench_pack, jitter %.0f ms", jitter_ms);
}

/* ---- plain differences ---- */

static size_t write_plain(const struct day *day, unsigned char *bytes) {
    static double values[MOST];
    struct value_form form = {.kind = VALUE_FORM_PLAIN};
    struct byte_writer writer = {bytes, 0};
    int64_t before = 0, step = 0;
    for (size_t i = 0; i < day->count; i++)
        values[i] = day->readings[i].value;
    if (!value_form_find_decimal(values, day->count, &form) &&
        !value_form_find_lattice(values, day->count, &form))
        form.kind = VALUE_FORM_PLAIN;
    byte_put_varint(&writer, day->count);
    byte_put(&writer, form.kind);
    byte_put(&writer, form.unit << 4 | form.decimals);
    byte_put_folded(&writer, form.base);
    byte_put_varint(&writer, (uint64_t)form.divisor);
    if (form.kind == VALUE_FORM_LATTICE) {
        byte_put_double(&writer, form.start);
        byte_put_double(&writer, form.step);
    }
    before = day->label.day * DAY_PACK_DAY_MS;
    for (size_t i = 0; i < day->count; i++) {
        int64_t now = day->readings[i].time_ms - before;
        byte_put_folded(&writer, now - step);
        before += now;
        step = now;
    }
    before = 0;
    for (size_t i = 0; i < day->count && form.kind != VALUE_FORM_PLAIN; i++) {
        int64_t number = value_form_number(&form, values[i]);
        byte_put_folded(&writer, number - before);
        before = number;
    }
    double foretold = 0;
    for (size_t i = 0; i < day->count; i++) {
        if (form.kind != VALUE_FORM_PLAIN)
            foretold = value_form_value(&form, value_form_number(&form, values[i]));
        int64_t correction = value_form_correction(foretold, values[i]);
        byte_put_folded(&writer, correction);
        foretold = values[i];
    }
    return writer.size;
}

/* Back to readings; what it costs is what counts. */
static double read_plain(const struct day *day, const unsigned char *bytes, size_t size) {
    static int64_t times[MOST];
    static double values[MOST];
    struct byte_reader reader = {.bytes = bytes, .size = size};
    struct value_form form = {.kind = VALUE_FORM_PLAIN};
    size_t count = (size_t)byte_get_varint(&reader, MOST);
    form.kind = (enum value_form_kind)byte_get(&reader);
    unsigned both = byte_get(&reader);
    form.unit = both >> 4;
    form.decimals = both & 15;
    form.base = byte_get_folded(&reader, VALUE_FORM_NUMBER_MAX);
    form.divisor = (int64_t)byte_get_varint(&reader, VALUE_FORM_NUMBER_MAX);
    if (form.kind == VALUE_FORM_LATTICE) {
        form.start = byte_get_double(&reader);
        form.step = byte_get_double(&reader);
    }
    int64_t before = day->label.day * DAY_PACK_DAY_MS, step = 0, number = 0;
    for (size_t i = 0; i < count; i++) {
        step += byte_get_folded(&reader, INT64_C(1) << 61);
        times[i] = before += step;
    }
    for (size_t i = 0; i < count && form.kind != VALUE_FORM_PLAIN; i++) {
        number += byte_get_folded(&reader, INT64_C(1) << 61);
        values[i] = value_form_value(&form, number);
    }
    double foretold = 0;
    for (size_t i = 0; i < count; i++) {
        if (form.kind != VALUE_FORM_PLAIN)
            foretold = values[i];
        values[i] = value_form_corrected(foretold, byte_get_folded(&reader, INT64_C(1) << 61));
        foretold = values[i];
        if (!reader.is_bad && (times[i] != day->readings[i].time_ms ||
                               memcmp(&values[i], &day->readings[i].value, sizeof(double)) != 0))
            fail("another reading came back");
    }
    return reader.is_bad ? 1 : 0; /* a correction too large for a varint of ours: its own bytes */
}

/* ---- both, measured ---- */

struct figures {
    double bytes, encode_s, decode_s;
};

static struct figures with_codes(const struct set *set) {
    static unsigned char bytes[ROOM], origins[MOST];
    static struct reading back[MOST];
    struct figures sum = {0, 0, 0};
    for (size_t i = 1; i < set->count; i += 2) {
        const struct day *day = &set->days[i];
        size_t size;
        double begin = cpu();
        day_pack_encode(&day->label, day->readings, origins, day->count, bytes, &size);
        double middle = cpu();
        if (day_pack_decode(&day->label, bytes, size, back, origins) != DAY_PACK_OK)
            fail("a pack does not unpack");
        sum.bytes += (double)size;
        sum.encode_s += middle - begin;
        sum.decode_s += cpu() - middle;
    }
    return sum;
}

static struct figures with_zstd(const struct set *set, const void *dictionary, size_t size,
                                int level) {
    static unsigned char plain[ROOM], bytes[ROOM], back[ROOM];
    struct figures sum = {0, 0, 0};
    ZSTD_CCtx *compressor = ZSTD_createCCtx();
    ZSTD_DCtx *decompressor = ZSTD_createDCtx();
    ZSTD_CCtx_setParameter(compressor, ZSTD_c_compressionLevel, level);
    ZSTD_CCtx_setParameter(compressor, ZSTD_c_contentSizeFlag, 0);
    ZSTD_CCtx_setParameter(compressor, ZSTD_c_dictIDFlag, 0);
    ZSTD_CCtx_setParameter(compressor, ZSTD_c_format, ZSTD_f_zstd1_magicless);
    ZSTD_CCtx_loadDictionary(compressor, dictionary, size);
    ZSTD_DCtx_setParameter(decompressor, ZSTD_d_format, ZSTD_f_zstd1_magicless);
    ZSTD_DCtx_loadDictionary(decompressor, dictionary, size);
    for (size_t i = 1; i < set->count; i += 2) {
        const struct day *day = &set->days[i];
        double begin = cpu();
        size_t length = write_plain(day, plain);
        size_t packed = ZSTD_compress2(compressor, bytes, ROOM, plain, length);
        double middle = cpu();
        if (ZSTD_isError(packed) ||
            ZSTD_decompressDCtx(decompressor, back, ROOM, bytes, packed) != length)
            fail("zstd");
        read_plain(day, back, length);
        sum.decode_s += cpu() - middle;
        sum.encode_s += middle - begin;
        sum.bytes += (double)packed + 1 + BYTE_CODE_CHECK_BYTES; /* version and check sum */
    }
    ZSTD_freeCCtx(compressor);
    ZSTD_freeDCtx(decompressor);
    return sum;
}

static size_t train(const struct set *sets, size_t set_count, void *dictionary) {
    size_t days = 0, used = 0, n = 0;
    for (size_t s = 0; s < set_count; s++)
        days += sets[s].count;
    unsigned char *samples = malloc(days * 4096 + ROOM);
    size_t *sizes = malloc(days * sizeof *sizes);
    if (!samples || !sizes)
        fail("out of memory");
    for (size_t s = 0; s < set_count; s++)
        for (size_t i = 0; i < sets[s].count; i += 2)
            used += sizes[n++] = write_plain(&sets[s].days[i], samples + used);
    size_t size = ZDICT_trainFromBuffer(dictionary, DICTIONARY, samples, sizes, (unsigned)n);
    free(samples);
    free(sizes);
    if (ZDICT_isError(size))
        fail("no dictionary");
    return size;
}

static void tell(const struct set *set, const char *name, const struct figures *sum) {
    double readings = 0, days = (double)(set->count / 2);
    for (size_t i = 1; i < set->count; i += 2)
        readings += (double)set->days[i].count;
    printf("| %s | %s | %.3f | %.1f | %.1f |\n", set->name, name, sum->bytes / readings,
           1e6 * sum->encode_s / days, 1e6 * sum->decode_s / days);
}

int main(int argc, char **argv) {
    static struct set sets[10];
    static unsigned char dictionary[DICTIONARY];
    size_t count = 2;
    make_days(&sets[0], 0);
    make_days(&sets[1], 50);
    for (int i = 1; i < argc && count < 10; i++)
        add_file(&sets[count++], argv[i]);
    size_t size = train(sets, count, dictionary);
    printf("| set | how | bytes a reading | us CPU a day packed | unpacked "
           "|\n|---|---|---|---|---|\n");
    for (size_t s = 0; s < count; s++) {
        static const int levels[] = {3, 19};
        struct figures sum = with_codes(&sets[s]);
        tell(&sets[s], "bit codes", &sum);
        for (int l = 0; l < 2; l++) {
            char name[40];
            snprintf(name, sizeof name, "zstd %d", levels[l]);
            sum = with_zstd(&sets[s], dictionary, size, levels[l]);
            tell(&sets[s], name, &sum);
        }
    }
    return 0;
}
