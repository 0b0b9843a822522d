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
 * A wrong cause sends somebody out with the wrong parts, and costs more than none: a cause is
 * claimed only when it is sure enough, else the two or three that are sure enough together, else
 * none.
 *
 * Pure: no I/O, no clock, no allocation. SI units. Missing values are NaN.
 */
#ifndef DIAGNOSIS_DIAGNOSIS_H
#define DIAGNOSIS_DIAGNOSIS_H

#include "analysis/fan.h"
#include "diagnosis/diagnosis_cause.h"
#include "diagnosis/diagnosis_fact.h"
#include "measure/quantity.h"
#include "measure/unit.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define DIAGNOSIS_HOLES_MAX 16
#define DIAGNOSIS_CAUSES_MAX 3
#define DIAGNOSIS_EVIDENCE_MAX 20
#define DIAGNOSIS_LIST_MAX 8

/** One measured thing. Medians or means over the time being judged, not a single reading. */
struct diagnosis_signal {
    double now, baseline;        /* SI; NaN: no such sensor, no reading or no baseline */
    double relative_uncertainty; /* of now / baseline; NaN or 0: the usual of its kind */
    bool silent;                 /* there is a sensor, but it has fallen silent (now is NaN) */
    double before;  /* what this sensor itself showed before the change; it counts instead of the
                       baseline. Not above 0: not known */
    double scatter; /* standard deviation of that from day to day; not above 0: not known */
    const struct unit *unit; /* that its numbers are taken for; NULL: not known */
};

struct diagnosis_hole {
    const char *name; /* borrowed; what people call the hole */
    struct diagnosis_signal field;
    bool shared; /* several fans pull at it, and nobody knows which of them how much */
};

/** The riser that is meant, with its fan. */
struct diagnosis_riser {
    const char *branch;            /* borrowed: its name where there are several, else NULL */
    const struct fan_curve *curve; /* NULL: not known */
    bool holds_suction;      /* by its control, as far as its speed goes, which tells nothing */
    double loss_after_gauge; /* Pa per (m3/s)^2, 0 when not known */
    double pipe_inside_diameter_m; /* not above 0: not known */
};

/** Why a diagnosis is asked for. */
struct diagnosis_occasion {
    bool implausible;    /* a reading that can't be true or matches another unit */
    bool other_unit;     /* a sensor that says nothing of the system, such as a thermometer: its
                            readings match another unit */
    bool refused;        /* readings refused as impossible: the others say nothing of it */
    enum quantity alone; /* of that one sensor; QUANTITY_COUNT: the system is asked about */
    bool about_speed;    /* the fan is told to be slower */
    bool about_radon;    /* radon stands higher than a season explains */
    bool alarm_stands;   /* then "nothing" is less likely beforehand */
};

/** Start from diagnosis_input_empty() and fill in what there is. */
struct diagnosis_input {
    struct diagnosis_riser riser;
    struct diagnosis_signal suction, flow, power, radon;
    struct diagnosis_hole holes[DIAGNOSIS_HOLES_MAX];
    size_t hole_count;
    double ground_exponent;                         /* NaN: not known */
    double outdoor_celsius, outdoor_lowest_celsius; /* now; lowest of the last days */
    double outdoor_baseline_celsius, indoor_celsius;
    int month;               /* 1 to 12 where it matters in the northern half; 0: not known */
    double humidity_percent; /* of the air that the fan draws from; damp air makes more ice */
    bool roof_discharge;     /* the pipe ends in the cold above a roof, not low on a wall */
    double stack_height_m;   /* from the slab to where warm air leaves the house */
    double air_pressure_pa;  /* of a barometer, or of the standard atmosphere there */
    double draft_pa;         /* what the riser would pull without a fan in this weather, at most */
    double water_level_m, water_limit_m;
    double water_rise_m;     /* above where it stood before the change */
    int last_year_month;     /* when it was much the same a year ago and passed; 0: it was not */
    double change_span_days; /* how long the change took to come: 0.1 sudden, 60 slow */
    double since_days;       /* how long it has stood */
    double
        speed_per_year; /* sure slope of the fan's daily speed ratio (analysis/wear); NaN: none */
    struct diagnosis_occasion asked;
};

/** Everything missing. */
struct diagnosis_input diagnosis_input_empty(void);

struct diagnosis_candidate {
    enum diagnosis_cause cause;
    double confidence; /* 0 to 1 */
};

struct diagnosis {
    enum diagnosis_cause cause; /* the first candidate */
    double confidence;
    struct diagnosis_candidate candidates[DIAGNOSIS_CAUSES_MAX]; /* most likely first */
    size_t candidate_count;                                      /* 1 to 3 */
    size_t claim_count; /* of these, from the first: 1 it is this one, 2 or 3 one of these, 0 can't
                           be told; always 0 where nothing is wrong or nothing fits */
    enum quantity
        culprit; /* the sensor meant by tube, unit and sensor causes; else QUANTITY_COUNT */
    const struct unit *declared, *sent; /* of a unit mix-up whose units are known, else NULL */
    enum quantity deciding_sensor;      /* missing and would decide; QUANTITY_COUNT: none */
    size_t measurements;                /* independent measurements compared */
    struct fan_speed_ratio speed;       /* valid when has_speed */
    bool has_speed;
    bool frost; /* it froze outdoors these days, or may have where nobody measures it */
    struct diagnosis_fact evidence[DIAGNOSIS_EVIDENCE_MAX];
    size_t evidence_count;
    enum visit_item check[DIAGNOSIS_LIST_MAX]; /* what to check first */
    size_t check_count;
    enum visit_item bring[DIAGNOSIS_LIST_MAX];
    size_t bring_count;
};

/**
 * Judges one system. Always gives an answer: CAUSE_NONE when all is as usual, CAUSE_UNKNOWN with
 * confidence 0 when nothing can be compared. `input` is only read.
 */
void diagnosis_make(const struct diagnosis_input *input, struct diagnosis *diagnosis);

/** What the houses around did while this one changed; changes are logarithms of ratios. */
struct diagnosis_neighbours {
    enum quantity quantity;
    const char *region; /* its name, borrowed */
    size_t houses;
    int64_t days;
    double own, theirs, uncertainty; /* standard, of theirs */
};
/**
 * Adds to the evidence whether the neighbours changed as well: shared when theirs goes the same
 * way, is surely not 0 (two standard uncertainties), and is a third of its own. It changes no
 * cause: what is shared is told, and a level of radon counts whatever others have. Nothing for a
 * change of less than 5 %.
 */
void diagnosis_tell_neighbours(struct diagnosis *diagnosis,
                               const struct diagnosis_neighbours *neighbours);

#endif
