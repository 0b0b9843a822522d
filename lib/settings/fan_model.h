/*
 * fan_model: a fan as its maker's sheet describes it: an id, a curve, a power. Each model is one
 * file of the folder `fans:` of the settings; system files, records and visits name it by its id.
 * Pure; errors as in settings.h.
 */
#ifndef SETTINGS_FAN_MODEL_H
#define SETTINGS_FAN_MODEL_H

#include "measure/arena.h"
#include "settings/error_list.h"

#include <stdbool.h>
#include <stddef.h>

#define FAN_MODEL_CURVE_POINTS_MAX 32 /* as many as analysis/fan.h works with */

struct fan_curve_point {
    double flow_m3_s, pressure_pa;
};

struct fan_model {
    struct arena memory; /* of all of it */
    char *file, *id;
    struct fan_curve_point *curve; /* flow rises, pressure does not */
    size_t curve_count;            /* 0: not known */
    double power_w;                /* 0: not known */
};

/** The models of a fleet. `folder` and `line` are of the key `fans`; NULL: there is none. */
struct fan_models {
    char *folder;
    int line;
    struct fan_model **models; /* sorted by id by fan_models_sort */
    size_t count;
};

/** Parses and checks one file of a model. NULL on any error. The caller puts it into
    fan_models, which own it. */
struct fan_model *fan_model_parse(const char *file, const char *text, size_t length,
                                  struct settings_errors *errors);

/** Sorts by id, so that they are found; two with one id are an error. */
void fan_models_sort(struct fan_models *models, struct settings_errors *errors);
/** By its id, NULL when there is none. */
const struct fan_model *fan_models_find(const struct fan_models *models, const char *id);
void fan_models_clear(struct fan_models *models); /* not their folder, which is the settings' */

struct key_at;
/** Reads a curve, the key `curve` of a model or of a fan. */
void fan_model_read_curve(const struct key_at *at, struct fan_curve_point **out, size_t *count);

#endif
