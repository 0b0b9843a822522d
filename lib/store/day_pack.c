/* Writing and reading the format that stands in day_pack.h; how to write best is day_pack_plan.c.
 */
#include "store/day_pack.h"

#include "store/day_pack_track.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define MAGIC_AND_VERSION 0xD1
#define MAGIC_MASK 0xF0
#define ORIGIN_RUNS 3
#define CHECK_BYTES 4

int64_t day_pack_day(int64_t time_ms) {
    int64_t day = time_ms / DAY_PACK_DAY_MS;
    return time_ms % DAY_PACK_DAY_MS < 0 ? day - 1 : day;
}

size_t day_pack_bound(size_t count) {
    /* Head, then per reading three codes and a run of origins. */
    return 128 + count * (3 * BIT_CODE_BITS_MAX / 8 + 1 + 2);
}

/* ---- bytes ---- */

struct output {
    unsigned char *bytes;
    size_t size;
};

static void put_byte(struct output *output, unsigned byte) {
    output->bytes[output->size++] = (unsigned char)byte;
}

static void put_varint(struct output *output, uint64_t number) {
    for (; number >= 128; number >>= 7)
        put_byte(output, (unsigned)(number & 127) | 128);
    put_byte(output, (unsigned)number);
}

static void put_folded(struct output *output, int64_t number) {
    put_varint(output, (uint64_t)number << 1 ^ (number < 0 ? UINT64_MAX : 0));
}

static void put_fixed(unsigned char *bytes, uint64_t number, unsigned size) {
    for (unsigned i = 0; i < size; i++)
        bytes[i] = (unsigned char)(number >> 8 * i);
}

static void put_double(struct output *output, double number) {
    uint64_t bits;
    memcpy(&bits, &number, sizeof bits);
    put_fixed(output->bytes + output->size, bits, 8);
    output->size += 8;
}

struct input {
    const unsigned char *bytes;
    size_t size, at;
    bool is_bad; /* went on behind the end, or a number has no sense; then all that follows is 0 */
};

static uint64_t get_byte(struct input *input) {
    if (input->is_bad || input->at >= input->size) {
        input->is_bad = true;
        return 0;
    }
    return input->bytes[input->at++];
}

static uint64_t get_varint(struct input *input, uint64_t most) {
    uint64_t number = 0;
    for (unsigned shift = 0; shift < 63; shift += 7) {
        uint64_t byte = get_byte(input);
        number |= (byte & 127) << shift;
        if (byte < 128) {
            input->is_bad = input->is_bad || number > most;
            return input->is_bad ? 0 : number;
        }
    }
    input->is_bad = true;
    return 0;
}

/* A folded number within plus and minus VALUE_FORM_NUMBER_MAX. */
static int64_t get_folded(struct input *input) {
    uint64_t folded = get_varint(input, 2 * (uint64_t)VALUE_FORM_NUMBER_MAX);
    int64_t half = (int64_t)(folded >> 1);
    return folded & 1 ? -half - 1 : half;
}

static uint64_t get_fixed(struct input *input, unsigned size) {
    uint64_t number = 0;
    for (unsigned i = 0; i < size; i++)
        number |= get_byte(input) << 8 * i;
    return number;
}

static double get_double(struct input *input) {
    uint64_t bits = get_fixed(input, 8);
    double number;
    memcpy(&number, &bits, sizeof number);
    input->is_bad = input->is_bad || !isfinite(number);
    return number;
}

static uint32_t check_sum(const struct day_pack_label *label, const unsigned char *bytes,
                          size_t size) {
    unsigned char words[16];
    put_fixed(words, (uint64_t)label->point, 8);
    put_fixed(words + 8, (uint64_t)label->day, 8);
    return bit_code_crc32(bit_code_crc32(0, words, sizeof words), bytes, size);
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

static void put_runs(struct output *output, const unsigned char *origins, size_t count) {
    for (size_t i = 0; i < count;) {
        size_t end = i + 1;
        while (end < count && origins[end] == origins[i])
            end++;
        put_varint(output, end - i);
        put_byte(output, origins[i]);
        i = end;
    }
}

static void put_form(struct output *output, const struct head *head) {
    const struct value_form *form = &head->form;
    put_byte(output, (unsigned)form->kind | (head->numbers.is_foretold ? 4U : 0) |
                         (head->corrections.is_foretold ? 8U : 0) | head->numbers.track.gain << 4);
    if (form->kind == VALUE_FORM_DECIMAL) {
        put_byte(output, form->unit);
        put_byte(output, form->decimals);
        put_folded(output, form->base);
        put_varint(output, (uint64_t)form->divisor);
    } else if (form->kind == VALUE_FORM_LATTICE) {
        put_double(output, form->start);
        put_double(output, form->step);
    }
    if (form->kind != VALUE_FORM_PLAIN)
        put_folded(output, head->numbers.track.at / 16);
    if (!head->numbers.is_foretold)
        put_byte(output, head->numbers.width);
    if (!head->corrections.is_foretold)
        put_byte(output, head->corrections.width);
}

static void put_head(struct output *output, const struct head *head, const unsigned char *origins) {
    put_byte(output, MAGIC_AND_VERSION);
    put_varint(output, head->count);
    put_varint(output, (uint64_t)head->first_ms);
    put_byte(output,
             head->origin | (head->times.is_foretold ? 4U : 0) | head->times.track.gain << 3);
    if (head->count > 1)
        put_varint(output, (uint64_t)head->times.track.step);
    if (!head->times.is_foretold)
        put_byte(output, head->times.width);
    if (head->origin == ORIGIN_RUNS)
        put_runs(output, origins, head->count);
    put_form(output, head);
}

/* Room for what is worked out about each reading. */
struct work {
    int64_t *times, *numbers, *corrections;
    double *values;
};

static bool make_work(struct work *work, size_t count) {
    work->times = malloc(count * sizeof *work->times);
    work->numbers = malloc(count * sizeof *work->numbers);
    work->corrections = malloc(count * sizeof *work->corrections);
    work->values = malloc(count * sizeof *work->values);
    return work->times && work->numbers && work->corrections && work->values;
}

static void free_work(const struct work *work) {
    free(work->times);
    free(work->numbers);
    free(work->corrections);
    free(work->values);
}

static void fill_work(const struct day_pack_label *label, const struct reading *readings,
                      size_t count, const struct work *work) {
    for (size_t i = 0; i < count; i++) {
        assert(isfinite(readings[i].value));
        assert(day_pack_day(readings[i].time_ms) == label->day);
        assert(i == 0 || readings[i].time_ms > readings[i - 1].time_ms);
        work->times[i] = readings[i].time_ms - readings[0].time_ms;
        work->values[i] = readings[i].value;
    }
}

static size_t write_all(const struct day_pack_label *label, const struct head *head,
                        const struct work *work, const unsigned char *origins,
                        unsigned char *bytes) {
    struct output output = {bytes, 0};
    put_head(&output, head, origins);
    struct bit_writer writer = {.bytes = bytes + output.size};
    if (!head->times.is_foretold)
        day_pack_write_tracked(&head->times, work->times + 1, head->count - 1, &writer);
    if (!head->numbers.is_foretold)
        day_pack_write_tracked(&head->numbers, work->numbers, head->count, &writer);
    if (!head->corrections.is_foretold)
        day_pack_write_plain(&head->corrections, work->corrections, head->count, &writer);
    size_t size = output.size + bit_finish(&writer);
    put_fixed(bytes + size, check_sum(label, bytes, size), CHECK_BYTES);
    return size + CHECK_BYTES;
}

enum day_pack_status day_pack_encode(const struct day_pack_label *label,
                                     const struct reading *readings, const unsigned char *origins,
                                     size_t count, unsigned char *bytes, size_t *size) {
    struct work work;
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

static unsigned get_width(struct input *input) {
    uint64_t width = get_byte(input);
    input->is_bad = input->is_bad || width > BIT_CODE_WIDTH_MAX;
    return input->is_bad ? 0 : (unsigned)width;
}

static void get_runs(struct input *input, unsigned char *origins, size_t count) {
    for (size_t i = 0; i < count && !input->is_bad;) {
        size_t length = (size_t)get_varint(input, count - i);
        uint64_t origin = get_byte(input);
        input->is_bad = input->is_bad || length == 0 || origin > DAY_PACK_ORIGIN_MAX;
        if (!input->is_bad && origins)
            memset(origins + i, (int)origin, length);
        i += length;
    }
}

static void get_form(struct input *input, struct head *head) {
    uint64_t byte = get_byte(input);
    struct value_form *form = &head->form;
    unsigned kind = byte & 3;
    input->is_bad = input->is_bad || byte & 128 || kind >= VALUE_FORM_COUNT;
    form->kind = kind < VALUE_FORM_COUNT ? (enum value_form_kind)kind : VALUE_FORM_PLAIN;
    head->numbers.is_foretold = byte & 4 || form->kind == VALUE_FORM_PLAIN;
    head->corrections.is_foretold = byte & 8;
    head->numbers.track.gain = byte >> 4 & 7;
    if (form->kind == VALUE_FORM_DECIMAL) {
        form->unit = (unsigned)get_byte(input);
        form->decimals = (unsigned)get_byte(input);
        form->base = get_folded(input);
        form->divisor = (int64_t)get_varint(input, (uint64_t)VALUE_FORM_NUMBER_MAX);
        input->is_bad = input->is_bad || form->unit >= value_form_units() ||
                        form->decimals > VALUE_FORM_DECIMALS_MAX || form->divisor < 1;
    } else if (form->kind == VALUE_FORM_LATTICE) {
        form->start = get_double(input);
        form->step = get_double(input);
        input->is_bad = input->is_bad || !(form->step > 0);
    }
    if (form->kind != VALUE_FORM_PLAIN)
        head->numbers.track.at = get_folded(input) * 16;
    if (!head->numbers.is_foretold)
        head->numbers.width = get_width(input);
    if (!head->corrections.is_foretold)
        head->corrections.width = get_width(input);
}

static void get_head(struct input *input, struct head *head, unsigned char *origins) {
    get_byte(input);
    head->count = (size_t)get_varint(input, DAY_PACK_READINGS_MAX);
    head->first_ms = (int64_t)get_varint(input, DAY_PACK_DAY_MS - 1);
    uint64_t byte = get_byte(input);
    input->is_bad = input->is_bad || head->count < 1 || byte >> 6 != 0;
    head->origin = byte & 3;
    head->times.is_foretold = byte & 4 || head->count < 2;
    head->times.track.gain = byte >> 3 & 7;
    if (head->count > 1)
        head->times.track.step = (int64_t)get_varint(input, 16 * (uint64_t)DAY_PACK_DAY_MS);
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
    struct input input = {.bytes = bytes, .size = size, .at = 1};
    uint64_t number = get_varint(&input, DAY_PACK_READINGS_MAX);
    if (input.is_bad || number < 1)
        return DAY_PACK_DAMAGED;
    *count = (size_t)number;
    return DAY_PACK_OK;
}

static bool check_is_right(const struct day_pack_label *label, const unsigned char *bytes,
                           size_t size) {
    if (size < CHECK_BYTES)
        return false;
    struct input check = {.bytes = bytes + size - CHECK_BYTES, .size = CHECK_BYTES};
    return get_fixed(&check, CHECK_BYTES) == check_sum(label, bytes, size - CHECK_BYTES);
}

enum day_pack_status day_pack_decode(const struct day_pack_label *label, const unsigned char *bytes,
                                     size_t size, struct reading *readings,
                                     unsigned char *origins) {
    size_t count;
    enum day_pack_status status = day_pack_count(bytes, size, &count);
    if (status != DAY_PACK_OK)
        return status;
    const int64_t days_max = INT64_MAX / DAY_PACK_DAY_MS - 1;
    if (!check_is_right(label, bytes, size) || label->day > days_max || label->day < -days_max)
        return DAY_PACK_DAMAGED;
    struct head head = {0};
    struct input input = {.bytes = bytes, .size = size - CHECK_BYTES};
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
