#include "measure/array.h"

#include <stdlib.h>
#include <string.h>

void *array_room(void *items, size_t count, size_t size) {
    if (count & (count - 1))
        return items;
    return reallocarray(items, count ? 2 * count : 1, size);
}

bool array_add(void *items, size_t *count, const void *item, size_t size) {
    char *array;
    memcpy(&array, items, sizeof array);
    array = array_room(array, *count, size);
    if (!array)
        return false;
    memcpy(items, &array, sizeof array);
    memcpy(array + (*count)++ * size, item, size);
    return true;
}

void *array_reserve(void *items, size_t count, size_t size) {
    size_t room = 1;
    while (room < count)
        room *= 2;
    return reallocarray(items, room, size);
}

bool array_add_text(char ***texts, size_t *count, const char *text) {
    char *copied = text ? strdup(text) : NULL;
    if (copied && array_add(texts, count, &copied, sizeof copied))
        return true;
    free(copied);
    return false;
}

void array_free_texts(char **texts, size_t count) {
    for (size_t i = 0; i < count; i++)
        free(texts[i]);
    free(texts);
}
