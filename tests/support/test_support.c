#include "test_support.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

int run_test_cases(TCase *const tcases[], size_t count) {
    Suite *suite = suite_create("subslabd");
    for (size_t i = 0; i < count; i++) {
        tcase_set_timeout(tcases[i], 120);
        suite_add_tcase(suite, tcases[i]);
    }
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int ran = srunner_ntests_run(runner), failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    printf("%d passed, %d failed\n", ran - failed, failed);
    return failed == 0 && ran > 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}

int run_test_case(TCase *tcase) {
    TCase *const tcases[] = {tcase};
    return run_test_cases(tcases, 1);
}

uint64_t test_seed(void) {
    static uint64_t seed;
    if (seed)
        return seed;
    const char *given = getenv("TEST_SEED");
    seed = given ? strtoull(given, NULL, 10) : (uint64_t)time(NULL);
    printf("TEST_SEED=%llu\n", (unsigned long long)seed);
    fflush(stdout);
    return seed;
}

uint64_t test_random_next(struct test_random *random) {
    uint64_t z = (random->state += 0x9E3779B97F4A7C15ULL);
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9ULL;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBULL;
    return z ^ (z >> 31);
}

size_t test_random_below(struct test_random *random, size_t limit) {
    return (size_t)(test_random_next(random) % limit);
}

double test_random_unit(struct test_random *random) {
    return (double)(test_random_next(random) >> 11) * 0x1.0p-53;
}

double test_random_normal(struct test_random *random) {
    double u = 1.0 - test_random_unit(random), v = test_random_unit(random);
    return sqrt(-2.0 * log(u)) * cos(2.0 * 3.14159265358979323846 * v);
}

char *test_read_file(const char *path, size_t *length) {
    FILE *file = fopen(path, "rb");
    ck_assert_msg(file != NULL, "cannot read %s", path);
    fseek(file, 0, SEEK_END);
    long size = ftell(file);
    rewind(file);
    char *bytes = malloc((size_t)size + 1);
    ck_assert_ptr_nonnull(bytes);
    size_t got = fread(bytes, 1, (size_t)size, file);
    fclose(file);
    ck_assert_uint_eq(got, (size_t)size);
    bytes[got] = '\0';
    if (length)
        *length = got;
    return bytes;
}
