/*
 * test_support: what every Check test shares. A test program lists its cases in a TCase and ends
 * with `return run_test_case(tcase);`, which runs it, prints each failure and closes with the line
 * `N passed, N failed` that tests/run.sh adds up.
 */
#ifndef TEST_SUPPORT_H
#define TEST_SUPPORT_H

#include <check.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

/* A check that holds writes nothing: one call of the system for each costs more than what is
 * tested. */
#undef ck_assert_msg
#define ck_assert_msg(expr, ...)                                                                   \
    ((expr) ? (void)0                                                                              \
            : _ck_assert_failed(__FILE__, __LINE__, "Assertion '" #expr "' failed", __VA_ARGS__))

/** A text holds a part, or doesn't; else the test fails with both. */
#define SAYS(text, wanted)                                                                         \
    ck_assert_msg(strstr(text, wanted) != NULL, "no \"%s\" in: %s", wanted, text)
#define SAYS_NOT(text, unwanted)                                                                   \
    ck_assert_msg(strstr(text, unwanted) == NULL, "\"%s\" in: %s", unwanted, text)

/** Runs one TCase (takes it over) and returns main's exit status. */
int run_test_case(TCase *tcase);

/** Runs several TCases (takes them over) and returns main's exit status. */
int run_test_cases(TCase *const tcases[], size_t count);

/**
 * The seed of this run's random tests: the environment's TEST_SEED, else the time. Printed once, so
 * that a failure can be repeated.
 */
uint64_t test_seed(void);

/** A small pseudo-random generator (splitmix64), so that a seed gives the same run everywhere. */
struct test_random {
    uint64_t state;
};
uint64_t test_random_next(struct test_random *random);
/** 0 to limit - 1. */
size_t test_random_below(struct test_random *random, size_t limit);
/** Uniform in [0, 1). */
double test_random_unit(struct test_random *random);
/** Standard normal (Box-Muller). */
double test_random_normal(struct test_random *random);

/** Whole content of a file, null-terminated; the caller frees. Fails the test when unreadable. */
char *test_read_file(const char *path, size_t *length);

#endif
