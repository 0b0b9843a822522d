/*
 * Conversions against published values. NIST SP 811 (2008), "Guide for the Use of the International
 * System of Units", appendix B.8 and B.6, unless a row says otherwise; figures recomputed with GNU
 * units 2.22.
 */
#include "measure/unit.h"
#include "test_support.h"

#include <math.h>
#include <string.h>

#define EXACT 1e-12

static const struct {
    double value;
    const char *unit;
    double si, relative;
    const char *source;
} rows[] = {
    {1, "pCi/L", 37, EXACT, "SP 811 B.8 curie: 1 Ci = 3.7E+10 Bq"},
    {4, "pCi/L", 148, EXACT, "as above"},
    {2, "pCi/L", 74, EXACT, "as above"},
    {2.7, "pCi/L", 99.9, EXACT, "as above"},
    {1.3, "pCi/L", 48.1, EXACT, "as above"},
    {0.4, "pCi/L", 14.8, EXACT, "as above"},
    {2.702703, "pCi/L", 100, 2e-7, "as above, inverse, 6 decimals"},
    {5.405405, "pCi/L", 200, 2e-7, "as above"},
    {8.108108, "pCi/L", 300, 2e-7, "as above"},
    {1, "inH2O", 249.08891, EXACT, "0.0254 m x 1000 kg/m3 x 9.80665 m/s2"},
    {1, "inH2O", 249.0889, 1e-7, "SP 811 B.8 conventional inch of water, 2.490889E+02"},
    {1, "mmH2O", 9.80665, EXACT, "SP 811 B.8"},
    {1, "cmH2O", 98.0665, EXACT, "SP 811 B.8"},
    {1, "ftH2O", 2989.06692, EXACT, "12 inches"},
    {1, "ftH2O", 2989.067, 2e-7, "SP 811 B.8, 2.989067E+03"},
    {1, "inHg", 3386.389, 2e-7, "SP 811 B.8, 3.386389E+03"},
    {1, "inHg", 3386.38864, 1e-9, "GNU units"},
    {1, "mmHg", 133.3224, 2e-7, "SP 811 B.8, 1.333224E+02"},
    {1, "psi", 6894.757, 1e-7, "SP 811 B.8, 6.894757E+03"},
    {1, "psi", 6894.75729317, 1e-11, "GNU units"},
    {1, "bar", 1e5, EXACT, "SP 811 B.8"},
    {1, "mbar", 100, EXACT, "SP 811 B.8"},
    {1, "cfm", 4.719474432e-4, EXACT, "0.3048^3 / 60"},
    {1, "cfm", 4.719474e-4, 2e-7, "SP 811 B.8, 4.719474E-04"},
    {0.4719474432, "L/s", 4.719474432e-4, EXACT, "1 cfm"},
    {1.69901079552, "m3/h", 4.719474432e-4, EXACT, "1 cfm"},
    {2118.880003, "cfm", 1, 1e-9, "1 m3/s, Python"},
    {58.85777787, "cfm", 100.0 / 3600.0, 1e-9, "100 m3/h, Python"},
    {2.118880003, "cfm", 1e-3, 1e-9, "1 L/s, Python"},
    {60, "L/min", 1e-3, EXACT, "definition"},
    {1, "in", 0.0254, EXACT, "SP 811 B.6 (from memory)"},
    {1, "ft", 0.3048, EXACT, "SP 811 B.6 (from memory)"},
    {70, "degF", 21.1111111111, 1e-11, "SP 811 B.8: (t - 32)/1.8; GNU units"},
    {32, "degF", 0, EXACT, "SP 811 B.8"},
    {212, "degF", 100, EXACT, "SP 811 B.8"},
    {-40, "degF", -40, EXACT, "SP 811 B.8"},
    {273.15, "K", 0, EXACT, "SI Brochure, 9th edition (from memory)"},
    {294.15, "K", 21, EXACT, "SI Brochure, 9th edition (from memory)"},
    {1013.25, "hPa", 101325, EXACT, "SP 811 B.8 standard atmosphere (from memory)"},
    {29.92126, "inHg", 101325, 1e-6, "standard atmosphere in inches (from memory)"},
};

START_TEST(conversions_agree_with_published_values) {
    const struct unit *unit = unit_find(rows[_i].unit, strlen(rows[_i].unit));
    double tolerance = rows[_i].relative * fmax(fabs(rows[_i].si), 1e-3);
    if (unit->offset != 0.0) /* relative to the kelvin scale, where a ratio means something */
        tolerance = rows[_i].relative * (fabs(rows[_i].si) + 273.15);
    double si = unit_to_si(unit, rows[_i].value);
    ck_assert_msg(fabs(si - rows[_i].si) <= tolerance, "%g %s: %.15g, %s", rows[_i].value,
                  rows[_i].unit, si, rows[_i].source);
    double back = unit_from_si(unit, rows[_i].si);
    ck_assert_double_eq_tol(back, rows[_i].value,
                            tolerance / unit->scale + 1e-12 * fabs(rows[_i].value));
}
END_TEST

/* The other two published inches of water must not be what "inH2O" means. */
START_TEST(the_inch_of_water_is_the_conventional_one) {
    double si = unit_to_si(unit_find("inH2O", 5), 1.0);
    ck_assert_double_gt(fabs(si - 249.082), 0.006); /* 39.2 degF, SP 811 B.8, 2.49082E+02 */
    ck_assert_double_gt(fabs(si - 248.84), 0.2);    /* 60 degF, SP 811 B.8, 2.4884E+02 */
}
END_TEST

/* RFC 8428 section 12.1, units of the SenML registry: symbol and what it is (from memory). */
START_TEST(senml_symbols_mean_what_the_registry_says) {
    static const struct {
        const char *symbol;
        enum dimension dimension;
        double value, si;
    } symbols[] = {
        {"m", DIMENSION_LENGTH, 1, 1},
        {"A", DIMENSION_CURRENT, 1, 1},
        {"K", DIMENSION_TEMPERATURE, 273.15, 0},
        {"Pa", DIMENSION_PRESSURE, 1, 1},
        {"W", DIMENSION_POWER, 1, 1},
        {"V", DIMENSION_VOLTAGE, 1, 1},
        {"Cel", DIMENSION_TEMPERATURE, 23.1, 23.1},
        {"m3/s", DIMENSION_FLOW, 1, 1},
        {"l/s", DIMENSION_FLOW, 1000, 1},
        {"%", DIMENSION_RATIO, 20, 20},
        {"%RH", DIMENSION_RATIO, 20, 20},
        {"%EL", DIMENSION_RATIO, 98, 98},
        {"/", DIMENSION_RATIO, 0.2, 20},
    };
    for (size_t i = 0; i < sizeof(symbols) / sizeof(symbols[0]); i++) {
        const struct unit *unit = unit_find(symbols[i].symbol, strlen(symbols[i].symbol));
        ck_assert_ptr_nonnull(unit);
        ck_assert_int_eq(unit->dimension, symbols[i].dimension);
        ck_assert_double_eq_tol(unit_to_si(unit, symbols[i].value), symbols[i].si, 1e-12);
    }
}
END_TEST

int main(void) {
    TCase *reference = tcase_create("unit_reference");
    tcase_add_loop_test(reference, conversions_agree_with_published_values, 0,
                        (int)(sizeof(rows) / sizeof(rows[0])));
    tcase_add_test(reference, the_inch_of_water_is_the_conventional_one);
    tcase_add_test(reference, senml_symbols_mean_what_the_registry_says);
    return run_test_case(reference);
}
