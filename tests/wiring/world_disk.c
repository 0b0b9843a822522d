#include "world_disk.h"

#include "world.h"

#include <assert.h>
#include <fcntl.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <unistd.h>

enum { SECTOR = 512, FILES = 8, SHARED_REGIONS = 16 };
#define ROOM ((size_t)64 << 20)  /* of addresses for each file */
#define STEP ((size_t)256 << 10) /* by which the real file grows */

/* A sector that was written since the last sync: what the disk holds of it. */
struct sector {
    size_t number;
    bool doomed; /* a sync of it failed: only writing it again helps */
    unsigned char durable[SECTOR];
};

struct disk_file {
    char path[200];
    ino_t inode;
    unsigned char *bytes; /* mapped */
    size_t size, room;    /* the real file has `room` bytes until it is closed */
    size_t durable_size;
    struct sector *dirty;
    size_t dirty_count, dirty_room;
    size_t *place_of; /* sector number to place in dirty + 1; 0: clean */
    size_t place_room;
    void *shared[SHARED_REGIONS];
    int shared_users;
};

struct handle {
    sqlite3_file base;
    struct disk_file *file;
    bool delete_at_close;
};

static struct {
    struct disk_file files[FILES];
    uint64_t calls;
} disk;

/* ---- files ---- */

static void forget(struct disk_file *file) {
    if (file->bytes)
        munmap(file->bytes, ROOM);
    for (size_t i = 0; i < SHARED_REGIONS; i++)
        free(file->shared[i]);
    free(file->dirty);
    free(file->place_of);
    *file = (struct disk_file){.path = ""};
}

static void set_room(struct disk_file *file, size_t room) {
    if (room == file->room)
        return;
    if (truncate(file->path, (off_t)room) != 0)
        abort();
    file->room = room;
}

static struct disk_file *find(const char *path) {
    for (size_t i = 0; i < FILES; i++) {
        if (strcmp(disk.files[i].path, path) == 0)
            return &disk.files[i];
    }
    return NULL;
}

/* The log grows by many megabytes and is read by nobody but SQLite: its real file has the size, for
   who asks the system, and no bytes. */
static unsigned char *map(const char *path, int real) {
    const char *suffix = strrchr(path, '-');
    bool is_log = suffix && strcmp(suffix, "-wal") == 0;
    unsigned char *bytes = is_log ? mmap(NULL, ROOM, PROT_READ | PROT_WRITE,
                                         MAP_PRIVATE | MAP_ANONYMOUS | MAP_NORESERVE, -1, 0)
                                  : mmap(NULL, ROOM, PROT_READ | PROT_WRITE, MAP_SHARED, real, 0);
    assert(bytes != MAP_FAILED);
    if (is_log)
        madvise(bytes, ROOM, MADV_HUGEPAGE); /* few faults; a kernel without them may say no */
    return bytes;
}

/* What is on the real disk when a file is first seen counts as durable. A file that was renamed
   keeps what is known of it. */
static struct disk_file *load(const char *path, int real, const struct stat *info) {
    struct disk_file *file = find(path);
    if (file && file->inode != info->st_ino)
        forget(file);
    for (size_t i = 0; i < FILES; i++) {
        file = &disk.files[i];
        if (file->path[0] && file->inode == info->st_ino) {
            snprintf(file->path, sizeof file->path, "%s", path);
            return file;
        }
    }
    file = find("");
    assert(file);
    snprintf(file->path, sizeof file->path, "%s", path);
    file->inode = info->st_ino;
    file->size = file->room = file->durable_size = (size_t)info->st_size;
    file->bytes = map(path, real);
    return file;
}

/* ---- sectors ---- */

static struct sector *dirty_sector(struct disk_file *file, size_t number) {
    if (number >= file->place_room) {
        size_t room = 2 * number + 64;
        file->place_of = realloc(file->place_of, room * sizeof *file->place_of);
        memset(file->place_of + file->place_room, 0,
               (room - file->place_room) * sizeof *file->place_of);
        file->place_room = room;
    }
    if (file->place_of[number])
        return &file->dirty[file->place_of[number] - 1];
    if (file->dirty_count == file->dirty_room) {
        file->dirty_room = file->dirty_room ? 2 * file->dirty_room : 256;
        file->dirty = realloc(file->dirty, file->dirty_room * sizeof *file->dirty);
    }
    struct sector *sector = &file->dirty[file->dirty_count++];
    file->place_of[number] = file->dirty_count;
    sector->number = number;
    sector->doomed = false;
    memset(sector->durable, 0, SECTOR);
    size_t at = number * SECTOR;
    if (at < file->size)
        memcpy(sector->durable, file->bytes + at,
               file->size - at < SECTOR ? file->size - at : SECTOR);
    return sector;
}

static void touch(struct disk_file *file, size_t from, size_t to) {
    for (size_t at = from / SECTOR * SECTOR; at < to; at += SECTOR)
        dirty_sector(file, at / SECTOR)->doomed = false;
}

static void resize(struct disk_file *file, size_t size) {
    assert(size <= ROOM);
    if (size < file->size) {
        touch(file, size, file->size);
        memset(file->bytes + size, 0, file->size - size);
        set_room(file, size);
    } else if (size > file->room) {
        set_room(file, (size + STEP - 1) / STEP * STEP);
    }
    file->size = size;
}

static void make_durable(struct disk_file *file) {
    size_t kept = 0;
    for (size_t i = 0; i < file->dirty_count; i++) {
        file->place_of[file->dirty[i].number] = 0;
        if (!file->dirty[i].doomed)
            continue;
        file->dirty[kept++] = file->dirty[i];
        file->place_of[file->dirty[i].number] = kept;
    }
    file->dirty_count = kept;
    file->durable_size = file->size;
}

/* A sync that failed: some sectors came to the disk before, the rest never will by themselves. */
static void make_doomed(struct disk_file *file) {
    for (size_t i = 0; i < file->dirty_count; i++)
        file->dirty[i].doomed |= world_chance() < 0.7;
}

static void cut_power(struct disk_file *file) {
    size_t size = world_chance() < 0.5 ? file->size : file->durable_size;
    bool all = world_chance() < 0.3, none = world_chance() < 0.3;
    if (size > file->room)
        set_room(file, size);
    for (size_t i = 0; i < file->dirty_count; i++) {
        const struct sector *sector = &file->dirty[i];
        size_t at = sector->number * SECTOR;
        file->place_of[sector->number] = 0;
        bool kept = !sector->doomed && !none && (all || world_chance() < 0.5);
        if (!kept && at < size)
            memcpy(file->bytes + at, sector->durable, size - at < SECTOR ? size - at : SECTOR);
    }
    file->dirty_count = 0;
    file->size = file->durable_size = size;
}

/* ---- calls ---- */

static struct disk_file *of(sqlite3_file *file) {
    return ((struct handle *)file)->file;
}

static bool fails(double share) {
    return world_fault_now(WORLD_DISK_FAILS) && world_chance() < share;
}

static int file_close(sqlite3_file *base) {
    struct handle *handle = (struct handle *)base;
    set_room(handle->file, handle->file->size);
    if (handle->delete_at_close) {
        unlink(handle->file->path);
        forget(handle->file);
    }
    base->pMethods = NULL;
    return SQLITE_OK;
}

static int file_read(sqlite3_file *base, void *bytes, int length, sqlite3_int64 offset) {
    const struct disk_file *file = of(base);
    size_t at = (size_t)offset, wanted = (size_t)length;
    disk.calls++;
    if (fails(0.002))
        return SQLITE_IOERR_READ;
    size_t there = at < file->size ? file->size - at : 0;
    size_t got = there < wanted ? there : wanted;
    memcpy(bytes, file->bytes + at, got);
    memset((unsigned char *)bytes + got, 0, wanted - got);
    return got < wanted ? SQLITE_IOERR_SHORT_READ : SQLITE_OK;
}

static int file_write(sqlite3_file *base, const void *bytes, int length, sqlite3_int64 offset) {
    struct disk_file *file = of(base);
    size_t at = (size_t)offset, end = at + (size_t)length;
    disk.calls++;
    world_effect("write");
    if (end > file->size && world_fault_now(WORLD_DISK_FULL))
        return SQLITE_FULL;
    if (fails(0.1))
        return SQLITE_IOERR_WRITE;
    if (world.plant == WORLD_PLANT_LOST_WRITE && world.alive && world_chance() < 0.002)
        return SQLITE_OK;
    touch(file, at, end);
    if (end > file->size)
        resize(file, end);
    memcpy(file->bytes + at, bytes, (size_t)length);
    return SQLITE_OK;
}

static int file_truncate(sqlite3_file *base, sqlite3_int64 size) {
    disk.calls++;
    world_effect("truncate");
    if (fails(0.1))
        return SQLITE_IOERR_TRUNCATE;
    if ((size_t)size < of(base)->size)
        resize(of(base), (size_t)size);
    return SQLITE_OK;
}

static int file_sync(sqlite3_file *base, int flags) {
    (void)flags;
    disk.calls++;
    world_effect("sync");
    if (fails(0.3)) {
        make_doomed(of(base));
        return SQLITE_IOERR_FSYNC;
    }
    if (world.plant != WORLD_PLANT_LYING_SYNC)
        make_durable(of(base));
    world_effect("synced");
    return SQLITE_OK;
}

static int file_size(sqlite3_file *base, sqlite3_int64 *size) {
    *size = (sqlite3_int64)of(base)->size;
    return SQLITE_OK;
}

/* One connection at a time: nobody to lock out. */
static int file_lock(sqlite3_file *base, int lock) {
    (void)base, (void)lock;
    return SQLITE_OK;
}
static int file_check_lock(sqlite3_file *base, int *out) {
    (void)base;
    *out = 0;
    return SQLITE_OK;
}
static int file_control(sqlite3_file *base, int operation, void *argument) {
    (void)base, (void)operation, (void)argument;
    return SQLITE_NOTFOUND;
}
static int file_sector_size(sqlite3_file *base) {
    (void)base;
    return SECTOR;
}
static int file_characteristics(sqlite3_file *base) {
    (void)base;
    return 0; /* no promise, so that SQLite takes every care */
}

static int shared_map(sqlite3_file *base, int region, int size, int extend,
                      void volatile **address) {
    struct disk_file *file = of(base);
    assert(region < SHARED_REGIONS);
    if (!file->shared[region] && extend)
        file->shared[region] = calloc(1, (size_t)size);
    *address = file->shared[region];
    return SQLITE_OK;
}
static int shared_lock(sqlite3_file *base, int offset, int n, int flags) {
    (void)base, (void)offset, (void)n, (void)flags;
    return SQLITE_OK;
}
static void shared_barrier(sqlite3_file *base) {
    (void)base;
}
static void forget_shared(struct disk_file *file) {
    for (size_t i = 0; i < SHARED_REGIONS; i++) {
        free(file->shared[i]);
        file->shared[i] = NULL;
    }
}
static int shared_unmap(sqlite3_file *base, int delete_flag) {
    (void)delete_flag;
    forget_shared(of(base));
    return SQLITE_OK;
}

static const sqlite3_io_methods methods = {.iVersion = 2,
                                           .xClose = file_close,
                                           .xRead = file_read,
                                           .xWrite = file_write,
                                           .xTruncate = file_truncate,
                                           .xSync = file_sync,
                                           .xFileSize = file_size,
                                           .xLock = file_lock,
                                           .xUnlock = file_lock,
                                           .xCheckReservedLock = file_check_lock,
                                           .xFileControl = file_control,
                                           .xSectorSize = file_sector_size,
                                           .xDeviceCharacteristics = file_characteristics,
                                           .xShmMap = shared_map,
                                           .xShmLock = shared_lock,
                                           .xShmBarrier = shared_barrier,
                                           .xShmUnmap = shared_unmap};

static int vfs_open(sqlite3_vfs *vfs, const char *name, sqlite3_file *base, int flags, int *out) {
    struct handle *handle = (struct handle *)base;
    struct stat info;
    (void)vfs;
    base->pMethods = NULL;
    disk.calls++;
    if (!name)
        return SQLITE_CANTOPEN; /* temporary files: the store keeps those in memory */
    world_effect("open");
    bool creates = (flags & SQLITE_OPEN_CREATE) && !world_fault_now(WORLD_DISK_FULL);
    int real = open(name, O_RDWR | O_CLOEXEC | (creates ? O_CREAT : 0), 0640);
    if (real < 0 || fstat(real, &info) != 0)
        return SQLITE_CANTOPEN;
    handle->file = load(name, real, &info);
    handle->delete_at_close = (flags & SQLITE_OPEN_DELETEONCLOSE) != 0;
    close(real);
    base->pMethods = &methods;
    if (out)
        *out = flags;
    return SQLITE_OK;
}

static int vfs_delete(sqlite3_vfs *vfs, const char *name, int sync) {
    (void)vfs, (void)sync;
    world_effect("delete");
    struct disk_file *file = find(name);
    if (file)
        forget(file);
    return unlink(name) == 0 ? SQLITE_OK : SQLITE_IOERR_DELETE_NOENT;
}

static int vfs_access(sqlite3_vfs *vfs, const char *name, int flags, int *out) {
    (void)vfs, (void)flags;
    *out = access(name, F_OK) == 0;
    return SQLITE_OK;
}

static int vfs_full_path(sqlite3_vfs *vfs, const char *name, int size, char *out) {
    (void)vfs;
    snprintf(out, (size_t)size, "%s", name);
    return SQLITE_OK;
}

static int vfs_random(sqlite3_vfs *vfs, int size, char *out) {
    (void)vfs;
    for (int i = 0; i < size; i++)
        out[i] = (char)world_random();
    return size;
}

static int vfs_sleep(sqlite3_vfs *vfs, int microseconds) {
    (void)vfs;
    world.now_ms += microseconds / 1000 + 1;
    return microseconds;
}

static int vfs_time(sqlite3_vfs *vfs, sqlite3_int64 *time) {
    (void)vfs;
    *time = world.now_ms + INT64_C(210866760000000); /* of the Julian day number */
    return SQLITE_OK;
}

/* ---- the face ---- */

void world_disk_begin(void) {
    static sqlite3_vfs vfs;
    world_disk_end();
    if (!vfs.zName) {
        vfs = *sqlite3_vfs_find(NULL);
        vfs.pNext = NULL;
        vfs.zName = "world";
        vfs.szOsFile = sizeof(struct handle);
        vfs.xOpen = vfs_open;
        vfs.xDelete = vfs_delete;
        vfs.xAccess = vfs_access;
        vfs.xFullPathname = vfs_full_path;
        vfs.xRandomness = vfs_random;
        vfs.xSleep = vfs_sleep;
        vfs.xCurrentTimeInt64 = vfs_time;
        sqlite3_vfs_register(&vfs, 1);
    }
    sqlite3_randomness(0, NULL); /* the next one seeds itself anew, from ours */
    disk.calls = 0;
}

void world_disk_end(void) {
    for (size_t i = 0; i < FILES; i++)
        forget(&disk.files[i]);
}

void world_disk_dropped(bool power_cut) {
    for (size_t i = 0; i < FILES; i++) {
        struct disk_file *file = &disk.files[i];
        if (!file->path[0])
            continue;
        forget_shared(file);
        if (power_cut)
            cut_power(file);
        if (access(file->path, F_OK) == 0)
            set_room(file, file->size);
        else
            forget(file);
    }
}

size_t world_disk_memory(void) {
    size_t bytes = 0;
    for (size_t i = 0; i < FILES; i++)
        bytes += disk.files[i].dirty_room * sizeof *disk.files[i].dirty +
                 disk.files[i].place_room * sizeof *disk.files[i].place_of;
    return bytes;
}

uint64_t world_disk_calls(void) {
    return disk.calls;
}
