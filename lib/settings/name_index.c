#include "settings/name_index.h"

#include <stdlib.h>
#include <string.h>

static int compare(const void *a, const void *b) {
    const struct name_index_entry *x = a, *y = b;
    int order = strcmp(x->name, y->name);
    return order ? order : (x->index > y->index) - (x->index < y->index);
}

bool name_index_build(struct name_index *index, char *const *name, size_t stride, size_t count) {
    *index = (struct name_index){.entries = malloc((count ? count : 1) * sizeof *index->entries)};
    if (!index->entries)
        return false;
    for (size_t i = 0; i < count; i++) {
        const char *text = *(char *const *)((const char *)name + i * stride);
        if (text)
            index->entries[index->count++] = (struct name_index_entry){text, i};
    }
    if (index->count > 1)
        qsort(index->entries, index->count, sizeof *index->entries, compare);
    return true;
}

void name_index_free(struct name_index *index) {
    free(index->entries);
    *index = (struct name_index){0};
}

size_t name_index_find(const struct name_index *index, const char *name) {
    size_t low = 0, high = index->count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (strcmp(index->entries[middle].name, name) < 0)
            low = middle + 1;
        else
            high = middle;
    }
    if (low < index->count && strcmp(index->entries[low].name, name) == 0)
        return index->entries[low].index;
    return NAME_INDEX_NONE;
}
