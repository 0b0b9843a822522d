#include "store/new_name.h"

#include <errno.h>
#include <fcntl.h>
#include <sys/syscall.h>
#include <unistd.h>

/* renameat2(2) by its number: musl has no function for it. */
static const unsigned no_replace = 1; /* RENAME_NOREPLACE */

bool new_name_take(const char *from, const char *to) {
    if (syscall(SYS_renameat2, AT_FDCWD, from, AT_FDCWD, to, no_replace) == 0)
        return true;
    if (errno != EINVAL && errno != ENOSYS)
        return false;
    return link(from, to) == 0 && unlink(from) == 0; /* file systems without that flag */
}

bool new_name_sync(const char *path) {
    int file = open(path, O_RDONLY | O_CLOEXEC);
    bool good = file >= 0 && fsync(file) == 0;
    if (file >= 0)
        close(file);
    return good;
}
