#include "measure/array.h"

#include <stdlib.h>

void *array_room(void *items, size_t count, size_t size) {
    if (count & (count - 1))
        return items;
    return reallocarray(items, count ? 2 * count : 1, size);
}
