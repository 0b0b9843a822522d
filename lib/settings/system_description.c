#include "settings/system_description.h"

#include "measure/duration.h"
#include "settings/checked_text.h"
#include "settings/condition_settings.h"
#include "settings/key_table.h"
#include "settings/system_description_point.h"

#include <stdlib.h>
#include <string.h>

#define AT(field) offsetof(struct system_description, field)
#define ROWS(rows) (rows), sizeof(rows) / sizeof((rows)[0])
#define POINTS_MAX 1000

static const struct key_row pipe_rows[] = {
    {.key = "inside_diameter",
     .kind = KEY_VALUE,
     .offset = AT(pipe_inside_diameter_m),
     .what = "a pipe's inside diameter",
     .allowed = "20 mm to 1 m, such as 3.068 in",
     .lowest = 0.02,
     .highest = 1.0,
     .dimension = DIMENSION_LENGTH},
    {.key = "centreline_factor",
     .kind = KEY_NUMBER,
     .offset = AT(centreline_factor),
     .otherwise = "0.9",
     .what = "a ratio of mean to centreline velocity",
     .allowed = "0.5 to 1",
     .lowest = 0.5,
     .highest = 1.0},
    {.key = "loss_after_gauge",
     .kind = KEY_NUMBER,
     .offset = AT(loss_after_gauge),
     .otherwise = "0",
     .what = "a loss in Pa per (m3/s)^2",
     .allowed = "0 to 10000000",
     .highest = 1e7},
};

static void read_pipe(struct key_reader *reader, const struct key_path *path,
                      const struct yaml_tree_node *node, void *target) {
    key_map_read(reader, path, node, ROWS(pipe_rows), target);
}

static bool read_curve_value(struct key_reader *reader, const struct key_path *path,
                             const struct yaml_tree_node *node, enum dimension dimension,
                             const char *allowed, double *si) {
    const char *text = key_scalar(reader, path, node, allowed);
    if (!text)
        return false;
    if (unit_parse(text, dimension, si) == UNIT_OK && *si >= 0.0)
        return true;
    key_error(reader, path, node->line, "%.60s is not part of a fan curve; allowed: %s", text,
              allowed);
    return false;
}

static bool read_curve_point(struct key_reader *reader, const struct key_path *path,
                             const struct yaml_tree_node *node, struct fan_curve_point *point) {
    static const char pair[] = "a pair such as [40 cfm, 1.4 inH2O]";
    if (!key_is(reader, path, node, YAML_TREE_LIST, pair))
        return false;
    if (node->count != 2) {
        key_error(reader, path, node->line, "has %zu values; allowed: %s", node->count, pair);
        return false;
    }
    return read_curve_value(reader, path, &node->entries[0].value, DIMENSION_FLOW,
                            "first a flow of at least 0 with a unit, such as 40 cfm",
                            &point->flow_m3_s) &&
           read_curve_value(reader, path, &node->entries[1].value, DIMENSION_PRESSURE,
                            "second a pressure of at least 0 with a unit, such as 1.4 inH2O",
                            &point->pressure_pa);
}

/* Judged by its speed a fan needs a curve that has one pressure for each flow. */
static void read_curve(struct key_reader *reader, const struct key_path *path,
                       const struct yaml_tree_node *node, void *target) {
    static const char allowed[] = "a list of 2 to 32 pairs such as [40 cfm, 1.4 inH2O]";
    struct system_description *system = target;
    if (!key_is(reader, path, node, YAML_TREE_LIST, allowed))
        return;
    if (node->count < 2 || node->count > SYSTEM_CURVE_POINTS_MAX) {
        key_error(reader, path, node->line, "has %zu points; allowed: %s", node->count, allowed);
        return;
    }
    struct fan_curve_point *curve = key_allocate(reader, node->count, sizeof *curve);
    system->fan_curve = curve;
    for (size_t i = 0; curve && i < node->count; i++) {
        struct key_path here = {.up = path, .in_brackets = true, .index = i};
        const struct yaml_tree_node *pair = &node->entries[i].value;
        if (!read_curve_point(reader, &here, pair, &curve[i]))
            return;
        if (i > 0 && curve[i].flow_m3_s <= curve[i - 1].flow_m3_s)
            key_error(reader, &here, pair->line,
                      "flow does not rise; allowed: a flow above the one before");
        if (i > 0 && curve[i].pressure_pa > curve[i - 1].pressure_pa)
            key_error(reader, &here, pair->line,
                      "pressure rises; allowed: a pressure not above the one before");
        system->fan_curve_count = i + 1;
    }
    if (curve && curve[0].pressure_pa <= 0.0)
        key_error(reader, path, node->line,
                  "begins without pressure; allowed: a pressure above 0 at the least flow");
}

static const struct key_row fan_rows[] = {
    {.key = "curve", .kind = KEY_PART, .read = read_curve},
    {.key = "power",
     .kind = KEY_VALUE,
     .offset = AT(fan_power_w),
     .what = "a fan's power",
     .allowed = "0.1 W to 5000 W",
     .lowest = 0.1,
     .highest = 5000.0,
     .dimension = DIMENSION_POWER},
};

static void read_fan(struct key_reader *reader, const struct key_path *path,
                     const struct yaml_tree_node *node, void *target) {
    key_map_read(reader, path, node, ROWS(fan_rows), target);
}

static void read_contacts(struct key_reader *reader, const struct key_path *path,
                          const struct yaml_tree_node *node, void *target) {
    struct system_description *system = target;
    system->contacts_line = node->line;
    key_text_list(reader, path, node, checked_text_id,
                  "a list of contact ids; leave the key out for all contractors", &system->contacts,
                  &system->contact_count);
    for (size_t i = 1; i < system->contact_count; i++)
        for (size_t j = 0; j < i && system->contact_count <= 100; j++)
            if (strcmp(system->contacts[i], system->contacts[j]) == 0)
                key_error(reader, path, node->line, "name \"%s\" twice; allowed: once",
                          system->contacts[i]);
    if (system->contact_count > 100)
        key_error(reader, path, node->line, "are too many; allowed: 100 contacts");
}

static struct condition_settings settings_of_system(const struct settings *settings) {
    struct condition_settings result = {.level = LEVEL_SYSTEM};
    if (settings)
        result.above[0] = (struct condition_list){.overrides = settings->conditions,
                                                  .count = settings->condition_count};
    return result;
}

static void read_conditions(struct key_reader *reader, const struct key_path *path,
                            const struct yaml_tree_node *node, void *target) {
    struct system_description *system = target;
    struct condition_settings level = settings_of_system(reader->context);
    struct condition_list list = {0};
    condition_settings_read(reader, path, node, &level, &list);
    condition_settings_finish(reader, NULL, &level, &list);
    system->conditions = list.overrides;
    system->condition_count = list.count;
}

static void refuse_taken_ids(struct key_reader *reader, const struct key_path *path,
                             const struct system_description *system) {
    for (size_t i = 1; i < system->point_count; i++)
        for (size_t j = 0; j < i; j++) {
            const struct point_description *point = &system->points[i];
            if (!point->id || !system->points[j].id || strcmp(point->id, system->points[j].id) != 0)
                continue;
            struct key_path here = {.up = path, .in_brackets = true, .index = i};
            struct key_path id = {.up = &here, .name = "id"};
            key_error(reader, &id, point->line,
                      "\"%s\" is taken by the point in line %d; allowed: an id of its own",
                      point->id, system->points[j].line);
            break;
        }
}

static void read_points(struct key_reader *reader, const struct key_path *path,
                        const struct yaml_tree_node *node, void *target) {
    struct system_description *system = target;
    if (!key_is(reader, path, node, YAML_TREE_LIST, "a list of points"))
        return;
    if (node->count < 1 || node->count > POINTS_MAX) {
        key_error(reader, path, node->line, "has %zu points; allowed: 1 to 1000", node->count);
        return;
    }
    system->points = key_allocate(reader, node->count, sizeof *system->points);
    if (!system->points)
        return;
    system->point_count = node->count;
    for (size_t i = 0; i < node->count; i++)
        system_description_read_point(reader, path, &node->entries[i].value, i, system,
                                      &system->points[i]);
    refuse_taken_ids(reader, path, system);
}

/* `conditions` stands before `points`, whose checks look at it; `id` before both. */
static const struct key_row system_rows[] = {
    {.key = "id",
     .kind = KEY_TEXT,
     .offset = AT(id),
     .required = true,
     .allowed = "an id such as birch-lane-12",
     .check = checked_text_id},
    {.key = "name",
     .kind = KEY_TEXT,
     .offset = AT(name),
     .allowed = "one line of text",
     .check = checked_text_line},
    {.key = "address",
     .kind = KEY_TEXT,
     .offset = AT(address),
     .allowed = "one line of text",
     .check = checked_text_line},
    {.key = "time_zone",
     .kind = KEY_TEXT,
     .offset = AT(time_zone),
     .otherwise = "UTC",
     .allowed = "an IANA name such as America/Denver",
     .check = checked_text_time_zone},
    {.key = "foundation",
     .kind = KEY_TEXT,
     .offset = AT(foundation),
     .allowed = "one line of text",
     .check = checked_text_line},
    {.key = "pipe", .kind = KEY_PART, .otherwise = "", .read = read_pipe},
    {.key = "fan", .kind = KEY_PART, .read = read_fan},
    {.key = "contacts", .kind = KEY_PART, .read = read_contacts},
    {.key = "conditions", .kind = KEY_PART, .read = read_conditions},
    {.key = "visit_every",
     .kind = KEY_SPAN,
     .offset = AT(visit_every_ms),
     .what = "a time between visits",
     .allowed = "none, or to 10 y",
     .highest = 10.0 * (double)DURATION_YEAR_MS},
    {.key = "retest_every",
     .kind = KEY_SPAN,
     .offset = AT(retest_every_ms),
     .what = "a time between radon tests",
     .allowed = "none, or to 10 y",
     .highest = 10.0 * (double)DURATION_YEAR_MS},
    {.key = "points",
     .kind = KEY_PART,
     .required = true,
     .allowed = "a list of points",
     .read = read_points},
};

struct system_description *system_description_parse(const char *file, const char *text,
                                                    size_t length, const struct settings *settings,
                                                    struct settings_errors *errors) {
    struct yaml_tree_node *root = yaml_tree_parse(file, text, length, errors);
    if (!root)
        return NULL;
    struct key_reader reader = {.file = file, .errors = errors, .context = settings};
    struct system_description *system = key_allocate(&reader, 1, sizeof *system);
    if (system) {
        system->file = key_copy(&reader, file);
        system->visit_every_ms = system->retest_every_ms = -1;
        const struct yaml_tree_entry *id = yaml_tree_find(root, "id");
        system->id_line = id ? id->value.line : root->line;
        const struct yaml_tree_entry *zone = yaml_tree_find(root, "time_zone");
        system->time_zone_line = zone ? zone->value.line : root->line;
        key_map_read(&reader, NULL, root, ROWS(system_rows), system);
        if (!system->name && system->id)
            system->name = key_copy(&reader, system->id);
    }
    yaml_tree_free(root);
    if (key_reader_finish(&reader))
        return system;
    system_description_free(system);
    return NULL;
}

void system_description_free(struct system_description *system) {
    if (!system)
        return;
    for (size_t i = 0; i < system->point_count; i++)
        system_description_clear_point(&system->points[i]);
    for (size_t i = 0; i < system->contact_count; i++)
        free(system->contacts[i]);
    free(system->points);
    free(system->contacts);
    free(system->fan_curve);
    free(system->conditions);
    free(system->file);
    free(system->id);
    free(system->name);
    free(system->address);
    free(system->time_zone);
    free(system->foundation);
    free(system);
}
