/*
 * file_source: what tells a file that is as it was read from one that may have changed since: its
 * name, place on the disk, size and times, as one number.
 */
#ifndef DAEMON_HOST_FILE_SOURCE_H
#define DAEMON_HOST_FILE_SOURCE_H

#include <stdint.h>

/**
 * Ask before the file is read. 0 (nothing can be told by it): there is no such file, or it changed
 * within the last second, so that a second change might leave its times as they are.
 */
uint64_t file_source(const char *path);

/** Of two together; 0 when one of them is 0. */
uint64_t file_source_join(uint64_t one, uint64_t other);

#endif
