/*
 * day_pack_track: what day_pack.c and day_pack_plan.c share: foretelling the next number, and the
 * choices a pack is written with. Private to day_pack.
 */
#ifndef PACK_DAY_PACK_TRACK_H
#define PACK_DAY_PACK_TRACK_H

#include "pack/bit_code.h"
#include "pack/value_form.h"

#define DAY_PACK_GAIN_MAX 7

/* See day_pack.h. All in sixteenths. */
struct day_pack_track {
    int64_t at, step;
    unsigned gain;
};

static inline int64_t day_pack_foretell(const struct day_pack_track *track) {
    return (track->at + track->step + 8) >> 4;
}

static inline void day_pack_follow(struct day_pack_track *track, int64_t came, bool escaped) {
    int64_t foretold = track->at + track->step;
    track->at = escaped || track->gain == 0 ? came * 16
                                            : foretold + ((came * 16 - foretold) >> track->gain);
}

/* How one row of numbers is written. */
struct day_pack_stream {
    struct day_pack_track track; /* before the first */
    unsigned width;              /* first width */
    bool is_foretold;            /* every difference is 0: nothing is written */
    size_t bits;
};

/** Writes or, without bytes, counts. */
void day_pack_write_tracked(const struct day_pack_stream *stream, const int64_t *numbers,
                            size_t count, struct bit_writer *writer);
void day_pack_write_plain(const struct day_pack_stream *stream, const int64_t *numbers,
                          size_t count, struct bit_writer *writer);

/** The best of a few ways. `times` are from the first (0); at least two. */
void day_pack_plan_times(const int64_t *times, size_t count, struct day_pack_stream *stream);

struct day_pack_values {
    struct value_form form;
    int64_t *numbers;     /* count of them, the caller's room */
    int64_t *corrections; /* the same */
    struct day_pack_stream number_stream, correction_stream;
};

/** The best form of `values`, with its numbers, corrections and streams. */
void day_pack_plan_values(const double *values, size_t count, struct day_pack_values *plan);

#endif
