/*
 * bench_store: CPU time of one reading on its way to the disk. Appends readings in order of time,
 * all points in turn, in batches with one commit (and its fsync) each, and prints the microseconds
 * of CPU per reading. Arguments: readings points batch [file].
 */
#include "store/series.h"
#include "store/store.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <time.h>
#include <unistd.h>

static double seconds(clockid_t clock) {
    struct timespec now;
    clock_gettime(clock, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

static void must(enum store_status status, struct store *store, const char *what) {
    if (status == STORE_OK)
        return;
    fprintf(stderr, "%s: status %d %s\n", what, status, store ? store_error(store) : "");
    exit(1);
}

static void append_all(struct store *store, const int64_t *keys, long readings, long points,
                       long batch) {
    for (long i = 0; i < readings; i++) {
        if (i % batch == 0)
            must(store_begin(store), store, "begin");
        struct reading reading = {1700000000000 + i / points * 600000 + i % points,
                                  250.0 + (double)(i * 7919 % 1000) / 37.0};
        enum series_append result;
        must(series_append(store, keys[i % points], &reading, SERIES_FROM_SENSOR, true, &result),
             store, "append");
        if (result != SERIES_NEW)
            must(STORE_FAILING, store, "not new");
        if ((i + 1) % batch == 0 || i + 1 == readings)
            must(store_commit(store), store, "commit");
    }
}

static void remove_store(const char *path) {
    static const char *const suffixes[] = {"", "-wal", "-shm", ".lock"};
    char name[300];
    for (size_t i = 0; i < 4; i++) {
        snprintf(name, sizeof name, "%s%s", path, suffixes[i]);
        unlink(name);
    }
}

int main(int argc, char **argv) {
    long readings = argc > 1 ? atol(argv[1]) : 300000, points = argc > 2 ? atol(argv[2]) : 40;
    long batch = argc > 3 ? atol(argv[3]) : 2000;
    const char *path = argc > 4 ? argv[4] : "bench_store.db";
    char why[500] = "", name[40];
    struct store *store = NULL;
    const struct store_options options = {.mode = STORE_READ_WRITE};
    if (readings < 1 || points < 1 || batch < 1 || access(path, F_OK) == 0) {
        fprintf(stderr, "bench_store [readings points batch file]; the file must be new\n");
        return 2;
    }
    must(store_open(path, &options, &store, why, sizeof why), NULL, why);
    int64_t *keys = calloc((size_t)points, sizeof *keys);
    if (!keys)
        return 1;
    must(store_begin(store), store, "begin");
    for (long i = 0; i < points; i++) {
        snprintf(name, sizeof name, "system-%ld", i / 4);
        must(series_key(store, name, (const char *[]){"suction", "radon", "flow", "hole-1"}[i % 4],
                        &keys[i]),
             store, "key");
    }
    must(store_commit(store), store, "commit");
    double cpu = seconds(CLOCK_PROCESS_CPUTIME_ID), wall = seconds(CLOCK_MONOTONIC);
    append_all(store, keys, readings, points, batch);
    cpu = seconds(CLOCK_PROCESS_CPUTIME_ID) - cpu;
    wall = seconds(CLOCK_MONOTONIC) - wall;
    int64_t file_bytes, wal_bytes;
    store_size(store, &file_bytes, &wal_bytes);
    struct rusage usage;
    getrusage(RUSAGE_SELF, &usage);
    store_close(store);
    free(keys);
    printf("%ld readings of %ld points, batches of %ld: %.2f us CPU a reading, %.0f readings/s, "
           "file %.1f MiB, log %.1f MiB, peak memory %ld KiB\n",
           readings, points, batch, 1e6 * cpu / (double)readings, (double)readings / wall,
           (double)file_bytes / 1048576, (double)wal_bytes / 1048576, usage.ru_maxrss);
    remove_store(path);
    return 0;
}
