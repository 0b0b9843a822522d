/*
 * kept_files: files that go with a copy of the store, within it: a table of the copy alone, so that
 * nothing of a house is in two places while it is watched.
 */
#ifndef STORE_KEPT_FILES_H
#define STORE_KEPT_FILES_H

#include "store/store.h"

struct kept_file {
    const char *name;
    const void *bytes;
    size_t length;
};

/**
 * Takes the files out of a restored store that nobody has open: calls `each` (false: stop, and
 * leave them in) for every one, then deletes them there for good. A store without any is STORE_OK.
 */
enum store_status kept_files_take(const char *path,
                                  bool (*each)(void *context, const struct kept_file *file),
                                  void *context, char *why, size_t why_size);

#endif
