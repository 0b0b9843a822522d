/*
 * power_cut: the end of a test that cuts the power of a store on failing_vfs.
 * Functions in a header, because only programs that link the store can use them.
 */
#ifndef POWER_CUT_H
#define POWER_CUT_H

#include "failing_vfs.h"
#include "store_support.h"

#include <sys/stat.h>

/**
 * Puts what the disk would hold into the folder `cut` within `folder`, then closes the store, of
 * which nothing more fails. Returns the folder, which stays valid until the next call.
 */
static inline const char *power_cut(const char *folder, struct store *store, uint64_t *random) {
    static char home[300];
    snprintf(home, sizeof home, "%s", store_test_path(folder, "cut"));
    ck_assert_int_eq(mkdir(home, 0700), 0);
    failing_vfs_cut(home, random);
    failing_vfs_arm(0, 0, 0, false);
    failing_vfs_stop_shadows();
    store_close(store);
    return home;
}

#endif
