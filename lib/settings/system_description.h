/*
 * system_description: the text of one system file to a checked description,
 * and of a commissioning record. Pure; errors as in settings.h.
 */
#ifndef SETTINGS_SYSTEM_DESCRIPTION_H
#define SETTINGS_SYSTEM_DESCRIPTION_H

#include "measure/arena.h"
#include "measure/payload.h"
#include "measure/quantity.h"
#include "settings/branch_description.h"
#include "settings/change_words.h"
#include "settings/contractor.h"
#include "settings/equipment.h"
#include "settings/settings.h"
#include "settings/test_holes.h"

#include <stdatomic.h>

struct point_description {
    char *id;
    char *name; /* for people; default: the id itself */
    enum quantity quantity;
    int line;
    size_t branch; /* that it measures, or BRANCH_NONE: the whole system */
    char *place;   /* where it stands, or NULL */
    bool by_hand;  /* `by: hand`: read by a person */
    char *topic;   /* default: subslab/<system>/<point> */
    struct payload_binding binding;
    int64_t every_ms;            /* expected interval, default 10 min */
    double calibration_relative; /* `calibration_uncertainty`, default 0.10 for radon, 0.03 else */
    struct condition_override *conditions; /* `conditions:` and `limits:` of the point */
    size_t condition_count;
};

struct system_description {
    struct arena memory; /* of all of it */
    char *file;
    char *id, *name, *address, *time_zone; /* time_zone default "UTC"; address may be NULL */
    char *foundation;                      /* or NULL */
    char *region;                 /* houses that share their weather; default: time_zone itself */
    double elevation_m;           /* of the air, default 0 */
    double stack_height_m;        /* of the heated house above the slab, default 2.5 */
    struct contractor contractor; /* empty: the fleet's */
    struct branch_description *branches; /* one at least */
    size_t branch_count;
    const struct fan_models *fans; /* of the settings, borrowed; NULL: parsed without */
    char **contacts;               /* NULL: all contractors */
    size_t contact_count;
    struct point_description *points;
    size_t point_count;
    struct condition_override *conditions;
    size_t condition_count;
    int64_t visit_every_ms, retest_every_ms;    /* -1: the fleet's */
    int64_t keep_readings_ms;                   /* of this house alone, longer; 0: as the fleet's */
    int id_line, time_zone_line, contacts_line; /* for errors */
    uint64_t source;     /* of its file, as its reader tells files apart; 0: not known */
    atomic_uint sharers; /* besides the first owner */
};

/** Parses and checks one system file. NULL on any error. The caller frees. */
struct system_description *system_description_parse(const char *file, const char *text,
                                                    size_t length, const struct settings *settings,
                                                    struct settings_errors *errors);
/** Where the fans of its records stand; none is installed after `last_day`. */
struct equipment_place system_description_place(const struct system_description *system,
                                                int64_t last_day);
/** One more owner, who frees it too; from any thread. Nobody may change it any more. */
struct system_description *system_description_share(struct system_description *system);
void system_description_free(struct system_description *system); /* NULL does nothing */

/**
 * Standard uncertainty of a value of a point by its calibration, both SI: a part of the value, and
 * the zero of its kind (quantity_info).
 */
double point_calibration(const struct point_description *point, double value);

/** Would both take the same value out of the same messages? */
bool point_description_same_source(const struct point_description *one,
                                   const struct point_description *other);

struct commissioning_value {
    char *point;
    double value; /* SI */
};

/** A commissioning record. Times are milliseconds UTC; radon in Bq/m3. */
struct commissioning {
    struct arena memory;                          /* of all of it */
    int64_t from_ms;                              /* the baseline holds from here on */
    char *by, *instruments, *notes;               /* by is never NULL */
    int64_t next_calibration_ms;                  /* TIMESTAMP_NONE: not given */
    double radon_before_bq_m3, radon_after_bq_m3; /* NaN: not given */
    double ground_exponent;                       /* NaN: not given */
    unsigned changed;                             /* enum change; CHANGE_UNSAID: not given */
    struct commissioning_value *values;
    size_t value_count;
    struct equipment_list equipment; /* the fans that stand there from then on */
    struct test_holes test_holes;    /* the field, by fan setting */
    enum back_draft back_draft;
};

struct time_zone;
/**
 * Parses a commissioning record of `system`; a date begins at local midnight of `zone`. Unknown
 * points, units of another kind, impossible values and a date after `now_ms` (INT64_MAX: any will
 * do) are errors. NULL on any error.
 */
struct commissioning *commissioning_parse(const char *file, const char *text, size_t length,
                                          const struct system_description *system,
                                          const struct time_zone *zone, int64_t now_ms,
                                          struct settings_errors *errors);
void commissioning_free(struct commissioning *record);

/** The error of one whose time zone is not known. */
void system_description_zone_unknown(const struct system_description *system,
                                     struct settings_errors *errors);
/** Cross checks over all systems: ids and (topic, pointer) unique, contacts known. */
void system_descriptions_check(struct system_description *const *systems, size_t count,
                               const struct settings *settings, struct settings_errors *errors);

#endif
