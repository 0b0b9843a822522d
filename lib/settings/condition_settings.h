/*
 * condition_settings: `conditions:` of the fleet, a system or a point, and `limits:`, the short
 * form of a point, to overrides of the table of conditions. What form a setpoint may take follows
 * from that table: percent of baseline, percent of the action level, a value with its unit, a span
 * of time, a fraction. Contradictions with what holds at the levels above are errors. Pure.
 */
#ifndef SETTINGS_CONDITION_SETTINGS_H
#define SETTINGS_CONDITION_SETTINGS_H

#include "alarm/condition.h"
#include "settings/key_table.h"

enum condition_level { LEVEL_FLEET, LEVEL_SYSTEM, LEVEL_POINT };

/** Where an override was written, for errors. */
struct condition_place {
    int line;
    const char *limit; /* the word in `limits:`, NULL: in `conditions:` */
};

/** Overrides being read. The overrides go to the settings, the places are freed after the check. */
struct condition_list {
    struct condition_override *overrides;
    struct condition_place *places;
    size_t count;
};

/** For whom; `above` are the overrides of the wider levels, fleet first. */
struct condition_settings {
    enum condition_level level;
    enum quantity quantity;   /* of the point */
    enum dimension dimension; /* of its unit */
    struct condition_list above[2];
};

/** Reads `conditions:`; the overrides are added to the list, one for each condition. */
void condition_settings_read(const struct key_at *at, const struct condition_settings *settings,
                             struct condition_list *list);

/** Reads `limits:` of a point. */
void condition_settings_read_limits(const struct key_at *at,
                                    const struct condition_settings *settings,
                                    struct condition_list *list);

/**
 * Checks what is in force with this list against itself (lost below low below high, deadband
 * smaller than its setpoint) and frees the places. `at` is the fleet, the system or the point.
 */
void condition_settings_finish(const struct key_at *at, const struct condition_settings *settings,
                               struct condition_list *list);

#endif
