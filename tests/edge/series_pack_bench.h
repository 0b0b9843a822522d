/*
 * series_pack_bench: a store of a test of packing, and what its tests ask of it. Functions in a
 * header, because only programs that link the store can use them.
 */
#ifndef SERIES_PACK_BENCH_H
#define SERIES_PACK_BENCH_H

#include "failing_vfs.h"
#include "pack/day_pack.h"
#include "store/verify.h"
#include "store_support.h"
#include "test_support.h"

#define DAY_MS DAY_PACK_DAY_MS

#define HOUR_MS INT64_C(3600000)

#define INTERVAL_MS 600000

static const char *folder, *path;

static inline void set_up(void) {
    folder = store_test_folder();
    path = store_test_path(folder, "subslab.db");
}

static inline void tear_down(void) {
    store_test_remove(folder);
}

static inline int pack(struct store *store, int64_t before_ms, int most) {
    int packed;
    ck_assert_int_eq(series_pack(store, before_ms, most, &packed), STORE_OK);
    return packed;
}

static inline int pack_all(struct store *store, int64_t before_ms) {
    int sum = 0, packed;
    do {
        packed = pack(store, before_ms, 500);
        sum += packed;
    } while (packed > 0);
    return sum;
}

static inline enum series_append append(struct store *store, int64_t key, int64_t time_ms,
                                        double value, bool certainly_new) {
    struct reading reading = {time_ms, value};
    enum series_append result;
    ck_assert_int_eq(
        series_append(store, key, &reading, SERIES_FROM_SENSOR, certainly_new, &result), STORE_OK);
    return result;
}

static inline int64_t ask(const char *sql) {
    return store_test_ask(path, sql);
}

#endif
