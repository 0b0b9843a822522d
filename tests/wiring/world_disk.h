/*
 * world_disk: SQLite's default VFS, over files whose bytes are mapped. It knows, sector by sector,
 * what a sync has made durable: a power cut keeps that and a random part of the rest. After a sync
 * that failed the sectors count as written for readers and are lost at a power cut, as with a
 * system that drops the pages after an error.
 */
#ifndef WORLD_DISK_H
#define WORLD_DISK_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

void world_disk_begin(void);
void world_disk_end(void);
/** The daemon is gone; with `power_cut` also what the disk had not kept. */
void world_disk_dropped(bool power_cut);
/** Calls of the disk since the beginning, for bounds. */
uint64_t world_disk_calls(void);
/** Bytes that the model itself has allocated. */
size_t world_disk_memory(void);

#endif
