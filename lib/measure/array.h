/*
 * array: an array that grows by one, with no capacity to keep. Pure.
 */
#ifndef MEASURE_ARRAY_H
#define MEASURE_ARRAY_H

#include <stdbool.h>
#include <stddef.h>

/**
 * Makes room for one more behind `count` items of `size` bytes: where the count is a power of two,
 * room for twice as many, so an array may only ever grow through this function (its count may fall
 * at any time). Returns the array, perhaps moved; NULL when memory is out, and the old one stands.
 */
void *array_room(void *items, size_t count, size_t size);

/**
 * Adds a copy of *item, of `size` bytes, to an array that grows this way: `items` is the address of
 * the pointer to it. False when memory is out; the array stands as it was.
 */
bool array_add(void *items, size_t *count, const void *item, size_t size);

/** Room for `count` items and more, grown as array_room goes on growing it. Returns as array_room.
 */
void *array_reserve(void *items, size_t count, size_t size);

/**
 * Adds a copy of `text` to an array of texts that grows this way. False when memory is out or
 * `text` is NULL; the array stands as it was.
 */
bool array_add_text(char ***texts, size_t *count, const char *text);

/** Frees an array of texts and what it holds; NULL with 0 is well. */
void array_free_texts(char **texts, size_t count);

#endif
