/*
 * diagnosis_signature: the table of what each cause does to the measured values, and how well each
 * cause explains what was measured.
 *
 * Everything is a ratio to commissioning. One row of the table is one way a cause can come about:
 * which lever it moves (fan speed, resistance before the gauge, resistance after the gauge), over
 * what range, what that does to the field and to power, and which sensor misreads. For each degree
 * of the lever the operating point is solved anew, s^2 F(q/s) - d q^2 = k q^n, with the fan's shape
 * F from its curve or, when not known, over several shapes; n over 1, 1.5, 2; and power
 * s^3 (1 - b + b x/x0) over several b, since power of a centrifugal fan rises with flow and that of
 * an axial one does not. A cause's weight is its likelihood averaged over all of these (marginal
 * likelihood), so a cause that explains anything explains nothing well.
 *
 * Spreads, ranges and priors: reasoning from fan and system curves, no source. Pure.
 */
#ifndef DIAGNOSIS_DIAGNOSIS_SIGNATURE_H
#define DIAGNOSIS_DIAGNOSIS_SIGNATURE_H

#include "diagnosis/diagnosis.h"

/** A ratio to commissioning as measured. NaN: not measured. */
struct signature_measured {
    double ratio;
    double relative; /* standard uncertainty, relative to the ratio */
    double absolute; /* standard uncertainty in the ratio at zero: offset over baseline */
};

struct signature_evidence {
    struct signature_measured suction, flow, power, radon;
    struct signature_measured holes[DIAGNOSIS_HOLES_MAX];
    size_t hole_count;
    const struct fan_curve *curve; /* NULL: not known */
    double base_flow_m3_s;         /* NaN: from the curve and base_suction_pa */
    double base_suction_pa;
    double loss_after_gauge;
    double ground_exponent; /* NaN: 1 to 2 */
};

/** What a cause predicts on average, for choosing the sensor that would decide. */
struct signature_expectation {
    double suction, flow, power, field;
};

struct signature_result {
    double posterior[CAUSE_COUNT];                      /* sums to 1 */
    struct signature_expectation expected[CAUSE_COUNT]; /* given the measurements */
    enum quantity culprit[CAUSE_COUNT]; /* the sensor of the likeliest row; QUANTITY_COUNT: none */
    double unit_factor;                 /* of the likeliest unit row; NaN: none */
};

/** `prior`: weight of each cause before measuring, any scale, none negative. */
void signature_judge(const struct signature_evidence *evidence, const double prior[CAUSE_COUNT],
                     struct signature_result *result);

#endif
