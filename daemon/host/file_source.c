#include "host/file_source.h"

#include "host/clock.h"
#include "measure/hash.h"

#include <string.h>
#include <sys/stat.h>

static const int64_t settled_ms = 1000;

static int64_t in_ms(struct timespec time) {
    return (int64_t)time.tv_sec * 1000 + time.tv_nsec / 1000000;
}

uint64_t file_source(const char *path) {
    struct stat about;
    if (stat(path, &about) != 0 || clock_wall_ms() - in_ms(about.st_ctim) < settled_ms)
        return 0;
    const int64_t marks[] = {(int64_t)about.st_dev, (int64_t)about.st_ino, (int64_t)about.st_size,
                             about.st_mtim.tv_sec,  about.st_mtim.tv_nsec, about.st_ctim.tv_sec,
                             about.st_ctim.tv_nsec};
    return hash_bytes(hash_bytes(HASH_START, path, strlen(path)), marks, sizeof marks);
}

uint64_t file_source_join(uint64_t one, uint64_t other) {
    return one && other ? hash_bytes(one, &other, sizeof other) : 0;
}
