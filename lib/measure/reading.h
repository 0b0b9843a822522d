/*
 * reading: one measured value at one instant.
 */
#ifndef MEASURE_READING_H
#define MEASURE_READING_H

#include <stdint.h>

struct reading {
    int64_t time_ms; /* event time: when it was measured */
    double value;    /* SI */
};

#endif
