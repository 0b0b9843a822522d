#include "failing_vfs.h"

#include <fcntl.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define SECTOR 512
#define SHADOWS 16

/* ---- what a power cut leaves ---- */

struct shadow {
    char name[300];
    unsigned char *synced, *now;
    size_t synced_size, now_size;
};

static struct shadow shadows[SHADOWS];
static bool shadowing;

static struct shadow *shadow_of(const char *name) {
    struct shadow *empty = NULL;
    if (!shadowing || !name)
        return NULL;
    for (size_t i = 0; i < SHADOWS; i++) {
        if (strcmp(shadows[i].name, name) == 0)
            return &shadows[i];
        if (!empty && !shadows[i].name[0])
            empty = &shadows[i];
    }
    if (!empty)
        abort();
    snprintf(empty->name, sizeof empty->name, "%s", name);
    FILE *file = fopen(name, "rb"); /* what is there when it is first seen counts as synced */
    if (file) {
        fseek(file, 0, SEEK_END);
        long size = ftell(file);
        rewind(file);
        empty->now = malloc((size_t)size + 1);
        empty->synced = malloc((size_t)size + 1);
        if (!empty->now || !empty->synced)
            abort();
        empty->now_size = empty->synced_size = fread(empty->now, 1, (size_t)size, file);
        memcpy(empty->synced, empty->now, empty->now_size);
        fclose(file);
    }
    return empty;
}

static void shadow_resize(struct shadow *shadow, size_t size) {
    unsigned char *grown = realloc(shadow->now, size + 1);
    if (!grown)
        abort();
    if (size > shadow->now_size)
        memset(grown + shadow->now_size, 0, size - shadow->now_size);
    shadow->now = grown;
    shadow->now_size = size;
}

static void shadow_write(const char *name, const void *bytes, size_t length, size_t offset) {
    struct shadow *shadow = shadow_of(name);
    if (!shadow)
        return;
    if (offset + length > shadow->now_size)
        shadow_resize(shadow, offset + length);
    memcpy(shadow->now + offset, bytes, length);
}

static void shadow_truncate(const char *name, size_t size) {
    struct shadow *shadow = shadow_of(name);
    if (shadow)
        shadow_resize(shadow, size);
}

static void shadow_sync(const char *name) {
    struct shadow *shadow = shadow_of(name);
    if (!shadow)
        return;
    unsigned char *copy = realloc(shadow->synced, shadow->now_size + 1);
    if (!copy)
        abort();
    if (shadow->now_size > 0)
        memcpy(copy, shadow->now, shadow->now_size);
    shadow->synced = copy;
    shadow->synced_size = shadow->now_size;
}

static void shadow_delete(const char *name) {
    struct shadow *shadow = shadow_of(name);
    if (!shadow)
        return;
    free(shadow->now);
    free(shadow->synced);
    *shadow = (struct shadow){.name = ""};
}

void failing_vfs_start_shadows(void) {
    failing_vfs_stop_shadows();
    shadowing = true;
}

void failing_vfs_stop_shadows(void) {
    for (size_t i = 0; i < SHADOWS; i++) {
        free(shadows[i].now);
        free(shadows[i].synced);
        shadows[i] = (struct shadow){.name = ""};
    }
    shadowing = false;
}

static bool coin(uint64_t *random) {
    *random = *random * 6364136223846793005ULL + 1442695040888963407ULL;
    return (*random >> 63) != 0;
}

static void write_cut(const struct shadow *shadow, const char *path, uint64_t *random) {
    /* The length is either the synced one or the new one; sectors in between are a coin each. */
    size_t size = coin(random) ? shadow->now_size : shadow->synced_size;
    FILE *file = fopen(path, "wb");
    if (!file)
        abort();
    for (size_t at = 0; at < size; at += SECTOR) {
        unsigned char sector[SECTOR] = {0};
        size_t length = size - at < SECTOR ? size - at : SECTOR;
        bool fresh = coin(random);
        const unsigned char *bytes = fresh ? shadow->now : shadow->synced;
        size_t have = fresh ? shadow->now_size : shadow->synced_size;
        if (at < have)
            memcpy(sector, bytes + at, have - at < length ? have - at : length);
        fwrite(sector, 1, length, file);
    }
    fclose(file);
}

void failing_vfs_cut(const char *folder, uint64_t *random) {
    for (size_t i = 0; i < SHADOWS; i++) {
        if (!shadows[i].name[0])
            continue;
        char path[8192];
        const char *slash = strrchr(shadows[i].name, '/');
        snprintf(path, sizeof path, "%s/%s", folder, slash ? slash + 1 : shadows[i].name);
        write_cut(&shadows[i], path, random);
    }
}

/* ---- failing ---- */

static struct {
    unsigned kinds;
    long left;
    int code;
    bool lasting, fired;
} plan;

void failing_vfs_arm(unsigned kinds, long n, int code, bool lasting) {
    plan.kinds = n > 0 ? kinds : 0;
    plan.left = n;
    plan.code = code;
    plan.lasting = lasting;
    plan.fired = false;
}

bool failing_vfs_fired(void) {
    return plan.fired;
}

static bool fails(unsigned kind) {
    if (!(plan.kinds & kind))
        return false;
    if (plan.fired)
        return plan.lasting;
    if (--plan.left > 0)
        return false;
    plan.fired = true;
    return true;
}

struct file {
    sqlite3_file base;
    const char *name;
    sqlite3_file *real;
};

static sqlite3_file *real_of(sqlite3_file *file) {
    return ((struct file *)file)->real;
}

static int file_close(sqlite3_file *file) {
    struct file *own = (struct file *)file;
    int code = own->real->pMethods ? own->real->pMethods->xClose(own->real) : SQLITE_OK;
    sqlite3_free(own->real);
    own->real = NULL;
    return code;
}

static int file_read(sqlite3_file *file, void *bytes, int length, sqlite3_int64 offset) {
    if (fails(FAIL_READ))
        return plan.code;
    return real_of(file)->pMethods->xRead(real_of(file), bytes, length, offset);
}

static int file_write(sqlite3_file *file, const void *bytes, int length, sqlite3_int64 offset) {
    if (fails(FAIL_WRITE)) {
        if ((plan.code & 0xff) == SQLITE_FULL && length > 1) { /* a part still fitted */
            real_of(file)->pMethods->xWrite(real_of(file), bytes, length / 2, offset);
            shadow_write(((struct file *)file)->name, bytes, (size_t)length / 2, (size_t)offset);
        }
        return plan.code;
    }
    int code = real_of(file)->pMethods->xWrite(real_of(file), bytes, length, offset);
    if (code == SQLITE_OK)
        shadow_write(((struct file *)file)->name, bytes, (size_t)length, (size_t)offset);
    return code;
}

static int file_truncate(sqlite3_file *file, sqlite3_int64 size) {
    if (fails(FAIL_TRUNCATE))
        return plan.code;
    shadow_truncate(((struct file *)file)->name, (size_t)size);
    return real_of(file)->pMethods->xTruncate(real_of(file), size);
}

static int file_sync(sqlite3_file *file, int flags) {
    if (fails(FAIL_SYNC))
        return plan.code;
    (void)flags;
    shadow_sync(((struct file *)file)->name);
    return SQLITE_OK; /* no test outlives the system, so the disk itself need not be waited for */
}

static int file_size(sqlite3_file *file, sqlite3_int64 *size) {
    if (fails(FAIL_SIZE))
        return plan.code;
    return real_of(file)->pMethods->xFileSize(real_of(file), size);
}
static int file_lock(sqlite3_file *file, int lock) {
    if (fails(FAIL_LOCK))
        return plan.code;
    return real_of(file)->pMethods->xLock(real_of(file), lock);
}
static int file_unlock(sqlite3_file *file, int lock) {
    return real_of(file)->pMethods->xUnlock(real_of(file), lock);
}
static int file_check_lock(sqlite3_file *file, int *out) {
    return real_of(file)->pMethods->xCheckReservedLock(real_of(file), out);
}
static int file_control(sqlite3_file *file, int operation, void *argument) {
    return real_of(file)->pMethods->xFileControl(real_of(file), operation, argument);
}
static int file_sector_size(sqlite3_file *file) {
    (void)file;
    return SECTOR;
}
static int file_characteristics(sqlite3_file *file) {
    (void)file;
    return 0; /* no promise, so that SQLite takes every care */
}
static int file_shm_map(sqlite3_file *file, int page, int size, int extend,
                        void volatile **address) {
    if (fails(FAIL_SHARED))
        return plan.code;
    return real_of(file)->pMethods->xShmMap(real_of(file), page, size, extend, address);
}
static int file_shm_lock(sqlite3_file *file, int offset, int n, int flags) {
    if ((flags & SQLITE_SHM_LOCK) && fails(FAIL_SHARED)) /* giving a lock back never fails */
        return plan.code;
    return real_of(file)->pMethods->xShmLock(real_of(file), offset, n, flags);
}
static void file_shm_barrier(sqlite3_file *file) {
    real_of(file)->pMethods->xShmBarrier(real_of(file));
}
static int file_shm_unmap(sqlite3_file *file, int delete_flag) {
    return real_of(file)->pMethods->xShmUnmap(real_of(file), delete_flag);
}

static const sqlite3_io_methods methods = {2,
                                           file_close,
                                           file_read,
                                           file_write,
                                           file_truncate,
                                           file_sync,
                                           file_size,
                                           file_lock,
                                           file_unlock,
                                           file_check_lock,
                                           file_control,
                                           file_sector_size,
                                           file_characteristics,
                                           file_shm_map,
                                           file_shm_lock,
                                           file_shm_barrier,
                                           file_shm_unmap,
                                           NULL,
                                           NULL};

static sqlite3_vfs *real_vfs(sqlite3_vfs *vfs) {
    return vfs->pAppData;
}

static int vfs_open(sqlite3_vfs *vfs, const char *name, sqlite3_file *file, int flags, int *out) {
    struct file *own = (struct file *)file;
    own->base.pMethods = NULL;
    if (fails(FAIL_OPEN))
        return plan.code;
    own->real = sqlite3_malloc(real_vfs(vfs)->szOsFile);
    if (!own->real)
        return SQLITE_NOMEM;
    memset(own->real, 0, (size_t)real_vfs(vfs)->szOsFile);
    own->name = name;
    shadow_of(name);
    int code = real_vfs(vfs)->xOpen(real_vfs(vfs), name, own->real, flags, out);
    if (code != SQLITE_OK) {
        if (own->real->pMethods)
            own->real->pMethods->xClose(own->real);
        sqlite3_free(own->real);
        return code;
    }
    own->base.pMethods = &methods;
    return SQLITE_OK;
}

static int vfs_access(sqlite3_vfs *vfs, const char *name, int flags, int *out) {
    if (fails(FAIL_ACCESS))
        return plan.code;
    return real_vfs(vfs)->xAccess(real_vfs(vfs), name, flags, out);
}

static int vfs_delete(sqlite3_vfs *vfs, const char *name, int sync) {
    if (fails(FAIL_DELETE))
        return plan.code;
    shadow_delete(name);
    return real_vfs(vfs)->xDelete(real_vfs(vfs), name, sync);
}

void failing_vfs_register(void) {
    static sqlite3_vfs vfs;
    if (vfs.zName)
        return;
    sqlite3_vfs *real = sqlite3_vfs_find(NULL);
    vfs = *real;
    vfs.pNext = NULL;
    vfs.zName = FAILING_VFS;
    vfs.szOsFile = sizeof(struct file);
    vfs.pAppData = real;
    vfs.xOpen = vfs_open;
    vfs.xDelete = vfs_delete;
    vfs.xAccess = vfs_access;
    sqlite3_vfs_register(&vfs, 0);
}
