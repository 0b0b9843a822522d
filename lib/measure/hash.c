#include "measure/hash.h"

uint64_t hash_bytes(uint64_t hash, const void *bytes, size_t length) {
    const unsigned char *byte = bytes;
    for (size_t i = 0; i < length; i++)
        hash = (hash ^ byte[i]) * UINT64_C(1099511628211);
    return hash;
}
