/*
 * tool_survival: estimates of survival for tests/reference/check_survival.py.
 *
 * Standard input, any number of times: "n age" and n lines "entry end failed". Standard output, one
 * line of JSON each: status, share, lower, upper, at_risk.
 */
#include "analysis/survival.h"

#include <stdio.h>
#include <stdlib.h>

int main(void) {
    size_t n = 0;
    double age = 0.0;
    while (scanf("%zu %lf", &n, &age) == 2) {
        struct survival_life *lives = calloc(n + 1, sizeof *lives);
        struct survival result = {0};
        for (size_t i = 0; lives && i < n; i++) {
            int failed = 0;
            if (scanf("%lf %lf %d", &lives[i].entry, &lives[i].end, &failed) != 3)
                return EXIT_FAILURE;
            lives[i].failed = failed != 0;
        }
        if (!lives)
            return EXIT_FAILURE;
        int status = (int)survival_sort(lives, n);
        if (status == SURVIVAL_OK)
            status = (int)survival_at(lives, n, age, &result);
        printf("{\"status\":%d,\"share\":%.17g,\"lower\":%.17g,\"upper\":%.17g,\"at_risk\":%zu}\n",
               status, result.share, result.lower, result.upper, result.at_risk);
        free(lives);
    }
    return EXIT_SUCCESS;
}
