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
 * A fan that holds its suction takes the speed that does so, up to the most that it has (several
 * are tried): short of it a blockage and a leak show in flow and power alone, at it also in
 * suction. A hole at which several fans pull follows this one by a share of it (several are tried).
 *
 * Spreads, ranges and priors: reasoning from fan and system curves, no source. Pure.
 */
#ifndef DIAGNOSIS_DIAGNOSIS_SIGNATURE_H
#define DIAGNOSIS_DIAGNOSIS_SIGNATURE_H

#include "diagnosis/diagnosis.h"

/** A ratio to commissioning as measured. NaN: not measured. */
struct signature_measured {
    double ratio;
    double relative;         /* standard uncertainty, relative to the ratio */
    double absolute;         /* standard uncertainty in the ratio at zero: offset over baseline */
    const struct unit *unit; /* that the sensor's numbers are taken for; NULL: not known */
};

struct signature_evidence {
    struct signature_measured suction, flow, power, radon;
    struct signature_measured holes[DIAGNOSIS_HOLES_MAX];
    double hole_stack[DIAGNOSIS_HOLES_MAX]; /* what the stack effect takes off a hole at most, over
                                               its value at commissioning */
    bool hole_shared[DIAGNOSIS_HOLES_MAX];  /* other fans pull there as well */
    double hole_turn[DIAGNOSIS_HOLES_MAX];  /* what a house pulls whose exhaust draws hard, over the
                                               hole's value at commissioning */
    size_t hole_count;
    double ground_spread;          /* of ln K without a fault, between then and now */
    const struct fan_curve *curve; /* NULL: not known */
    double base_flow_m3_s;         /* NaN: from the curve and base_suction_pa */
    double base_suction_pa;
    double draft; /* of a riser whose fan stands, over base_suction_pa; NaN or below 0: none */
    double loss_after_gauge; /* Pa per (m3/s)^2; not above 0: not known */
    double usual_loss;       /* the same, of a pipe of this bore; NaN: not known */
    bool holds_suction;      /* by its control, as far as its speed goes */
    bool creeping;           /* found by its slope: degrees down to next to nothing count */
    double ground_exponent;  /* NaN: 1 to 2 */
};

/** What a cause predicts on average, for choosing the sensor that would decide. */
struct signature_expectation {
    double suction, flow, power, field;
};

struct signature_result {
    double posterior[CAUSE_COUNT];                      /* sums to 1 */
    struct signature_expectation expected[CAUSE_COUNT]; /* given the measurements */
    enum quantity culprit[CAUSE_COUNT]; /* the sensor of the likeliest row; QUANTITY_COUNT: none */
    const struct unit *declared, *sent; /* of the likeliest unit row, else NULL */
};

/** `prior`: weight of each cause before measuring, any scale, none negative. */
void signature_judge(const struct signature_evidence *evidence, const double prior[CAUSE_COUNT],
                     struct signature_result *result);

#endif
