#include "analysis/agreement.h"
#include "measure/root_sum.h"

#include <math.h>

static const double coverage_factor = 2.0;

double agreement_number(double a, double uncertainty_a, double b, double uncertainty_b) {
    double expanded = coverage_factor * root_sum(uncertainty_a, uncertainty_b);
    return expanded > 0.0 ? fabs(a - b) / expanded : NAN;
}

bool agreement_holds(double a, double uncertainty_a, double b, double uncertainty_b) {
    double number = agreement_number(a, uncertainty_a, b, uncertainty_b);
    return isnan(number) ? a == b : number <= 1.0;
}
