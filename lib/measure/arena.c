/*
 * Blocks in a list, the newest first. In a block, what is aligned grows from the front and texts
 * from the back, so that texts stand side by side.
 */
#include "measure/arena.h"

#include <stdalign.h>
#include <stdlib.h>
#include <string.h>

enum { BLOCK_BYTES = 256 };

struct arena_block {
    struct arena_block *older;
    size_t front, back, end; /* free is what lies between front and back */
    alignas(max_align_t) char bytes[];
};

/* A block that has so many bytes free; NULL when memory is out. One for something large stands
   behind the newest, in which there may be room for more that is small. */
static struct arena_block *block_with(struct arena *arena, size_t size) {
    struct arena_block **place = &arena->newest, *newest = arena->newest;
    if (newest && newest->back - newest->front >= size)
        return newest;
    size_t room = size > BLOCK_BYTES ? size : BLOCK_BYTES;
    struct arena_block *block = calloc(1, sizeof *block + room);
    if (!block)
        return NULL;
    if (newest && size > BLOCK_BYTES)
        place = &newest->older;
    block->back = block->end = room;
    block->older = *place;
    *place = block;
    return block;
}

void *arena_allocate(struct arena *arena, size_t size) {
    size_t aligned =
        (size + alignof(max_align_t) - 1) / alignof(max_align_t) * alignof(max_align_t);
    struct arena_block *block = block_with(arena, aligned);
    if (!block)
        return NULL;
    block->front += aligned;
    return block->bytes + block->front - aligned;
}

/* NULL: the block has no such text. */
static char *find_text(struct arena_block *block, const char *text) {
    for (size_t at = block->back; at < block->end; at += strlen(block->bytes + at) + 1)
        if (strcmp(block->bytes + at, text) == 0)
            return block->bytes + at;
    return NULL;
}

char *arena_copy(struct arena *arena, const char *text) {
    size_t size = strlen(text) + 1;
    char *found = arena->newest ? find_text(arena->newest, text) : NULL;
    struct arena_block *block = found ? NULL : block_with(arena, size);
    if (!block)
        return found;
    block->back -= size;
    return memcpy(block->bytes + block->back, text, size);
}

void arena_free(struct arena arena) {
    for (struct arena_block *block = arena.newest; block;) {
        struct arena_block *older = block->older;
        free(block);
        block = older;
    }
}
