/*
 * enrolled_files: writes system files into the folder of enrolled systems. A file is there whole or
 * not at all, and never takes the place of another; of several, all are there or none.
 */
#ifndef DAEMON_HOST_ENROLLED_FILES_H
#define DAEMON_HOST_ENROLLED_FILES_H

#include <stdbool.h>
#include <stddef.h>

struct enrolled_file {
    const char *name; /* in the folder, checked: "ID.yaml" of a new system */
    const char *text;
    size_t length;
};

/** The path of a file in the folder; the caller frees. NULL when out of memory. */
char *enrolled_files_path(const char *folder, const char *name);

/** What stands in the folder, system files only. All is owned by the list. */
struct enrolled_list {
    struct enrolled_file *items;
    size_t count;
};
/** Reads them all; a folder that is not there has none. False with a sentence in `why`. */
bool enrolled_files_read(const char *folder, struct enrolled_list *list, char *why,
                         size_t why_size);
void enrolled_files_clear(struct enrolled_list *list);

/**
 * Writes them and waits until they are on the disk; makes the folder where it is missing. False
 * with a sentence in `why`, and then none of them was written.
 */
bool enrolled_files_write(const char *folder, const struct enrolled_file *files, size_t count,
                          char *why, size_t why_size);

#endif
