/*
 * ground: how hard it is to draw air out of the ground below a slab, and how far the suction
 * reaches.
 *
 * Before the gauge the system follows p = K * Q^n: n = 1 for laminar flow through soil, 2 for
 * turbulent flow through pipe and openings, mixed in between. K rises with a blockage, water or
 * tighter soil and falls with a leak; a change of fan speed leaves it alone. Scale errors common to
 * both days (pipe size, sensor scale) cancel in K/K0 for every n.
 *
 * Pure: no I/O, no clock, no allocation. SI units. Missing values are NaN.
 */
#ifndef ANALYSIS_GROUND_H
#define ANALYSIS_GROUND_H

#include <stddef.h>

/** Results are written only on GROUND_OK. */
enum ground_status {
    GROUND_OK = 0,
    GROUND_INPUT_MISSING, /* a needed value is NaN or infinite */
    GROUND_OUT_OF_RANGE,  /* negative, or an exponent outside 1 to 2 */
    GROUND_TOO_SMALL      /* suction or flow too near zero to divide by */
};

/** A sentence fit for "why" in an answer, without a full stop. Never NULL. */
const char *ground_status_text(enum ground_status status);

struct ground_state {
    double suction_pa; /* at the gauge, positive */
    double flow_m3_s;
};

struct ground_ratio {
    double ratio;        /* 1 at commissioning */
    double lower, upper; /* 95 %; with an unknown exponent also its whole range 1 to 2 */
};

/** Standard uncertainties that differ between the two days. */
struct ground_uncertainty {
    double suction_relative, flow_relative;
    double suction_zero_pa;
    double field_zero_pa; /* zero drift of the instrument at the hole, and weather */
};

/** 0.01, 0.03, 1 Pa, 0.5 Pa: common practice, no source. */
struct ground_uncertainty ground_uncertainty_default(void);

/**
 * K/K0 = (p/p0) / (Q/Q0)^n. Exponent NaN: 1.5, and the interval holds every n from 1 to 2.
 */
enum ground_status ground_resistance_ratio(const struct ground_state *now,
                                           const struct ground_state *then, double exponent,
                                           const struct ground_uncertainty *uncertainty,
                                           struct ground_ratio *result);

/**
 * n of p = K * Q^n through what was measured at several fan settings: least squares of ln p over
 * ln Q. GROUND_INPUT_MISSING with fewer than two; GROUND_TOO_SMALL also where the flows lie within
 * a tenth of each other, from which nothing can be told. What lies outside 1 to 2 by no more than
 * 0.2, as two hand-held instruments make it, is taken as 1 or 2; else GROUND_OUT_OF_RANGE.
 */
enum ground_status ground_exponent_fit(const struct ground_state *settings, size_t count,
                                       double *exponent);

/**
 * Coupling of a test hole: (field / suction) relative to commissioning. Below 1 the hole has lost
 * more than the riser has. The field may be negative (then so is the ratio); its baseline not.
 */
enum ground_status ground_coupling_ratio(double field_pa, double suction_pa, double field_then_pa,
                                         double suction_then_pa,
                                         const struct ground_uncertainty *uncertainty,
                                         struct ground_ratio *result);

/**
 * What a column of warm air pulls at its foot, (rho_o - rho_i) g h with rho = p / (R T): how far a
 * room is below outdoors at `height_m` below its neutral level, and the draft of a riser of that
 * height. Below 0 where it is warmer outdoors. ASHRAE Fundamentals, stack pressure in "Ventilation
 * and Infiltration" and chimney draft (from memory). NaN in, NaN out.
 */
double ground_stack_pressure_pa(double height_m, double inside_celsius, double outdoor_celsius,
                                double air_pressure_pa);

#endif
