/*
 * arena: memory that is freed all at once, such as what a file said. Pure.
 */
#ifndef MEASURE_ARENA_H
#define MEASURE_ARENA_H

#include <stddef.h>

struct arena_block;

/** Starts as {0}. */
struct arena {
    struct arena_block *newest;
};

/** Zeroed, aligned for any type, and not NULL for size 0; NULL when memory is out. */
void *arena_allocate(struct arena *arena, size_t size);
/** A copy of a text, which nobody changes: one that was copied lately serves again. NULL when
   memory is out. */
char *arena_copy(struct arena *arena, const char *text);
/** Frees all of it, be the arena itself in it. */
void arena_free(struct arena arena);

#endif
