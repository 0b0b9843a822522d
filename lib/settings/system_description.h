/*
 * system_description: the text of one system file to a checked description,
 * and of a commissioning record. Pure; errors as in settings.h.
 */
#ifndef SETTINGS_SYSTEM_DESCRIPTION_H
#define SETTINGS_SYSTEM_DESCRIPTION_H

#include "measure/payload.h"
#include "measure/quantity.h"
#include "settings/settings.h"

#define SYSTEM_CURVE_POINTS_MAX 32 /* as many as analysis/fan.h works with */

struct fan_curve_point {
    double flow_m3_s, pressure_pa;
};

struct point_description {
    char *id;
    char *name; /* for people; default: the id */
    enum quantity quantity;
    char *topic;                    /* default: subslab/<system>/<point> */
    struct payload_binding binding; /* its strings are owned by this description */
    int64_t every_ms;               /* expected interval, default 10 min */
    double calibration_relative; /* `calibration_uncertainty`, default 0.10 for radon, 0.03 else */
    struct condition_override *conditions; /* `conditions:` and `limits:` of the point */
    size_t condition_count;
    int line;
};

struct system_description {
    char *file;
    char *id, *name, *address, *time_zone; /* time_zone default "UTC"; address may be NULL */
    char *foundation;                      /* or NULL */
    double pipe_inside_diameter_m;         /* 0: not given */
    double centreline_factor;              /* `pipe.centreline_factor`, default 0.9 */
    double loss_after_gauge;               /* `pipe.loss_after_gauge`, Pa per (m3/s)^2, default 0 */
    struct fan_curve_point *fan_curve;
    size_t fan_curve_count;
    double fan_power_w; /* 0: not given */
    char **contacts;    /* NULL: all contractors */
    size_t contact_count;
    struct point_description *points;
    size_t point_count;
    struct condition_override *conditions;
    size_t condition_count;
    int64_t visit_every_ms, retest_every_ms;    /* -1: the fleet's */
    int id_line, time_zone_line, contacts_line; /* for errors */
};

/** Parses and checks one system file. NULL on any error. The caller frees. */
struct system_description *system_description_parse(const char *file, const char *text,
                                                    size_t length, const struct settings *settings,
                                                    struct settings_errors *errors);
void system_description_free(struct system_description *system);

struct commissioning_value {
    char *point;
    double value; /* SI */
};

/** A commissioning record. Times are milliseconds UTC; radon in Bq/m3. */
struct commissioning {
    int64_t from_ms;                              /* the baseline holds from here on */
    char *by, *instruments, *notes;               /* by is never NULL */
    int64_t next_calibration_ms;                  /* TIMESTAMP_NONE: not given */
    double radon_before_bq_m3, radon_after_bq_m3; /* NaN: not given */
    double ground_exponent;                       /* NaN: not given */
    struct commissioning_value *values;
    size_t value_count;
};

struct time_zone;
/**
 * Parses a commissioning record of `system`; a date begins at local midnight of `zone`. Unknown
 * points, units of another kind and impossible values are errors. NULL on any error.
 */
struct commissioning *commissioning_parse(const char *file, const char *text, size_t length,
                                          const struct system_description *system,
                                          const struct time_zone *zone,
                                          struct settings_errors *errors);
void commissioning_free(struct commissioning *record);

/** Cross checks over all systems: ids and (topic, pointer) unique, contacts known. */
void system_descriptions_check(struct system_description *const *systems, size_t count,
                               const struct settings *settings, struct settings_errors *errors);

#endif
