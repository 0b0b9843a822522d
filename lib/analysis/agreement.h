/*
 * agreement: do two results of the same thing agree, each within what it says of its own
 * uncertainty? The E_n number of ISO 13528 (and ISO/IEC 17043, B.3.1.3), from memory:
 *
 *     E_n = |a - b| / sqrt(U_a^2 + U_b^2),   U = 2 u (expanded, k = 2);   they agree up to 1.
 *
 * Pure.
 */
#ifndef ANALYSIS_AGREEMENT_H
#define ANALYSIS_AGREEMENT_H

#include <stdbool.h>

/** E_n of two values and their standard uncertainties, all in one unit; NaN when both are exact. */
double agreement_number(double a, double uncertainty_a, double b, double uncertainty_b);

/** True up to E_n = 1; exact values agree when they are the same. */
bool agreement_holds(double a, double uncertainty_a, double b, double uncertainty_b);

#endif
