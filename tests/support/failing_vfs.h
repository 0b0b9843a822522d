/*
 * failing_vfs: an SQLite VFS over the real one that fails the n-th call of chosen kinds with a
 * chosen code, and that can remember what a power cut would leave: only what was synced.
 */
#ifndef FAILING_VFS_H
#define FAILING_VFS_H

#include <stdbool.h>
#include <stdint.h>

#define FAILING_VFS "failing"

enum {
    FAIL_OPEN = 1,
    FAIL_READ = 2,
    FAIL_WRITE = 4,
    FAIL_SYNC = 8,
    FAIL_TRUNCATE = 16,
    FAIL_DELETE = 32,
    FAIL_SIZE = 64,
    FAIL_ACCESS = 128,
    FAIL_LOCK = 256,   /* of the file */
    FAIL_SHARED = 512, /* memory of the log: mapping it, locking it */
    FAIL_EVERYTHING = 1023
};

/** Registers the VFS under FAILING_VFS; more calls do nothing. */
void failing_vfs_register(void);

/**
 * From now on the n-th call (1: the next) of the kinds in `kinds` gives `code`; with `lasting` all
 * after it too. n = 0 fails nothing. Counts begin anew.
 */
void failing_vfs_arm(unsigned kinds, long n, int code, bool lasting);

/** Has the chosen call come? */
bool failing_vfs_fired(void);

/**
 * Power cut: from `start` on, every file of the VFS is shadowed. `failing_vfs_cut` puts into
 * `folder` what the disk would hold: each file as last synced, plus a random part (in units of 512
 * bytes, drawn from *random) of what was written since. Files never synced come with what was
 * drawn of them.
 */
void failing_vfs_start_shadows(void);
void failing_vfs_cut(const char *folder, uint64_t *random);
void failing_vfs_stop_shadows(void);

#endif
