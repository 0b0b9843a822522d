/*
 * system_description_point: one entry of `points:` in a system file. Pure.
 */
#ifndef SETTINGS_SYSTEM_DESCRIPTION_POINT_H
#define SETTINGS_SYSTEM_DESCRIPTION_POINT_H

#include "settings/key_table.h"
#include "settings/system_description.h"

/**
 * Reads a point of `system`, whose id and conditions are already read. at->reader->context is the
 * struct settings, or NULL.
 */
void system_description_read_point(const struct key_at *at, const struct system_description *system,
                                   struct point_description *point);

#endif
