/*
 * name_index: names of a list, sorted, so that ten thousand of them are compared quickly. Pure.
 */
#ifndef SETTINGS_NAME_INDEX_H
#define SETTINGS_NAME_INDEX_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define NAME_INDEX_NONE SIZE_MAX

struct name_index_entry {
    const char *name; /* borrowed */
    size_t index;
};

struct name_index {
    struct name_index_entry *entries;
    size_t count;
};

/**
 * Indexes the names at *name, `stride` bytes apart (a field of an array of structures); NULL names
 * are left out. False when memory is short. Free with name_index_free.
 */
bool name_index_build(struct name_index *index, char *const *name, size_t stride, size_t count);
void name_index_free(struct name_index *index);

/** The lowest index that has the name, or NAME_INDEX_NONE. */
size_t name_index_find(const struct name_index *index, const char *name);

#endif
