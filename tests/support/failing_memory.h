/*
 * failing_memory: lets the n-th allocation of our own code fail, and of SQLite's where it is asked
 * to. For one source of a program that is linked with --wrap (tests/CMakeLists.txt).
 */
#ifndef FAILING_MEMORY_H
#define FAILING_MEMORY_H

#include <stdbool.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

static long allocations_left; /* 0: none fails */
static bool allocation_failed;

/** From now on the n-th allocation (1: the next) fails, and only that. 0: none. */
static inline void failing_memory_arm(long n) {
    allocations_left = n;
    allocation_failed = false;
}

static inline bool allocation_fails(void) {
    if (allocations_left == 0 || --allocations_left > 0)
        return false;
    allocation_failed = true;
    return true;
}

#define WRAPPED(type, name, ...)                                                                   \
    type __real_##name(__VA_ARGS__);                                                               \
    type __wrap_##name(__VA_ARGS__);                                                               \
    type __wrap_##name(__VA_ARGS__)

WRAPPED(void *, malloc, size_t size) {
    return allocation_fails() ? NULL : __real_malloc(size);
}
WRAPPED(void *, calloc, size_t count, size_t size) {
    return allocation_fails() ? NULL : __real_calloc(count, size);
}
WRAPPED(void *, realloc, void *old, size_t size) {
    return allocation_fails() ? NULL : __real_realloc(old, size);
}
WRAPPED(char *, strdup, const char *text) {
    return allocation_fails() ? NULL : __real_strdup(text);
}

#endif
