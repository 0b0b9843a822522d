/*
 * new_name: gives a finished file its name, unless that is taken.
 */
#ifndef STORE_NEW_NAME_H
#define STORE_NEW_NAME_H

#include <stdbool.h>

/** False with errno; EEXIST: another file has the name. */
bool new_name_take(const char *from, const char *to);

#endif
