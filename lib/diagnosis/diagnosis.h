/*
 * diagnosis: what is wrong with a system, from measured values against those of commissioning.
 *
 * Every possible cause says what it would do to suction, air flow, fan power, the pressure field,
 * and radon: the fan laws, a fan curve that falls with flow, and the ground law p = K Q^n, with the
 * degree of the fault, the fan's shape and the exponent left open where they are not known
 * (diagnosis_signature). The cause that predicts the measured values best, over all those open
 * numbers, has the highest confidence. A sensor that is missing is simply not compared, so with few
 * sensors several causes stay level and the answer is a short list; the sensor whose prediction
 * differs most between the first two is named as the one that would decide.
 *
 * Confidence is a probability under that model, capped by how many independent measurements there
 * are (one: 0.6, two: 0.85, three: 0.93, more: 0.97), because no model is the house.
 *
 * Pure: no I/O, no clock, no allocation. SI units. Missing values are NaN.
 */
#ifndef DIAGNOSIS_DIAGNOSIS_H
#define DIAGNOSIS_DIAGNOSIS_H

#include "analysis/fan.h"
#include "measure/quantity.h"
#include "measure/unit.h"

#include <stdbool.h>
#include <stddef.h>

enum diagnosis_cause {
    CAUSE_NONE = 0,          /* nothing but the usual variation */
    CAUSE_FAN_OFF,           /* off, without power, or seized */
    CAUSE_FAN_WORN,          /* runs slower than at commissioning */
    CAUSE_LEAK,              /* before the fan: joint, sump lid, slab opening */
    CAUSE_BLOCKED_BEFORE,    /* before the gauge: water in a low spot, soil, a crushed tile */
    CAUSE_BLOCKED_DISCHARGE, /* after the gauge: ice, a nest, a low spot between gauge and fan */
    CAUSE_GAUGE_TUBE,        /* tube of the suction gauge off, blocked or leaking; gauge at fault */
    CAUSE_FIELD_LOST,        /* pressure field lost at one or more test holes only */
    CAUSE_RADON_ENTRY,       /* new entry path, or the radon monitor at fault */
    CAUSE_UNIT_MIX_UP,       /* a sensor reports in another unit than before */
    CAUSE_SENSOR_FAULT,      /* flow or power sensor at fault */
    CAUSE_WATER_HIGH,        /* water in the sump or drain tile above its limit */
    CAUSE_UNKNOWN,           /* what is measured fits none of these */
    CAUSE_COUNT
};

/** "fan-worn": for JSON and tables. */
const char *diagnosis_cause_word(enum diagnosis_cause cause);
/** "fan slower than at commissioning": for people. */
const char *diagnosis_cause_text(enum diagnosis_cause cause);

#define DIAGNOSIS_HOLES_MAX 16
#define DIAGNOSIS_CAUSES_MAX 3
#define DIAGNOSIS_EVIDENCE_MAX 20
#define DIAGNOSIS_SENTENCE_BYTES 240
#define DIAGNOSIS_LIST_MAX 8

/** One measured thing. Medians or means over the time being judged, not a single reading. */
struct diagnosis_signal {
    double now, baseline;        /* SI; NaN: no such sensor, no reading or no baseline */
    double relative_uncertainty; /* of now / baseline; NaN or 0: the usual of its kind */
    bool silent;                 /* there is a sensor, but it has fallen silent (now is NaN) */
};

struct diagnosis_hole {
    const char *name; /* borrowed; what people call the hole */
    struct diagnosis_signal field;
};

/** Start from diagnosis_input_empty() and fill in what there is. */
struct diagnosis_input {
    enum unit_system units; /* for the sentences */
    struct diagnosis_signal suction, flow, power, radon;
    struct diagnosis_hole holes[DIAGNOSIS_HOLES_MAX];
    size_t hole_count;
    const struct fan_curve *curve;                  /* NULL: not known */
    double loss_after_gauge;                        /* Pa per (m3/s)^2, 0 when not known */
    double ground_exponent;                         /* NaN: not known */
    double outdoor_celsius, outdoor_lowest_celsius; /* now; lowest of the last days */
    double outdoor_baseline_celsius, indoor_celsius;
    int month;               /* 1 to 12 where it matters in the northern half; 0: not known */
    double humidity_percent; /* outdoors; with frost it is what makes ice */
    double water_level_m, water_limit_m;
    double change_span_days; /* how long the change took to come: 0.1 sudden, 60 slow */
    double since_days;       /* how long it has stood */
    bool implausible; /* asked because of a reading that can't be true or matches another unit */
    bool
        refused; /* asked because of readings refused as impossible: the others say nothing of it */
    double
        speed_per_year; /* sure slope of the fan's daily speed ratio (analysis/wear); NaN: none */
    bool alarm_stands; /* asked because an alarm stands: then "nothing" is less likely beforehand */
};

/** Everything missing. */
struct diagnosis_input diagnosis_input_empty(enum unit_system units);

struct diagnosis_candidate {
    enum diagnosis_cause cause;
    double confidence; /* 0 to 1 */
};

struct diagnosis {
    enum diagnosis_cause cause; /* the first candidate */
    double confidence;
    struct diagnosis_candidate candidates[DIAGNOSIS_CAUSES_MAX]; /* most likely first */
    size_t candidate_count;                                      /* 1 to 3 */
    enum quantity
        culprit;        /* the sensor meant by tube, unit and sensor causes; else QUANTITY_COUNT */
    double unit_factor; /* of a unit mix-up, NaN else */
    enum quantity deciding_sensor; /* missing and would decide; QUANTITY_COUNT: none */
    size_t measurements;           /* independent measurements compared */
    struct fan_speed_ratio speed;  /* valid when has_speed */
    bool has_speed;
    char evidence[DIAGNOSIS_EVIDENCE_MAX][DIAGNOSIS_SENTENCE_BYTES];
    size_t evidence_count;
    const char *check[DIAGNOSIS_LIST_MAX]; /* what to check first; static text */
    size_t check_count;
    const char *bring[DIAGNOSIS_LIST_MAX]; /* what to bring; static text */
    size_t bring_count;
};

/**
 * Judges one system. Always gives an answer: CAUSE_NONE when all is as usual, CAUSE_UNKNOWN with
 * confidence 0 when nothing can be compared. `input` is only read.
 */
void diagnosis_make(const struct diagnosis_input *input, struct diagnosis *diagnosis);

#endif
