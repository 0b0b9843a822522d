/*
 * contractor: whom people call, `contractor: {name, telephone}` of the settings or of one system.
 * Pure.
 */
#ifndef SETTINGS_CONTRACTOR_H
#define SETTINGS_CONTRACTOR_H

#include "settings/key_table.h"

struct contractor {
    char *name, *telephone; /* NULL: not given */
};

/** A read function of key_table.h, into an empty contractor. */
void contractor_read(const struct key_at *at, void *contractor);

#endif
