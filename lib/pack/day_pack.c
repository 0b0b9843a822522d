/* Writing and reading the format that stands in day_pack.h; how to write best is day_pack_plan.c.
 */
#include "pack/day_pack.h"

#include "pack/day_pack_bytes.h"
#include "pack/day_pack_track.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define MAGIC_AND_VERSION 0xD1
#define MAGIC_MASK 0xF0
#define ORIGIN_RUNS 3

int64_t day_pack_day(int64_t time_ms) {
    int64_t day = time_ms / DAY_PACK_DAY_MS;
    return time_ms % DAY_PACK_DAY_MS < 0 ? day - 1 : day;
}

size_t day_pack_bound(size_t count) {
    /* Head, then per reading three codes and a run of origins. */
    return 128 + count * (3 * BIT_CODE_BITS_MAX / 8 + 1 + 2);
}

/* ---- what stands in a head ---- */

struct head {
    size_t count;
    int64_t first_ms; /* from the start of the day */
    unsigned origin;  /* of all, or ORIGIN_RUNS */
    struct day_pack_stream times, numbers, corrections;
    struct value_form form;
};

/* ---- encoding ---- */

static bool origins_differ(const unsigned char *origins, size_t count) {
    for (size_t i = 1; i < count; i++)
        if (origins[i] != origins[0])
            return true;
    return false;
}

static void put_runs(struct byte_writer *output, const unsigned char *origins, size_t count) {
    for (size_t i = 0; i < count;) {
        size_t end = i + 1;
        while (end < count && origins[end] == origins[i])
            end++;
        byte_put_varint(output, end - i);
        byte_put(output, origins[i]);
        i = end;
    }
}

static void put_form(struct byte_writer *output, const struct head *head) {
    const struct value_form *form = &head->form;
    byte_put(output, (unsigned)form->kind | (head->numbers.is_foretold ? 4U : 0) |
                         (head->corrections.is_foretold ? 8U : 0) | head->numbers.track.gain << 4);
    if (form->kind == VALUE_FORM_DECIMAL) {
        byte_put(output, form->unit);
        byte_put(output, form->decimals);
        byte_put_folded(output, form->base);
        byte_put_varint(output, (uint64_t)form->divisor);
    } else if (form->kind == VALUE_FORM_LATTICE) {
        byte_put_double(output, form->start);
        byte_put_double(output, form->step);
    }
    if (form->kind != VALUE_FORM_PLAIN)
        byte_put_folded(output, head->numbers.track.at / 16);
    if (!head->numbers.is_foretold)
        byte_put(output, head->numbers.width);
    if (!head->corrections.is_foretold)
        byte_put(output, head->corrections.width);
}

static void put_head(struct byte_writer *output, const struct head *head,
                     const unsigned char *origins) {
    byte_put(output, MAGIC_AND_VERSION);
    byte_put_varint(output, head->count);
    byte_put_varint(output, (uint64_t)head->first_ms);
    byte_put(output,
             head->origin | (head->times.is_foretold ? 4U : 0) | head->times.track.gain << 3);
    if (head->count > 1)
        byte_put_varint(output, (uint64_t)head->times.track.step);
    if (!head->times.is_foretold)
        byte_put(output, head->times.width);
    if (head->origin == ORIGIN_RUNS)
        put_runs(output, origins, head->count);
    put_form(output, head);
}

/* Room for what is worked out about each reading. */
struct pack_work {
    int64_t *times, *numbers, *corrections;
    double *values;
};

static bool make_work(struct pack_work *work, size_t count) {
    work->times = malloc(count * sizeof *work->times);
    work->numbers = malloc(count * sizeof *work->numbers);
    work->corrections = malloc(count * sizeof *work->corrections);
    work->values = malloc(count * sizeof *work->values);
    return work->times && work->numbers && work->corrections && work->values;
}

static void free_work(const struct pack_work *work) {
    free(work->times);
    free(work->numbers);
    free(work->corrections);
    free(work->values);
}

static void fill_work(const struct day_pack_label *label, const struct reading *readings,
                      size_t count, const struct pack_work *work) {
    for (size_t i = 0; i < count; i++) {
        assert(isfinite(readings[i].value));
        assert(day_pack_day(readings[i].time_ms) == label->day);
        assert(i == 0 || readings[i].time_ms > readings[i - 1].time_ms);
        work->times[i] = readings[i].time_ms - readings[0].time_ms;
        work->values[i] = readings[i].value;
    }
}

static size_t write_all(const struct day_pack_label *label, const struct head *head,
                        const struct pack_work *work, const unsigned char *origins,
                        unsigned char *bytes) {
    struct byte_writer output = {bytes, 0};
    put_head(&output, head, origins);
    struct bit_writer writer = {.bytes = bytes + output.size};
    if (!head->times.is_foretold)
        day_pack_write_tracked(&head->times, work->times + 1, head->count - 1, &writer);
    if (!head->numbers.is_foretold)
        day_pack_write_tracked(&head->numbers, work->numbers, head->count, &writer);
    if (!head->corrections.is_foretold)
        day_pack_write_plain(&head->corrections, work->corrections, head->count, &writer);
    output.size += bit_finish(&writer);
    byte_put_check(&output, label);
    return output.size;
}

enum day_pack_status day_pack_encode(const struct day_pack_label *label,
                                     const struct reading *readings, const unsigned char *origins,
                                     size_t count, unsigned char *bytes, size_t *size) {
    struct pack_work work;
    assert(count >= 1 && count <= DAY_PACK_READINGS_MAX);
    if (!make_work(&work, count)) {
        free_work(&work);
        return DAY_PACK_OUT_OF_MEMORY;
    }
    fill_work(label, readings, count, &work);
    struct head head = {.count = count,
                        .first_ms = readings[0].time_ms - label->day * DAY_PACK_DAY_MS,
                        .origin = origins_differ(origins, count) ? ORIGIN_RUNS : origins[0],
                        .times = {.is_foretold = true}};
    if (count > 1)
        day_pack_plan_times(work.times, count, &head.times);
    struct day_pack_values values = {.numbers = work.numbers, .corrections = work.corrections};
    day_pack_plan_values(work.values, count, &values);
    head.form = values.form;
    head.numbers = values.number_stream;
    head.corrections = values.correction_stream;
    *size = write_all(label, &head, &work, origins, bytes);
    free_work(&work);
    return DAY_PACK_OK;
}

/* ---- decoding ---- */

static unsigned get_width(struct byte_reader *input) {
    uint64_t width = byte_get(input);
    input->is_bad = input->is_bad || width > BIT_CODE_WIDTH_MAX;
    return input->is_bad ? 0 : (unsigned)width;
}

static void get_runs(struct byte_reader *input, unsigned char *origins, size_t count) {
    for (size_t i = 0; i < count && !input->is_bad;) {
        size_t length = (size_t)byte_get_varint(input, count - i);
        uint64_t origin = byte_get(input);
        input->is_bad = input->is_bad || length == 0 || origin > DAY_PACK_ORIGIN_MAX;
        if (!input->is_bad && origins)
            memset(origins + i, (int)origin, length);
        i += length;
    }
}

static void get_form(struct byte_reader *input, struct head *head) {
    unsigned byte = byte_get(input);
    struct value_form *form = &head->form;
    unsigned kind = byte & 3;
    input->is_bad = input->is_bad || byte & 128 || kind >= VALUE_FORM_COUNT;
    form->kind = kind < VALUE_FORM_COUNT ? (enum value_form_kind)kind : VALUE_FORM_PLAIN;
    head->numbers.is_foretold = byte & 4 || form->kind == VALUE_FORM_PLAIN;
    head->corrections.is_foretold = byte & 8;
    head->numbers.track.gain = byte >> 4 & 7;
    if (form->kind == VALUE_FORM_DECIMAL) {
        form->unit = (unsigned)byte_get(input);
        form->decimals = (unsigned)byte_get(input);
        form->base = byte_get_folded(input, VALUE_FORM_NUMBER_MAX);
        form->divisor = (int64_t)byte_get_varint(input, (uint64_t)VALUE_FORM_NUMBER_MAX);
        input->is_bad = input->is_bad || form->unit >= value_form_units() ||
                        form->decimals > VALUE_FORM_DECIMALS_MAX || form->divisor < 1;
    } else if (form->kind == VALUE_FORM_LATTICE) {
        form->start = byte_get_double(input);
        form->step = byte_get_double(input);
        input->is_bad = input->is_bad || !(form->step > 0);
    }
    if (form->kind != VALUE_FORM_PLAIN)
        head->numbers.track.at = byte_get_folded(input, VALUE_FORM_NUMBER_MAX) * 16;
    if (!head->numbers.is_foretold)
        head->numbers.width = get_width(input);
    if (!head->corrections.is_foretold)
        head->corrections.width = get_width(input);
}

static void get_head(struct byte_reader *input, struct head *head, unsigned char *origins) {
    byte_get(input);
    head->count = (size_t)byte_get_varint(input, DAY_PACK_READINGS_MAX);
    head->first_ms = (int64_t)byte_get_varint(input, DAY_PACK_DAY_MS - 1);
    unsigned byte = byte_get(input);
    input->is_bad = input->is_bad || head->count < 1 || byte >> 6 != 0;
    head->origin = byte & 3;
    head->times.is_foretold = byte & 4 || head->count < 2;
    head->times.track.gain = byte >> 3 & 7;
    if (head->count > 1)
        head->times.track.step = (int64_t)byte_get_varint(input, 16 * (uint64_t)DAY_PACK_DAY_MS);
    if (!head->times.is_foretold)
        head->times.width = get_width(input);
    if (head->origin == ORIGIN_RUNS)
        get_runs(input, origins, head->count);
    else if (!input->is_bad && origins)
        memset(origins, (int)head->origin, head->count);
    get_form(input, head);
}

static int64_t wrapping_sum(int64_t a, int64_t b) {
    int64_t sum;
    (void)__builtin_add_overflow(a, b, &sum);
    return sum;
}

/* Reads one tracked number; false when it lies outside least … most. */
static bool get_tracked(struct bit_code *code, struct bit_reader *reader,
                        struct day_pack_track *track, bool is_foretold, int64_t least, int64_t most,
                        int64_t *number) {
    int64_t difference = is_foretold ? 0 : bit_code_read(code, reader);
    *number = wrapping_sum(day_pack_foretell(track), difference);
    if (*number < least || *number > most)
        return false;
    day_pack_follow(track, *number, code->escaped);
    return true;
}

static bool get_times(const struct head *head, int64_t day, struct bit_reader *reader,
                      struct reading *readings) {
    struct day_pack_track track = head->times.track;
    struct bit_code code;
    bit_code_begin(&code, head->times.width);
    int64_t start_ms = day * DAY_PACK_DAY_MS + head->first_ms, time = 0;
    readings[0].time_ms = start_ms;
    for (size_t i = 1; i < head->count; i++) {
        if (!get_tracked(&code, reader, &track, head->times.is_foretold, time + 1,
                         DAY_PACK_DAY_MS - 1 - head->first_ms, &time))
            return false;
        readings[i].time_ms = start_ms + time;
    }
    return true;
}

static bool get_numbers(const struct head *head, struct bit_reader *reader,
                        struct reading *readings) {
    if (head->form.kind == VALUE_FORM_PLAIN)
        return true;
    struct day_pack_track track = head->numbers.track;
    struct bit_code code;
    bit_code_begin(&code, head->numbers.width);
    for (size_t i = 0; i < head->count; i++) {
        int64_t number;
        if (!get_tracked(&code, reader, &track, head->numbers.is_foretold, -VALUE_FORM_NUMBER_MAX,
                         VALUE_FORM_NUMBER_MAX, &number))
            return false;
        readings[i].value = value_form_value(&head->form, number);
    }
    return true;
}

static bool get_corrections(const struct head *head, struct bit_reader *reader,
                            struct reading *readings) {
    struct bit_code code;
    bit_code_begin(&code, head->corrections.width);
    double before = 0.0;
    for (size_t i = 0; i < head->count; i++) {
        if (head->form.kind != VALUE_FORM_PLAIN)
            before = readings[i].value;
        int64_t correction = head->corrections.is_foretold ? 0 : bit_code_read(&code, reader);
        before = value_form_corrected(before, correction);
        if (!isfinite(before))
            return false;
        readings[i].value = before;
    }
    return true;
}

enum day_pack_status day_pack_count(const unsigned char *bytes, size_t size, size_t *count) {
    if (size == 0 || (bytes[0] & MAGIC_MASK) != (MAGIC_AND_VERSION & MAGIC_MASK))
        return DAY_PACK_DAMAGED;
    if (bytes[0] != MAGIC_AND_VERSION)
        return DAY_PACK_NEWER;
    struct byte_reader input = {.bytes = bytes, .size = size, .at = 1};
    uint64_t number = byte_get_varint(&input, DAY_PACK_READINGS_MAX);
    if (input.is_bad || number < 1)
        return DAY_PACK_DAMAGED;
    *count = (size_t)number;
    return DAY_PACK_OK;
}

enum day_pack_status day_pack_decode(const struct day_pack_label *label, const unsigned char *bytes,
                                     size_t size, struct reading *readings,
                                     unsigned char *origins) {
    size_t count;
    enum day_pack_status status = day_pack_count(bytes, size, &count);
    if (status != DAY_PACK_OK)
        return status;
    const int64_t days_max = INT64_MAX / DAY_PACK_DAY_MS - 1;
    if (!byte_check_is_right(label, bytes, size) || label->day > days_max || label->day < -days_max)
        return DAY_PACK_DAMAGED;
    struct head head = {0};
    struct byte_reader input = {.bytes = bytes, .size = size - BYTE_CODE_CHECK_BYTES};
    get_head(&input, &head, origins);
    if (input.is_bad)
        return DAY_PACK_DAMAGED;
    struct bit_reader reader = {input.bytes + input.at, input.size - input.at, 0};
    bool is_right = get_times(&head, label->day, &reader, readings) &&
                    get_numbers(&head, &reader, readings) &&
                    get_corrections(&head, &reader, readings) && bit_reader_is_within(&reader) &&
                    (reader.position + 7) / 8 == reader.size;
    return is_right ? DAY_PACK_OK : DAY_PACK_DAMAGED;
}
