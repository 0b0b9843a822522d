#include "measure/array.h"

#include <stdlib.h>
#include <string.h>

void *array_room(void *items, size_t count, size_t size) {
    if (count & (count - 1))
        return items;
    return reallocarray(items, count ? 2 * count : 1, size);
}

void *array_reserve(void *items, size_t count, size_t size) {
    size_t room = 1;
    while (room < count)
        room *= 2;
    return reallocarray(items, room, size);
}

bool array_add_text(char ***texts, size_t *count, const char *text) {
    char *copied = text ? strdup(text) : NULL;
    char **longer = copied ? array_room(*texts, *count, sizeof **texts) : NULL;
    if (!longer) {
        free(copied);
        return false;
    }
    longer[(*count)++] = copied;
    *texts = longer;
    return true;
}

void array_free_texts(char **texts, size_t count) {
    for (size_t i = 0; i < count; i++)
        free(texts[i]);
    free(texts);
}
