#include "clock.h"

#include <time.h>

static int64_t read_ms(clockid_t which) {
    struct timespec time;
    clock_gettime(which, &time);
    return (int64_t)time.tv_sec * 1000 + time.tv_nsec / 1000000;
}

int64_t clock_wall_ms(void) {
    return read_ms(CLOCK_REALTIME);
}

bool clock_is_set(int64_t wall_ms) {
    const int64_t program_made_ms = INT64_C(1767225600000); /* 2026-01-01: no earlier run */
    return wall_ms >= program_made_ms;
}

int64_t clock_monotonic_ms(void) {
    return read_ms(CLOCK_BOOTTIME);
}
