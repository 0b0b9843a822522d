#include "host/clock.h"

#include "measure/duration.h"

#include <sys/stat.h>
#include <time.h>

static int64_t read_ms(clockid_t which) {
    struct timespec time;
    clock_gettime(which, &time);
    return (int64_t)time.tv_sec * 1000 + time.tv_nsec / 1000000;
}

int64_t clock_wall_ms(void) {
    return read_ms(CLOCK_REALTIME);
}

/* systemd-timesyncd touches this file at each synchronisation, some 34 minutes apart at most. */
bool clock_is_synchronised(int64_t wall_ms) {
    struct stat file;
    if (stat("/run/systemd/timesync/synchronized", &file) != 0)
        return false;
    int64_t age_ms = wall_ms - (int64_t)file.st_mtim.tv_sec * 1000;
    return age_ms >= 0 && age_ms < DURATION_HOUR_MS;
}

int64_t clock_processor_ms(void) {
    return read_ms(CLOCK_PROCESS_CPUTIME_ID);
}

int64_t clock_monotonic_ms(void) {
    return read_ms(CLOCK_BOOTTIME);
}
