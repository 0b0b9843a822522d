#include "settings/fan_model.h"

#include "settings/checked_text.h"
#include "settings/key_table.h"

#include <stdlib.h>
#include <string.h>

#define AT(field) offsetof(struct fan_model, field)

static bool read_curve_value(const struct key_at *at, enum dimension dimension, const char *allowed,
                             double *si) {
    const char *text = key_scalar(at, allowed);
    if (!text)
        return false;
    if (unit_parse(text, dimension, si) == UNIT_OK && *si >= 0.0)
        return true;
    key_error(at, "%.60s is not part of a fan curve; allowed: %s", text, allowed);
    return false;
}

static bool read_curve_point(const struct key_at *at, struct fan_curve_point *point) {
    static const char pair[] = "a pair such as [40 cfm, 1.4 inH2O]";
    if (!key_is(at, YAML_TREE_LIST, pair))
        return false;
    if (at->node->count != 2) {
        key_error(at, "has %zu values; allowed: %s", at->node->count, pair);
        return false;
    }
    const struct key_at flow = key_one_of(at, 0), pressure = key_one_of(at, 1);
    return read_curve_value(&flow, DIMENSION_FLOW,
                            "first a flow of at least 0 with a unit, such as 40 cfm",
                            &point->flow_m3_s) &&
           read_curve_value(&pressure, DIMENSION_PRESSURE,
                            "second a pressure of at least 0 with a unit, such as 1.4 inH2O",
                            &point->pressure_pa);
}

/* Judged by its speed a fan needs a curve that has one pressure for each flow. */
void fan_model_read_curve(const struct key_at *at, struct fan_curve_point **out, size_t *count) {
    static const char allowed[] = "a list of 2 to 32 pairs such as [40 cfm, 1.4 inH2O]";
    if (!key_is(at, YAML_TREE_LIST, allowed))
        return;
    size_t given = at->node->count;
    if (given < 2 || given > FAN_MODEL_CURVE_POINTS_MAX) {
        key_error(at, "has %zu points; allowed: %s", given, allowed);
        return;
    }
    struct fan_curve_point *curve = key_allocate(at, given, sizeof *curve);
    *out = curve;
    for (size_t i = 0; curve && i < given; i++) {
        const struct key_at here = key_item(at, i);
        if (!read_curve_point(&here, &curve[i]))
            return;
        if (i > 0 && curve[i].flow_m3_s <= curve[i - 1].flow_m3_s)
            key_error(&here, "flow does not rise; allowed: a flow above the one before");
        if (i > 0 && curve[i].pressure_pa > curve[i - 1].pressure_pa)
            key_error(&here, "pressure rises; allowed: a pressure not above the one before");
        *count = i + 1;
    }
    if (curve && curve[0].pressure_pa <= 0.0)
        key_error(at, "begins without pressure; allowed: a pressure above 0 at the least flow");
}

static void read_curve(const struct key_at *at, void *target) {
    struct fan_model *model = target;
    fan_model_read_curve(at, &model->curve, &model->curve_count);
}

static const struct key_row model_rows[] = {
    {.key = "id",
     KEY_TEXT_AT(AT(id), checked_text_id, "an id such as radial-150"),
     .required = true},
    {.key = "curve",
     KEY_PART_AT(0, read_curve),
     .required = true,
     .allowed = "a list of 2 to 32 pairs such as [40 cfm, 1.4 inH2O]"},
    {.key = "power",
     KEY_RANGE_AT(KEY_VALUE, AT(power_w), 0.1, 5000.0, "a fan's power", "0.1 W to 5000 W"),
     .dimension = DIMENSION_POWER},
};

static void read_model(const struct key_at *all, void *target) {
    struct fan_model *model = target;
    model->file = key_copy(all, all->reader->file);
    key_map_read(all, KEY_ROWS(model_rows), model);
}

struct fan_model *fan_model_parse(const char *file, const char *text, size_t length,
                                  struct settings_errors *errors) {
    struct key_reader reader = {.file = file, .errors = errors};
    return key_read_file(&reader, text, length, sizeof(struct fan_model), read_model);
}

static int by_id(const void *a, const void *b) {
    const struct fan_model *one = *(struct fan_model *const *)a;
    const struct fan_model *other = *(struct fan_model *const *)b;
    return strcmp(one->id, other->id);
}

void fan_models_sort(struct fan_models *models, struct settings_errors *errors) {
    if (models->count > 1)
        qsort(models->models, models->count, sizeof(struct fan_model *), by_id);
    for (size_t i = 1; i < models->count; i++)
        if (strcmp(models->models[i]->id, models->models[i - 1]->id) == 0)
            settings_errors_add(
                errors, "%s:1: id: \"%s\" is taken by %s; allowed: an id of its own",
                models->models[i]->file, models->models[i]->id, models->models[i - 1]->file);
}

static int id_against(const void *id, const void *model) {
    return strcmp(id, (*(struct fan_model *const *)model)->id);
}

const struct fan_model *fan_models_find(const struct fan_models *models, const char *id) {
    struct fan_model *const *found =
        models->count == 0
            ? NULL
            : bsearch(id, models->models, models->count, sizeof(struct fan_model *), id_against);
    return found ? *found : NULL;
}

void fan_models_clear(struct fan_models *models) {
    for (size_t i = 0; i < models->count; i++)
        arena_free(models->models[i]->memory);
    free(models->models);
}
