#include "settings/system_description_point.h"

#include "measure/duration.h"
#include "settings/checked_text.h"
#include "settings/condition_settings.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* The strings of a binding are const, as its users borrow them; here they are owned. */
struct point_draft {
    struct point_description *point;
    const struct system_description *system;
    char *id, *name, *topic, *value_pointer, *time_pointer, *senml_name;
    int quantity; /* -1: not read */
    const struct unit *unit;
    int time_unit;
    double scale, offset;
    double calibration_relative; /* -1: by the quantity */
    int64_t every_ms;
    struct condition_list list;
};

#define AT(field) offsetof(struct point_draft, field)
#define ROWS(rows) (rows), sizeof(rows) / sizeof((rows)[0])
#define RADON_CALIBRATION_RELATIVE 0.10
#define OTHER_CALIBRATION_RELATIVE 0.03

static void read_quantity(struct key_reader *reader, const struct key_path *path,
                          const struct yaml_tree_node *node, void *target) {
    struct point_draft *draft = target;
    const char *words[QUANTITY_COUNT];
    char list[400] = "";
    size_t used = 0;
    for (int q = 0; q < QUANTITY_COUNT; q++) {
        words[q] = quantity_info((enum quantity)q)->name;
        used += (size_t)snprintf(list + used, sizeof list - used, "%s%s", q ? ", " : "", words[q]);
    }
    const char *text = key_scalar(reader, path, node, list);
    enum quantity quantity;
    if (!text)
        return;
    if (quantity_find(text, &quantity)) {
        draft->quantity = (int)quantity;
        return;
    }
    const char *nearest = key_nearest(text, words, QUANTITY_COUNT);
    key_error(reader, path, node->line, "\"%.60s\" is not a quantity; %s%s%sallowed: %s", text,
              nearest ? "did you mean \"" : "", nearest ? nearest : "", nearest ? "\"? " : "",
              list);
}

static void read_unit(struct key_reader *reader, const struct key_path *path,
                      const struct yaml_tree_node *node, void *target) {
    struct point_draft *draft = target;
    if (draft->quantity < 0)
        return; /* its own error stands already */
    enum quantity quantity = (enum quantity)draft->quantity;
    const char *word = unit_si_word(quantity_info(quantity)->dimension);
    const char *text = node ? key_scalar(reader, path, node, "a unit") : word;
    if (!text)
        return;
    const struct unit *unit = unit_find(text, strlen(text));
    if (unit && quantity_allows(quantity, unit->dimension))
        draft->unit = unit;
    else if (unit)
        key_error(reader, path, node ? node->line : 0,
                  "%.60s is a unit of another kind; allowed for %s: %s and the like", text,
                  quantity_info(quantity)->name, word);
    else
        key_error(reader, path, node ? node->line : 0,
                  "\"%.60s\" is not a unit; allowed for %s: %s and the like", text,
                  quantity_info(quantity)->name, word);
}

/* What holds for conditions of this point; false when its quantity or unit had an error. */
static bool level_of(const struct key_reader *reader, const struct point_draft *draft,
                     struct condition_settings *level) {
    const struct settings *settings = reader->context;
    if (draft->quantity < 0 || !draft->unit)
        return false;
    *level = (struct condition_settings){.level = LEVEL_POINT,
                                         .quantity = (enum quantity)draft->quantity,
                                         .dimension = draft->unit->dimension};
    if (settings)
        level->above[0] = (struct condition_list){.overrides = settings->conditions,
                                                  .count = settings->condition_count};
    level->above[1] = (struct condition_list){.overrides = draft->system->conditions,
                                              .count = draft->system->condition_count};
    return true;
}

static void read_limits(struct key_reader *reader, const struct key_path *path,
                        const struct yaml_tree_node *node, void *target) {
    struct point_draft *draft = target;
    struct condition_settings level;
    if (level_of(reader, draft, &level))
        condition_settings_read_limits(reader, path, node, &level, &draft->list);
}

static void read_conditions(struct key_reader *reader, const struct key_path *path,
                            const struct yaml_tree_node *node, void *target) {
    struct point_draft *draft = target;
    struct condition_settings level;
    if (level_of(reader, draft, &level))
        condition_settings_read(reader, path, node, &level, &draft->list);
}

static const struct key_word time_unit_words[] = {
    {"s", PAYLOAD_TIME_SECONDS}, {"ms", PAYLOAD_TIME_MILLISECONDS}, {NULL, 0}};

/* quantity before unit before limits: each needs the one before. */
static const struct key_row point_rows[] = {
    {.key = "id",
     .kind = KEY_TEXT,
     .offset = AT(id),
     .required = true,
     .allowed = "an id such as suction",
     .check = checked_text_id},
    {.key = "name",
     .kind = KEY_TEXT,
     .offset = AT(name),
     .allowed = "one line of text",
     .check = checked_text_line},
    {.key = "quantity",
     .kind = KEY_PART,
     .required = true,
     .allowed = "a quantity such as suction, field or radon",
     .read = read_quantity},
    {.key = "topic",
     .kind = KEY_TEXT,
     .offset = AT(topic),
     .allowed = "a topic such as subslab/birch-lane-12/suction",
     .check = checked_text_topic},
    {.key = "unit", .kind = KEY_PART, .otherwise = "", .read = read_unit},
    {.key = "every",
     .kind = KEY_SPAN,
     .offset = AT(every_ms),
     .otherwise = "10 min",
     .what = "an interval",
     .allowed = "1 s to 366 d, such as 10 min",
     .lowest = (double)DURATION_SECOND_MS,
     .highest = 366.0 * (double)DURATION_DAY_MS},
    {.key = "value",
     .kind = KEY_TEXT,
     .offset = AT(value_pointer),
     .allowed = "a JSON Pointer such as /pressure/value",
     .check = checked_text_json_pointer},
    {.key = "time",
     .kind = KEY_TEXT,
     .offset = AT(time_pointer),
     .allowed = "a JSON Pointer such as /time",
     .check = checked_text_json_pointer},
    {.key = "time_unit",
     .kind = KEY_WORD,
     .offset = AT(time_unit),
     .what = "a unit of time",
     .allowed = "s or ms",
     .words = time_unit_words},
    {.key = "scale",
     .kind = KEY_NUMBER,
     .offset = AT(scale),
     .otherwise = "1",
     .what = "a scale",
     .allowed = "-1000000 to 1000000, not 0",
     .lowest = -1e6,
     .highest = 1e6},
    {.key = "offset",
     .kind = KEY_NUMBER,
     .offset = AT(offset),
     .otherwise = "0",
     .what = "an offset, a number in the sensor's unit",
     .allowed = "-1000000 to 1000000",
     .lowest = -1e6,
     .highest = 1e6},
    {.key = "senml_name",
     .kind = KEY_TEXT,
     .offset = AT(senml_name),
     .allowed = "a SenML name",
     .check = checked_text_senml_name},
    {.key = "limits", .kind = KEY_PART, .read = read_limits},
    {.key = "conditions", .kind = KEY_PART, .read = read_conditions},
    {.key = "calibration_uncertainty",
     .kind = KEY_FRACTION,
     .offset = AT(calibration_relative),
     .what = "a relative standard uncertainty",
     .allowed = "0 % to 100 %, such as 10 %",
     .highest = 1.0},
};

static char *default_topic(struct key_reader *reader, const struct point_draft *draft) {
    char *topic = NULL;
    if (!draft->system->id || !draft->id)
        return NULL; /* each has its own error */
    if (asprintf(&topic, "subslab/%s/%s", draft->system->id, draft->id) < 0) {
        key_error(reader, NULL, 0, "out of memory");
        return NULL;
    }
    return topic;
}

static void finish_conditions(struct key_reader *reader, const struct key_path *path,
                              struct point_draft *draft) {
    struct condition_settings level;
    if (level_of(reader, draft, &level))
        condition_settings_finish(reader, path, &level, &draft->list);
    draft->point->conditions = draft->list.overrides;
    draft->point->condition_count = draft->list.count;
}

static void finish_binding(const struct key_reader *reader, struct point_draft *draft) {
    const struct settings *settings = reader->context;
    draft->point->binding = (struct payload_binding){
        .quantity = draft->point->quantity,
        .unit = draft->unit,
        .value_pointer = draft->value_pointer,
        .time_pointer = draft->time_pointer,
        .senml_name = draft->senml_name,
        .time_unit = (enum payload_time_unit)draft->time_unit,
        .scale = draft->scale,
        .offset = draft->offset,
        .keep_ms = settings ? settings->keep_readings_ms : 0,
    };
}

static void check_together(struct key_reader *reader, const struct key_path *path,
                           const struct yaml_tree_node *node, const struct point_draft *draft) {
    const struct yaml_tree_entry *scale = yaml_tree_find(node, "scale");
    const struct yaml_tree_entry *time_unit = yaml_tree_find(node, "time_unit");
    if (scale && draft->scale == 0.0 && scale->value.kind == YAML_TREE_SCALAR) {
        struct key_path here = {.up = path, .name = "scale"};
        double number = 1.0;
        if (key_number_parse(scale->value.text, &number) && number == 0.0)
            key_error(reader, &here, scale->value.line,
                      "is 0, which makes every reading the same; allowed: -1000000 to 1000000, "
                      "not 0");
    }
    if (time_unit && draft->time_pointer == NULL && !yaml_tree_find(node, "time")) {
        struct key_path here = {.up = path, .name = "time_unit"};
        key_error(reader, &here, time_unit->value.line,
                  "is not used without time; allowed: time and time_unit together");
    }
    if (draft->senml_name && draft->value_pointer) {
        struct key_path here = {.up = path, .name = "senml_name"};
        key_error(reader, &here, yaml_tree_find(node, "senml_name")->value.line,
                  "and value exclude each other; allowed: one of them");
    }
}

void system_description_read_point(struct key_reader *reader, const struct key_path *list,
                                   const struct yaml_tree_node *node, size_t index,
                                   const struct system_description *system,
                                   struct point_description *point) {
    const struct yaml_tree_entry *id = yaml_tree_find(node, "id");
    bool named = id && id->value.kind == YAML_TREE_SCALAR && !checked_text_id(id->value.text);
    struct key_path here = {
        .up = list, .in_brackets = true, .index = index, .name = named ? id->value.text : NULL};
    struct point_draft draft = {
        .point = point, .system = system, .quantity = -1, .calibration_relative = -1.0};
    key_map_read(reader, &here, node, ROWS(point_rows), &draft);
    check_together(reader, &here, node, &draft);
    point->line = node->line;
    point->id = draft.id;
    point->name = draft.name ? draft.name : draft.id ? key_copy(reader, draft.id) : NULL;
    point->topic = draft.topic ? draft.topic : default_topic(reader, &draft);
    point->quantity = draft.quantity < 0 ? QUANTITY_SUCTION : (enum quantity)draft.quantity;
    point->every_ms = draft.every_ms;
    point->calibration_relative = draft.calibration_relative >= 0.0  ? draft.calibration_relative
                                  : draft.quantity == QUANTITY_RADON ? RADON_CALIBRATION_RELATIVE
                                                                     : OTHER_CALIBRATION_RELATIVE;
    finish_binding(reader, &draft);
    finish_conditions(reader, &here, &draft);
    free(draft.list.places);
}

void system_description_clear_point(struct point_description *point) {
    free(point->id);
    free(point->name);
    free(point->topic);
    free((char *)(uintptr_t)point->binding.value_pointer);
    free((char *)(uintptr_t)point->binding.time_pointer);
    free((char *)(uintptr_t)point->binding.senml_name);
    free(point->conditions);
}
