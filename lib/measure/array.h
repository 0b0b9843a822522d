/*
 * array: an array that grows by one, with no capacity to keep. Pure.
 */
#ifndef MEASURE_ARRAY_H
#define MEASURE_ARRAY_H

#include <stddef.h>

/**
 * Makes room for one more behind `count` items of `size` bytes: where the count is a power of two,
 * room for twice as many, so an array may only ever grow through this function (its count may fall
 * at any time). Returns the array, perhaps moved; NULL when memory is out, and the old one stands.
 */
void *array_room(void *items, size_t count, size_t size);

#endif
