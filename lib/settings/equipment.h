/*
 * equipment: the fans that a commissioning record or a visit names: `equipment: [{branch, model,
 * serial, installed, warranty_until, why}]`. Pure; errors as in settings.h.
 */
#ifndef SETTINGS_EQUIPMENT_H
#define SETTINGS_EQUIPMENT_H

#include "settings/branch_description.h"

#include <stddef.h>
#include <stdint.h>

/** A fan in its place. Days are counted since 1970; TIMESTAMP_NONE: not given. */
struct equipment {
    char *branch, *model, *serial; /* serial may be NULL */
    char *why; /* the one before was taken out: "failed", "worn", "other"; NULL: nobody said */
    int64_t installed_day, warranty_until_day;
};

struct equipment_list {
    struct arena memory; /* of the items, where nobody else owns them */
    struct equipment *items;
    size_t count;
};

/** Where the fans stand; borrowed. */
struct equipment_place {
    const char *system;
    const struct branch_description *branches;
    size_t branch_count;
    const struct fan_models *fans; /* NULL: any model will do */
    int64_t last_day;              /* none is installed later; INT64_MAX: any day will do */
};

struct time_zone;

/**
 * Reads the list `equipment` of a record. A branch may be left out where there is one,
 * and a model must be in the folder of fan models where the settings name one. A fan that is not
 * installed yet, or whose warranty ends before it, is an error. The caller clears, on an error
 * too.
 */
void equipment_read(const struct key_at *at, const struct equipment_place *place,
                    struct equipment_list *list);
/** The same from a text of its own, which holds the list or a single fan. False on any error. */
bool equipment_parse(const char *file, const char *text, size_t length,
                     const struct equipment_place *place, struct settings_errors *errors,
                     struct equipment_list *list);
/** From when on it stands there: its day, from local midnight, else the time of the record. */
int64_t equipment_since_ms(const struct equipment *equipment, const struct time_zone *zone,
                           int64_t record_ms);
/** Frees what the list holds, and empties it. */
void equipment_clear(struct equipment_list *list);

#endif
