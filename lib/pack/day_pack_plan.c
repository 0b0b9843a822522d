/*
 * day_pack_plan: which way of writing a day takes fewest bits. Each way is tried by counting; long
 * days are judged by their beginning. Nothing here matters to a reader of packs.
 */
#include "pack/day_pack_track.h"

#include <stdlib.h>
#include <string.h>

#define TRIED_MAX 2048 /* numbers that a way is judged by */
#define STEP_SAMPLES 63

/* ---- streams ---- */

void day_pack_write_tracked(const struct day_pack_stream *stream, const int64_t *numbers,
                            size_t count, struct bit_writer *writer) {
    struct day_pack_track track = stream->track;
    struct bit_code code;
    bit_code_begin(&code, stream->width);
    for (size_t i = 0; i < count; i++) {
        bit_code_write(&code, writer, numbers[i] - day_pack_foretell(&track));
        day_pack_follow(&track, numbers[i], code.escaped);
    }
}

void day_pack_write_plain(const struct day_pack_stream *stream, const int64_t *numbers,
                          size_t count, struct bit_writer *writer) {
    struct bit_code code;
    bit_code_begin(&code, stream->width);
    for (size_t i = 0; i < count; i++)
        bit_code_write(&code, writer, numbers[i]);
}

typedef void write_stream(const struct day_pack_stream *stream, const int64_t *numbers,
                          size_t count, struct bit_writer *writer);

static size_t count_bits(const struct day_pack_stream *stream, const int64_t *numbers, size_t count,
                         write_stream *write) {
    struct bit_writer writer = {0};
    write(stream, numbers, count, &writer);
    return writer.bits;
}

/* The first width by trying: fewer bits in one direction, then on until it gets worse. */
static void plan_width(struct day_pack_stream *stream, const int64_t *numbers, size_t count,
                       write_stream *write) {
    size_t tried = count < TRIED_MAX ? count : TRIED_MAX;
    stream->bits = count_bits(stream, numbers, tried, write);
    for (int direction = -1; direction <= 1; direction += 2) {
        for (;;) {
            struct day_pack_stream other = *stream;
            int width = (int)stream->width + direction;
            if (width < 0 || width > BIT_CODE_WIDTH_MAX)
                break;
            other.width = (unsigned)width;
            other.bits = count_bits(&other, numbers, tried, write);
            if (other.bits >= stream->bits)
                break;
            *stream = other;
        }
    }
}

/* ---- times ---- */

static int by_size(const void *a, const void *b) {
    int64_t x = *(const int64_t *)a, y = *(const int64_t *)b;
    return (x > y) - (x < y);
}

static int64_t usual_step(const int64_t *times, size_t count) {
    int64_t steps[STEP_SAMPLES];
    size_t taken = count - 1 < STEP_SAMPLES ? count - 1 : STEP_SAMPLES;
    for (size_t i = 0; i < taken; i++) {
        size_t at = i * (count - 1) / taken;
        steps[i] = times[at + 1] - times[at];
    }
    qsort(steps, taken, sizeof steps[0], by_size);
    return steps[taken / 2];
}

/* Mean of the steps near the usual one, in sixteenths: gaps do not count. */
static int64_t mean_step(const int64_t *times, size_t count, int64_t usual) {
    int64_t sum = 0, number = 0;
    for (size_t i = 1; i < count; i++) {
        int64_t step = times[i] - times[i - 1];
        if (step < usual / 2 || step > usual + usual / 2)
            continue;
        sum += step;
        number++;
    }
    return number ? (sum * 16 + number / 2) / number : usual * 16;
}

static bool is_foretold(const struct day_pack_stream *stream, const int64_t *numbers,
                        size_t count) {
    struct day_pack_track track = stream->track;
    for (size_t i = 0; i < count; i++) {
        if (numbers[i] != day_pack_foretell(&track))
            return false;
        day_pack_follow(&track, numbers[i], false);
    }
    return true;
}

void day_pack_plan_times(const int64_t *times, size_t count, struct day_pack_stream *stream) {
    static const unsigned gains[] = {0, 2, 4};
    int64_t usual = usual_step(times, count);
    const int64_t steps[] = {usual * 16, mean_step(times, count, usual)};
    *stream = (struct day_pack_stream){.track = {0, steps[0], 0}};
    stream->is_foretold = is_foretold(stream, times + 1, count - 1);
    if (stream->is_foretold)
        return;
    stream->bits = SIZE_MAX;
    for (size_t s = 0; s < 2; s++) {
        for (size_t g = 0; g < sizeof gains / sizeof gains[0]; g++) {
            struct day_pack_stream other = {.track = {0, steps[s], gains[g]},
                                            .width = stream->bits == SIZE_MAX ? 8 : stream->width};
            plan_width(&other, times + 1, count - 1, day_pack_write_tracked);
            if (other.bits < stream->bits)
                *stream = other;
        }
    }
}

/* ---- values ---- */

static void plan_numbers(const int64_t *numbers, size_t count, struct day_pack_stream *stream) {
    static const unsigned gains[] = {0, 1, 2, 3, 5};
    int64_t sum = 0;
    size_t first = count < 16 ? count : 16;
    for (size_t i = 0; i < first; i++)
        sum += numbers[i] / (int64_t)first;
    *stream = (struct day_pack_stream){.track = {numbers[0] * 16, 0, 0}};
    stream->is_foretold = is_foretold(stream, numbers, count);
    if (stream->is_foretold) {
        stream->bits = 0;
        return;
    }
    stream->bits = SIZE_MAX;
    for (size_t g = 0; g < sizeof gains / sizeof gains[0]; g++) {
        struct day_pack_stream other = {
            .track = {(gains[g] < 2 ? numbers[0] : sum) * 16, 0, gains[g]},
            .width = stream->bits == SIZE_MAX ? 2 : stream->width};
        plan_width(&other, numbers, count, day_pack_write_tracked);
        if (other.bits < stream->bits)
            *stream = other;
    }
    stream->bits = count_bits(stream, numbers, count, day_pack_write_tracked);
}

static void plan_corrections(const int64_t *corrections, size_t count,
                             struct day_pack_stream *stream) {
    *stream = (struct day_pack_stream){.is_foretold = true};
    for (size_t i = 0; i < count && stream->is_foretold; i++)
        stream->is_foretold = corrections[i] == 0;
    if (stream->is_foretold)
        return;
    plan_width(stream, corrections, count, day_pack_write_plain);
    stream->width = stream->width < 40 ? stream->width : 40;
    stream->bits = count_bits(stream, corrections, count, day_pack_write_plain);
}

static void follow_form(const double *values, size_t count, struct day_pack_values *plan) {
    const struct value_form *form = &plan->form;
    double before = 0.0;
    for (size_t i = 0; i < count; i++) {
        if (form->kind != VALUE_FORM_PLAIN) {
            plan->numbers[i] = value_form_number(form, values[i]);
            before = value_form_value(form, plan->numbers[i]);
        }
        plan->corrections[i] = value_form_correction(before, values[i]);
        before = values[i];
    }
    if (form->kind != VALUE_FORM_PLAIN)
        plan_numbers(plan->numbers, count, &plan->number_stream);
    else
        plan->number_stream = (struct day_pack_stream){.is_foretold = true};
    plan_corrections(plan->corrections, count, &plan->correction_stream);
}

void day_pack_plan_values(const double *values, size_t count, struct day_pack_values *plan) {
    struct value_form forms[VALUE_FORM_COUNT];
    size_t found = 0, best_bits = SIZE_MAX, best = 0, last = 0;
    found += value_form_find_decimal(values, count, &forms[found]);
    if (found > 0) {
        plan->form = forms[0];
        follow_form(values, count, plan);
        if (plan->correction_stream.is_foretold)
            return;
    }
    found += value_form_find_lattice(values, count, &forms[found]);
    forms[found++] = (struct value_form){.kind = VALUE_FORM_PLAIN};
    for (size_t i = 0; i < found; i++) {
        plan->form = forms[i];
        follow_form(values, count, plan);
        size_t bits = plan->number_stream.bits + plan->correction_stream.bits;
        last = i;
        if (bits < best_bits) {
            best_bits = bits;
            best = i;
        }
    }
    if (best == last)
        return;
    plan->form = forms[best];
    follow_form(values, count, plan);
}
