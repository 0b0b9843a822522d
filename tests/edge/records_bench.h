/*
 * records_bench: an open store in a folder of its own, for tests of its tables.
 */
#ifndef RECORDS_BENCH_H
#define RECORDS_BENCH_H

#include "measure/timestamp.h"
#include "store/records.h"
#include "store_support.h"
#include "test_support.h"

static const char *folder;

static struct store *store;

static inline void set_up(void) {
    folder = store_test_folder();
    store = store_test_open(store_test_path(folder, "s.db"), NULL);
}

static inline void tear_down(void) {
    store_close(store);
    store_test_remove(folder);
}

/* ---- bounded tables ---- */

struct seen {
    int rows;
    int64_t count, first_ms, last_ms;
    char topic[2000], reason[50];
    char example[3000];
    size_t example_length;
};

#endif
