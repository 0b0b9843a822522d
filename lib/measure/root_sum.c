#include "measure/root_sum.h"

#include <math.h>

double root_sum(double a, double b) {
    return sqrt(a * a + b * b);
}
