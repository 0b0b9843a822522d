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

/** Reads the map into an empty contractor; the caller clears it, on an error too. */
void contractor_read(struct key_reader *reader, const struct key_path *path,
                     const struct yaml_tree_node *node, struct contractor *contractor);
/** Frees what it holds. */
void contractor_clear(struct contractor *contractor);

#endif
