/*
 * hash: FNV-1a of 64 bits (Fowler, Noll, Vo; RFC 9923). For tables and for noticing change, not
 * against somebody who looks for two alike. Pure.
 */
#ifndef MEASURE_HASH_H
#define MEASURE_HASH_H

#include <stddef.h>
#include <stdint.h>

#define HASH_START UINT64_C(14695981039346656037)

/** The hash so far, begun with HASH_START, and these bytes. */
uint64_t hash_bytes(uint64_t hash, const void *bytes, size_t length);

#endif
