/*
 * tool_faulty_daemon: subslabd as it is, linked with --wrap so that a fault comes at a chosen place
 * of its work. Nothing of this is in the real program.
 *
 *     FAULT=before-commit:3 tool_faulty_daemon --settings FILE
 *
 * dies as by kill -9 when the third commit is about to begin. The other places are in the table
 * below. FAULT=memory:500 lets the 500th allocation of the program's own code fail, and only that;
 * FAULT=memory-at-work:500 counts from the end of the first turn on.
 * FAULT=spin:3 never comes back from the third look at the store.
 *
 *     FAULT=taking:9 FAULT_PAYLOAD=poison FAULT_KIND=memory tool_faulty_daemon --settings FILE
 *
 * strikes, nine times at most, at a message with this text: `taking` is the moment at which its
 * reading is stored, `settling` the work that follows for all messages of its turn. FAULT_KIND says
 * what happens: `death` (the default), `standstill` or lack of `memory`.
 *
 * The disk: SYNC_MS=200 lets each sync of the store take so long. While the file that UNREADABLE
 * names is there, SQLite's reading fails; with FULL its writing; with READ_ONLY that and opening
 * for writing.
 *
 * What the libraries allocate for themselves is not reached by --wrap; SQLite's share is a test of
 * its own (tests/edge/test_store_memory.c).
 */
#include "link/delivery.h"
#include "link/intake.h"
#include "pack/day_pack.h"
#include "pipeline/pipeline.h"
#include "store/outbox.h"
#include "store/outbox_bundle.h"
#include "store/series.h"
#include "store/store.h"
#include "store/store_sqlite.h"

#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/syscall.h>
#include <unistd.h>

static void read_disk_faults(void);

enum place {
    BEFORE_JUDGEMENT, /* a message was read, nothing is done with it yet */
    BEFORE_COMMIT,
    AFTER_COMMIT, /* on disk, not acknowledged */
    AFTER_RELEASE,
    AFTER_POST,  /* a message is on its way */
    BEFORE_MARK, /* the endpoint answered, the row still waits */
    AFTER_MARK,  /* marked, not committed */
    IN_PACKING,
    IN_RETENTION,
    IN_CREATION, /* tables made, the store has not got its name */
    IN_MEMORY,
    IN_MEMORY_AT_WORK,
    IN_PROBE,
    TAKING,
    SETTLING,
    PLACES
};

static const char *const names[PLACES] = {
    [BEFORE_JUDGEMENT] = "before-judgement",
    [BEFORE_COMMIT] = "before-commit",
    [AFTER_COMMIT] = "after-commit",
    [AFTER_RELEASE] = "after-release",
    [AFTER_POST] = "after-post",
    [BEFORE_MARK] = "before-mark",
    [AFTER_MARK] = "after-mark",
    [IN_PACKING] = "in-packing",
    [IN_RETENTION] = "in-retention",
    [IN_CREATION] = "in-creation",
    [IN_MEMORY] = "memory",
    [IN_MEMORY_AT_WORK] = "memory-at-work",
    [IN_PROBE] = "spin",
    [TAKING] = "taking",
    [SETTLING] = "settling",
};

/* Passes of the chosen place that are left; 0: no fault is asked for, or it has come. */
static long passes_left;
static enum place chosen = PLACES;
static bool at_work; /* a turn has come to its end */
static const char *payload_text, *kind = "death";
static bool payload_read, payload_taken; /* the message is at hand; its reading is in this turn */

static bool comes(enum place place) {
    return place == chosen && passes_left > 0 && --passes_left == 0;
}

static void pass(enum place place) {
    if (comes(place))
        kill(getpid(), SIGKILL);
}

static void tell(const char *note) {
    if (write(STDERR_FILENO, note, strlen(note)) < 0) /* it tells the test that it came */
        _exit(3);
}

static void stand_still(void) {
    tell("FAULT: it stands still\n");
    for (;;)
        usleep(1000);
}

/* At the message of FAULT_PAYLOAD; true when memory is to be short there. */
static bool strikes(enum place place) {
    if (place != chosen || passes_left == 0)
        return false;
    passes_left--;
    payload_taken = false;
    if (strcmp(kind, "memory") == 0)
        return true;
    if (strcmp(kind, "standstill") == 0)
        stand_still();
    kill(getpid(), SIGKILL);
    return false;
}

__attribute__((constructor)) static void read_fault(void) {
    const char *fault = getenv("FAULT"), *colon = fault ? strchr(fault, ':') : NULL;
    payload_text = getenv("FAULT_PAYLOAD");
    if (getenv("FAULT_KIND"))
        kind = getenv("FAULT_KIND");
    read_disk_faults();
    if (!colon)
        return;
    for (enum place place = 0; place < PLACES; place++)
        if (strlen(names[place]) == (size_t)(colon - fault) &&
            strncmp(names[place], fault, (size_t)(colon - fault)) == 0)
            chosen = place;
    passes_left = strtol(colon + 1, NULL, 10);
    if (chosen == PLACES || passes_left < 1) {
        fprintf(stderr, "FAULT=%s: no such place\n", fault);
        _exit(3);
    }
}

/* ---- places ---- */

/* Both names of a wrapped function are made by the linker. */
#define WRAPPED(type, name, ...)                                                                   \
    type __real_##name(__VA_ARGS__);                                                               \
    type __wrap_##name(__VA_ARGS__);                                                               \
    type __wrap_##name(__VA_ARGS__)

WRAPPED(void, pipeline_message, struct pipeline *pipeline, const struct intake_message *message,
        const struct clock_answer *asked, int64_t now_ms) {
    pass(BEFORE_JUDGEMENT);
    payload_read = payload_text && memmem(message->payload, message->length, payload_text,
                                          strlen(payload_text)) != NULL;
    __real_pipeline_message(pipeline, message, asked, now_ms);
    payload_read = false;
}

WRAPPED(enum store_status, series_append, struct store *store, int64_t key,
        const struct reading *reading, enum series_origin origin, bool newest,
        enum series_append *result) {
    payload_taken |= payload_read;
    return payload_read && strikes(TAKING)
               ? STORE_OUT_OF_MEMORY
               : __real_series_append(store, key, reading, origin, newest, result);
}

WRAPPED(enum store_status, monitor_memory_write, struct monitor_memory *memory) {
    return payload_taken && strikes(SETTLING) ? STORE_OUT_OF_MEMORY
                                              : __real_monitor_memory_write(memory);
}

WRAPPED(enum store_status, store_commit, struct store *store) {
    pass(BEFORE_COMMIT);
    payload_taken = false;
    enum store_status status = __real_store_commit(store);
    pass(AFTER_COMMIT);
    return status;
}

WRAPPED(enum store_status, store_probe, struct store *store) {
    if (comes(IN_PROBE))
        stand_still();
    return __real_store_probe(store);
}

WRAPPED(void, intake_release, struct intake *intake) {
    __real_intake_release(intake);
    at_work = true;
    pass(AFTER_RELEASE);
}

WRAPPED(bool, delivery_post, struct delivery *delivery, const struct delivery_request *request) {
    bool begun = __real_delivery_post(delivery, request);
    pass(AFTER_POST);
    return begun;
}

WRAPPED(enum store_status, outbox_sent, struct store *store, int64_t row, int64_t now_ms,
        const char *answer) {
    pass(BEFORE_MARK);
    enum store_status status = __real_outbox_sent(store, row, now_ms, answer);
    pass(AFTER_MARK);
    return status;
}

WRAPPED(enum day_pack_status, day_pack_encode, const struct day_pack_label *label,
        const struct reading *readings, const unsigned char *origins, size_t count,
        unsigned char *bytes, size_t *size) {
    pass(IN_PACKING);
    return __real_day_pack_encode(label, readings, origins, count, bytes, size);
}

WRAPPED(enum store_status, series_expire, struct store *store, int64_t before_ms, int most,
        int *deleted) {
    enum store_status status = __real_series_expire(store, before_ms, most, deleted);
    if (*deleted > 0)
        pass(IN_RETENTION);
    return status;
}

WRAPPED(int, store_upgrade, sqlite3 *db, int version) {
    int code = __real_store_upgrade(db, version);
    pass(IN_CREATION);
    return code;
}

/* ---- the disk ---- */

static long sync_ms;

static void read_disk_faults(void) {
    const char *text = getenv("SYNC_MS");
    sync_ms = text ? strtol(text, NULL, 10) : 0;
}

static bool is_there(const char *variable, int error) {
    const char *file = getenv(variable);
    bool there = file && access(file, F_OK) == 0;
    if (there)
        errno = error;
    return there;
}

/* These stand before those of the C library, for SQLite too. */
int fdatasync(int file) {
    usleep((useconds_t)sync_ms * 1000);
    return (int)syscall(SYS_fdatasync, file);
}

ssize_t pread64(int file, void *bytes, size_t count, off64_t offset) {
    return is_there("UNREADABLE", EIO) ? -1 : syscall(SYS_pread64, file, bytes, count, offset);
}

ssize_t pwrite64(int file, const void *bytes, size_t count, off64_t offset) {
    return is_there("FULL", ENOSPC) || is_there("READ_ONLY", EROFS)
               ? -1
               : syscall(SYS_pwrite64, file, bytes, count, offset);
}

int open64(const char *path, int flags, ...) {
    va_list values;
    va_start(values, flags);
    mode_t mode = (flags & O_CREAT) ? va_arg(values, mode_t) : 0;
    va_end(values);
    bool writes = (flags & O_ACCMODE) != O_RDONLY;
    return writes && is_there("READ_ONLY", EROFS)
               ? -1
               : (int)syscall(SYS_openat, AT_FDCWD, path, flags | O_LARGEFILE, mode);
}

/* ---- memory ---- */

static bool is_missing(void) {
    if (!comes(IN_MEMORY) && !(at_work && comes(IN_MEMORY_AT_WORK)))
        return false;
    tell("FAULT: an allocation fails\n");
    errno = ENOMEM;
    return true;
}

WRAPPED(void *, malloc, size_t size) {
    return is_missing() ? NULL : __real_malloc(size);
}

WRAPPED(void *, calloc, size_t count, size_t size) {
    return is_missing() ? NULL : __real_calloc(count, size);
}

WRAPPED(void *, realloc, void *old, size_t size) {
    return is_missing() ? NULL : __real_realloc(old, size);
}

WRAPPED(char *, strdup, const char *text) {
    return is_missing() ? NULL : __real_strdup(text);
}

WRAPPED(char *, strndup, const char *text, size_t length) {
    return is_missing() ? NULL : __real_strndup(text, length);
}

WRAPPED(int, vasprintf, char **text, const char *format, va_list values) {
    return is_missing() ? -1 : __real_vasprintf(text, format, values);
}

WRAPPED(int, asprintf, char **text, const char *format, ...) {
    va_list values;
    va_start(values, format);
    int length = __wrap_vasprintf(text, format, values);
    va_end(values);
    return length;
}
