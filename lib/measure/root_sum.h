/*
 * root_sum: the root of a sum of squares, as independent uncertainties add up (JCGM 100:2008,
 * 5.1.2). Not hypot of the C library: its last bit is another one where the processor multiplies
 * and adds in one step; a square root is correctly rounded everywhere (IEEE 754-2019, 5.4.1).
 */
#ifndef MEASURE_ROOT_SUM_H
#define MEASURE_ROOT_SUM_H

/** Square root of a^2 + b^2, for sizes from 1e-150 to 1e150. */
double root_sum(double a, double b);

#endif
