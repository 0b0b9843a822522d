/*
 * new_name: gives a finished file its name, unless that is taken.
 */
#ifndef STORE_NEW_NAME_H
#define STORE_NEW_NAME_H

#include <stdbool.h>

/** False with errno; EEXIST: another file has the name. */
bool new_name_take(const char *from, const char *to);

/** Makes the bytes of a file, or the names in a folder, durable. False with errno. */
bool new_name_sync(const char *path);

#endif
