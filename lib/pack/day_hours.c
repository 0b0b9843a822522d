#include "pack/day_hours.h"

#include "pack/day_pack_bytes.h"
#include "pack/hour_rollup.h"
#include "pack/value_form.h"

#include <assert.h>
#include <math.h>
#include <string.h>

#define MAGIC_AND_VERSION 0xE1
#define MAGIC_MASK 0xF0
#define COMPUTED 1U
#define REACHED 2U
#define WRITTEN 4U
#define ALL_FLAGS (COMPUTED | REACHED | WRITTEN)
#define WRITTEN_BYTES 3
#define COUNT_MAX (INT64_C(1) << 40)

static bool is_set(uint32_t bits, unsigned i) {
    return bits >> i & 1;
}

static int64_t start_of(const struct day_pack_label *label) {
    return label->day * DAY_PACK_DAY_MS;
}

static bool same_double(double a, double b) {
    return isnan(a) || isnan(b) ? isnan(a) && isnan(b) : value_form_correction(a, b) == 0;
}

bool day_hours_equal(const struct day_hours_table *a, const struct day_hours_table *b, unsigned i) {
    const struct series_hour *one = &a->hours[i], *other = &b->hours[i];
    if (!is_set(a->present, i) || !is_set(b->present, i))
        return is_set(a->present, i) == is_set(b->present, i);
    return one->hour_ms == other->hour_ms && one->count == other->count &&
           one->covered_ms == other->covered_ms && same_double(one->value_ms, other->value_ms) &&
           same_double(one->lowest, other->lowest) && same_double(one->highest, other->highest);
}

bool day_hours_can_hold(const struct day_pack_label *label, const struct series_hour *hour) {
    bool has_readings = hour->count > 0;
    return day_pack_day(hour->hour_ms) == label->day && hour->hour_ms % HOUR_ROLLUP_HOUR_MS == 0 &&
           hour->count >= 0 && hour->count <= COUNT_MAX && hour->covered_ms >= 0 &&
           hour->covered_ms <= HOUR_ROLLUP_HOUR_MS && !hour_rollup_is_empty(hour) &&
           isfinite(hour->value_ms) &&
           (has_readings ? isfinite(hour->lowest) && isfinite(hour->highest)
                         : isnan(hour->lowest) && isnan(hour->highest));
}

/* ---- writing ---- */

/* Doubles as a day pack of their own: readings one millisecond apart. */
static enum day_pack_status put_values(const struct day_pack_label *label, const double *values,
                                       size_t count, unsigned char *bytes, size_t *size) {
    struct reading readings[2 * DAY_HOURS_COUNT];
    static const unsigned char origins[2 * DAY_HOURS_COUNT];
    *size = 0;
    if (count == 0)
        return DAY_PACK_OK;
    for (size_t i = 0; i < count; i++)
        readings[i] = (struct reading){start_of(label) + (int64_t)i, values[i]};
    return day_pack_encode(label, readings, origins, count, bytes, size);
}

static enum day_pack_status put_written(struct byte_writer *writer,
                                        const struct day_pack_label *label,
                                        const struct day_hours *day) {
    double sums[DAY_HOURS_COUNT], extremes[2 * DAY_HOURS_COUNT];
    size_t sum_count = 0, extreme_count = 0, size;
    unsigned char pack[DAY_HOURS_BYTES_MAX];
    struct series_hour before = {.count = 0, .covered_ms = HOUR_ROLLUP_HOUR_MS};
    byte_put_fixed(writer, day->written, WRITTEN_BYTES);
    for (unsigned i = 0; i < DAY_HOURS_COUNT; i++) {
        const struct series_hour none = {.count = 0};
        const struct series_hour *hour =
            is_set(day->table.present, i) ? &day->table.hours[i] : &none;
        if (!is_set(day->written, i))
            continue;
        byte_put_folded(writer, hour->count - before.count);
        byte_put_folded(writer, hour->covered_ms - before.covered_ms);
        before = *hour;
        if (!hour_rollup_is_empty(hour))
            sums[sum_count++] = hour->value_ms;
        if (hour->count > 0) {
            extremes[extreme_count++] = hour->lowest;
            extremes[extreme_count++] = hour->highest;
        }
    }
    enum day_pack_status status = put_values(label, sums, sum_count, pack, &size);
    if (status != DAY_PACK_OK)
        return status;
    byte_put_varint(writer, size);
    memcpy(writer->bytes + writer->size, pack, size);
    writer->size += size;
    status = put_values(label, extremes, extreme_count, writer->bytes + writer->size, &size);
    writer->size += size;
    return status;
}

/* Twelve varints and what bounds it: written hours, each with two varints and three doubles. */
_Static_assert(DAY_HOURS_BYTES_MAX > 3 * (128 + DAY_HOURS_COUNT * 40),
               "two packs with their bounds and the rest fit");

enum day_pack_status day_hours_encode(const struct day_pack_label *label,
                                      const struct day_hours *day, unsigned char *bytes,
                                      size_t *size) {
    struct byte_writer writer = {bytes, 0};
    bool reached = day->is_computed && day->reach_ms > 0;
    enum day_pack_status status = DAY_PACK_OK;
    byte_put(&writer, MAGIC_AND_VERSION);
    byte_put(&writer, (day->is_computed ? COMPUTED : 0) | (reached ? REACHED : 0) |
                          (day->written ? WRITTEN : 0));
    if (day->is_computed) {
        assert(day->interval_ms >= 0 && day->interval_ms <= DAY_HOURS_INTERVAL_MAX);
        assert(day->first_span_ms >= 0 && day->first_span_ms <= day->interval_ms);
        byte_put_varint(&writer, (uint64_t)day->interval_ms);
        byte_put_varint(&writer, (uint64_t)(day->interval_ms - day->first_span_ms));
    }
    if (reached) {
        assert(day->reach_ms <= DAY_PACK_DAY_MS && isfinite(day->after_value));
        byte_put_varint(&writer, (uint64_t)day->reach_ms);
        byte_put_double(&writer, day->after_value);
    }
    if (day->written)
        status = put_written(&writer, label, day);
    byte_put_check(&writer, label);
    assert(writer.size <= DAY_HOURS_BYTES_MAX);
    *size = writer.size;
    return status;
}

/* ---- reading ---- */

/* Exactly `count` doubles, as put_values wrote them. */
static enum day_pack_status get_values(const struct day_pack_label *label,
                                       const unsigned char *bytes, size_t size, double *values,
                                       size_t count) {
    struct reading readings[2 * DAY_HOURS_COUNT];
    size_t found = 0;
    if (count == 0)
        return size == 0 ? DAY_PACK_OK : DAY_PACK_DAMAGED;
    enum day_pack_status status = day_pack_count(bytes, size, &found);
    if (status == DAY_PACK_OK)
        status =
            found == count ? day_pack_decode(label, bytes, size, readings, NULL) : DAY_PACK_DAMAGED;
    for (size_t i = 0; status == DAY_PACK_OK && i < count; i++)
        values[i] = readings[i].value;
    return status;
}

/* Counts and spans of the hours written; hours that are not there stay absent. */
static void get_counts(struct byte_reader *reader, int64_t start_ms, struct day_hours *day) {
    int64_t count = 0, covered_ms = HOUR_ROLLUP_HOUR_MS;
    day->written = (uint32_t)byte_get_fixed(reader, WRITTEN_BYTES);
    for (unsigned i = 0; i < DAY_HOURS_COUNT; i++) {
        if (!is_set(day->written, i))
            continue;
        count += byte_get_folded(reader, COUNT_MAX);
        covered_ms += byte_get_folded(reader, HOUR_ROLLUP_HOUR_MS);
        reader->is_bad = reader->is_bad || count < 0 || count > COUNT_MAX || covered_ms < 0 ||
                         covered_ms > HOUR_ROLLUP_HOUR_MS;
        if (reader->is_bad)
            return;
        if (count > 0 || covered_ms > 0)
            day->table.present |= 1U << i;
        day->table.hours[i] = (struct series_hour){.hour_ms = start_ms + i * HOUR_ROLLUP_HOUR_MS,
                                                   .count = count,
                                                   .covered_ms = covered_ms,
                                                   .lowest = (double)NAN,
                                                   .highest = (double)NAN};
    }
}

static enum day_pack_status get_written(struct byte_reader *reader,
                                        const struct day_pack_label *label, struct day_hours *day) {
    double sums[DAY_HOURS_COUNT], extremes[2 * DAY_HOURS_COUNT];
    size_t sum_count = 0, extreme_count = 0;
    get_counts(reader, start_of(label), day);
    size_t sums_size = (size_t)byte_get_varint(reader, reader->size);
    if (reader->is_bad || sums_size > reader->size - reader->at || day->written == 0)
        return DAY_PACK_DAMAGED;
    for (unsigned i = 0; i < DAY_HOURS_COUNT; i++) {
        sum_count += is_set(day->table.present, i);
        extreme_count += is_set(day->table.present, i) && day->table.hours[i].count > 0 ? 2 : 0;
    }
    const unsigned char *at = reader->bytes + reader->at;
    enum day_pack_status status = get_values(label, at, sums_size, sums, sum_count);
    if (status == DAY_PACK_OK)
        status = get_values(label, at + sums_size, reader->size - reader->at - sums_size, extremes,
                            extreme_count);
    reader->at = reader->size;
    size_t sum = 0, extreme = 0;
    for (unsigned i = 0; status == DAY_PACK_OK && i < DAY_HOURS_COUNT; i++) {
        struct series_hour *hour = &day->table.hours[i];
        if (!is_set(day->table.present, i))
            continue;
        hour->value_ms = sums[sum++];
        if (hour->count > 0) {
            hour->lowest = extremes[extreme++];
            hour->highest = extremes[extreme++];
        }
    }
    return status;
}

static void get_computing(struct byte_reader *reader, bool reached, struct day_hours *day) {
    day->is_computed = true;
    day->interval_ms = (int64_t)byte_get_varint(reader, DAY_HOURS_INTERVAL_MAX);
    day->first_span_ms =
        day->interval_ms - (int64_t)byte_get_varint(reader, (uint64_t)day->interval_ms);
    if (!reached)
        return;
    day->reach_ms = (int64_t)byte_get_varint(reader, DAY_PACK_DAY_MS);
    day->after_value = byte_get_double(reader);
    reader->is_bad = reader->is_bad || day->reach_ms == 0;
}

enum day_pack_status day_hours_decode(const struct day_pack_label *label,
                                      const unsigned char *bytes, size_t size,
                                      struct day_hours *day) {
    const int64_t days_max = INT64_MAX / DAY_PACK_DAY_MS - 1;
    *day = (struct day_hours){.is_computed = false};
    if (size < 2 || (bytes[0] & MAGIC_MASK) != (MAGIC_AND_VERSION & MAGIC_MASK))
        return DAY_PACK_DAMAGED;
    if (bytes[0] != MAGIC_AND_VERSION)
        return DAY_PACK_NEWER;
    if (!byte_check_is_right(label, bytes, size) || label->day > days_max || label->day < -days_max)
        return DAY_PACK_DAMAGED;
    struct byte_reader reader = {.bytes = bytes, .size = size - BYTE_CODE_CHECK_BYTES, .at = 1};
    unsigned flags = byte_get(&reader);
    enum day_pack_status status = DAY_PACK_OK;
    if (flags & ~ALL_FLAGS || (flags & REACHED && !(flags & COMPUTED)))
        return DAY_PACK_DAMAGED;
    if (flags & COMPUTED)
        get_computing(&reader, flags & REACHED, day);
    if (!reader.is_bad && flags & WRITTEN)
        status = get_written(&reader, label, day);
    return reader.is_bad || reader.at != reader.size ? DAY_PACK_DAMAGED : status;
}

/* ---- computing ---- */

static bool keep_hour(void *context, const struct series_hour *hour) {
    struct day_hours_table *table = context;
    int64_t since_ms = hour->hour_ms - day_pack_day(hour->hour_ms) * DAY_PACK_DAY_MS;
    unsigned i = (unsigned)(since_ms / HOUR_ROLLUP_HOUR_MS);
    table->hours[i] = *hour;
    table->present |= 1U << i;
    return true;
}

static void compute(const struct day_hours *day, int64_t start_ms, const struct reading *readings,
                    size_t count, struct day_hours_table *table) {
    struct hour_rollup rollup;
    hour_rollup_begin(&rollup, start_ms, start_ms + DAY_PACK_DAY_MS - HOUR_ROLLUP_HOUR_MS,
                      keep_hour, table);
    for (size_t i = 0; i < count; i++) {
        int64_t span_ms =
            i == 0 ? day->first_span_ms : readings[i].time_ms - readings[i - 1].time_ms;
        hour_rollup_add(&rollup, &readings[i],
                        span_ms < day->interval_ms ? span_ms : day->interval_ms);
    }
    /* It matters as far as it reaches; where it lies itself is another day's. */
    const struct reading after = {start_ms + DAY_PACK_DAY_MS, day->after_value};
    if (day->reach_ms > 0)
        hour_rollup_add(&rollup, &after, day->reach_ms);
    hour_rollup_end(&rollup);
}

void day_hours_fill(const struct day_hours *day, const struct day_pack_label *label,
                    const struct reading *readings, size_t count, struct day_hours_table *table) {
    table->present = 0;
    if (day->is_computed)
        compute(day, start_of(label), readings, count, table);
    for (unsigned i = 0; i < DAY_HOURS_COUNT; i++) {
        if (!is_set(day->written, i))
            continue;
        table->hours[i] = day->table.hours[i];
        table->present = (table->present & ~(1U << i)) | (day->table.present & 1U << i);
    }
}
