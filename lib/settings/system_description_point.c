#include "settings/system_description_point.h"

#include "complaints.h"
#include "measure/duration.h"
#include "measure/root_sum.h"
#include "settings/checked_text.h"
#include "settings/condition_settings.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct point_draft {
    struct point_description *point;
    const struct system_description *system;
    char *id, *name, *topic, *value_pointer, *time_pointer, *senml_name, *place;
    size_t branch;
    int by_hand;
    int quantity; /* -1: not read */
    const struct unit *unit;
    int time_unit, time_zone;
    double scale, offset;
    double calibration_relative; /* -1: by the quantity */
    int64_t every_ms;
    struct condition_list list;
};

#define AT(field) offsetof(struct point_draft, field)
#define RADON_CALIBRATION_RELATIVE 0.10
#define OTHER_CALIBRATION_RELATIVE 0.03

static const int64_t half_a_year_ms = 183 * DURATION_DAY_MS; /* `every` of what is read by hand */

static void read_quantity(const struct key_at *at, void *target) {
    struct point_draft *draft = target;
    enum quantity quantity;
    if (at->node->kind == YAML_TREE_SCALAR && quantity_find(at->node->text, &quantity)) {
        draft->quantity = (int)quantity;
        return;
    }
    const char *words[QUANTITY_COUNT];
    char list[400];
    for (int q = 0; q < QUANTITY_COUNT; q++)
        words[q] = quantity_info((enum quantity)q)->name;
    key_join(list, sizeof list, words, QUANTITY_COUNT);
    const char *text = key_scalar(at, list);
    if (text)
        key_error(at, "\"%.60s\" is not a quantity; %sallowed: %s", text,
                  key_hint(text, words, QUANTITY_COUNT).text, list);
}

static void read_unit(const struct key_at *at, void *target) {
    struct point_draft *draft = target;
    if (draft->quantity < 0)
        return; /* its own error stands already */
    const struct quantity_info *info = quantity_info((enum quantity)draft->quantity);
    const char *text = at->node ? key_scalar(at, "a unit") : unit_si_word(info->dimension);
    if (!text)
        return;
    struct key_shown shown;
    const struct unit *unit = unit_find(text, strlen(text));
    if (unit && quantity_allows((enum quantity)draft->quantity, unit->dimension))
        draft->unit = unit;
    else if (unit)
        key_error(at, SAY_UNIT_OF_OTHER, key_show(&shown, text), info->name,
                  unit_list(info->dimension));
    else
        key_error(at, SAY_NO_UNIT, key_show(&shown, text), info->name, unit_list(info->dimension));
}

/* What holds for conditions of this point; false when its quantity or unit had an error. */
static bool level_of(const struct key_at *at, const struct point_draft *draft,
                     struct condition_settings *level) {
    const struct settings *settings = at->reader->context;
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

static void read_limits(const struct key_at *at, void *target) {
    struct point_draft *draft = target;
    struct condition_settings level;
    if (level_of(at, draft, &level))
        condition_settings_read_limits(at, &level, &draft->list);
}

static void read_conditions(const struct key_at *at, void *target) {
    struct point_draft *draft = target;
    struct condition_settings level;
    if (level_of(at, draft, &level))
        condition_settings_read(at, &level, &draft->list);
}

/* What is measured in a riser or at its fan; field and radon are those of the house. */
static bool is_of_branch(int quantity) {
    return quantity == QUANTITY_SUCTION || quantity == QUANTITY_AIRFLOW ||
           quantity == QUANTITY_VELOCITY_PRESSURE || quantity == QUANTITY_FAN_POWER ||
           quantity == QUANTITY_FAN_CURRENT;
}

static void list_branches(const struct system_description *system, char *list, size_t size) {
    const char *ids[BRANCHES_MAX];
    for (size_t i = 0; i < system->branch_count; i++)
        ids[i] = system->branches[i].id ? system->branches[i].id : "";
    key_join(list, size, ids, system->branch_count);
}

/* Not given is enough where there is one branch. */
static void read_branch(const struct key_at *at, void *target) {
    struct point_draft *draft = target;
    const struct system_description *system = draft->system;
    char list[BRANCHES_MAX * 70] = "";
    if (system->branch_count == 0)
        return; /* its own error stands already */
    list_branches(system, list, sizeof list);
    if (!at->node) {
        bool one = is_of_branch(draft->quantity);
        if (one && system->branch_count > 1)
            key_error(at, SAY_BRANCH_NEEDED, list);
        draft->branch = one ? 0 : BRANCH_NONE;
        return;
    }
    const char *text = key_scalar(at, list);
    if (!text)
        return;
    draft->branch = branch_description_find(system->branches, system->branch_count, text);
    if (draft->branch == BRANCH_NONE)
        key_error(at, SAY_NO_BRANCH, key_show(&(struct key_shown){""}, text), list);
}

static const struct key_word by_words[] = {{"sensor", 0}, {"hand", 1}, {NULL, 0}};

static const struct key_word time_unit_words[] = {
    {"s", PAYLOAD_TIME_SECONDS}, {"ms", PAYLOAD_TIME_MILLISECONDS}, {NULL, 0}};

static const struct key_word time_zone_words[] = {
    {"local", PAYLOAD_TIME_ZONE_LOCAL}, {"UTC", PAYLOAD_TIME_ZONE_UTC}, {NULL, 0}};

/* quantity before unit before limits: each needs the one before. */
static const struct key_row point_rows[] = {
    {.key = "id", KEY_TEXT_AT(AT(id), checked_text_id, SAY_AN_ID_OF_POINT), .required = true},
    {.key = "name", KEY_TEXT_AT(AT(name), checked_text_line, SAY_A_LINE)},
    {.key = "quantity", KEY_PART_AT(0, read_quantity), .required = true, .allowed = SAY_A_QUANTITY},
    {.key = "branch", KEY_PART_AT(0, read_branch), .otherwise = ""},
    {.key = "place", KEY_TEXT_AT(AT(place), checked_text_line, SAY_A_LINE)},
    {.key = "by",
     KEY_WORD_AT(AT(by_hand), by_words, "a way of reading", "sensor or hand"),
     .otherwise = "sensor"},
    {.key = "topic",
     KEY_TEXT_AT(AT(topic), checked_text_topic, "a topic such as subslab/birch-lane-12/suction")},
    {.key = "unit", KEY_PART_AT(0, read_unit), .otherwise = ""},
    {.key = "every",
     KEY_RANGE_AT(KEY_SPAN, AT(every_ms), DURATION_SECOND_MS, 366 * DURATION_DAY_MS,
                  SAY_AN_INTERVAL, SAY_THE_INTERVALS),
     .otherwise = "10 min"},
    {.key = "value",
     KEY_TEXT_AT(AT(value_pointer), checked_text_json_pointer,
                 "a JSON Pointer such as /pressure/value")},
    {.key = "time",
     KEY_TEXT_AT(AT(time_pointer), checked_text_json_pointer, "a JSON Pointer such as /time")},
    {.key = "time_unit", KEY_WORD_AT(AT(time_unit), time_unit_words, "a unit of time", "s or ms")},
    {.key = "time_zone_of_time",
     KEY_WORD_AT(AT(time_zone), time_zone_words, "a zone of a time without an offset",
                 "local or UTC")},
    {.key = "scale",
     KEY_RANGE_AT(KEY_NUMBER, AT(scale), -1e6, 1e6, "a scale", "-1000000 to 1000000, not 0"),
     .otherwise = "1"},
    {.key = "offset",
     KEY_RANGE_AT(KEY_NUMBER, AT(offset), -1e6, 1e6, "an offset, a number in the sensor's unit",
                  "-1000000 to 1000000"),
     .otherwise = "0"},
    {.key = "senml_name", KEY_TEXT_AT(AT(senml_name), checked_text_senml_name, "a SenML name")},
    {.key = "limits", KEY_PART_AT(0, read_limits)},
    {.key = "conditions", KEY_PART_AT(0, read_conditions)},
    {.key = "calibration_uncertainty",
     KEY_RANGE_AT(KEY_FRACTION, AT(calibration_relative), 0.0, 1.0,
                  "a relative standard uncertainty", "0 % to 100 %, such as 10 %")},
};

static char *default_topic(const struct key_at *at, const struct point_draft *draft) {
    char topic[160];
    if (!draft->system->id || !draft->id)
        return NULL; /* each has its own error */
    snprintf(topic, sizeof topic, "subslab/%s/%s", draft->system->id, draft->id);
    return key_copy(at, topic);
}

static void finish_conditions(const struct key_at *at, struct point_draft *draft) {
    struct condition_settings level;
    if (level_of(at, draft, &level))
        condition_settings_finish(at, &level, &draft->list);
    draft->point->conditions = draft->list.overrides;
    draft->point->condition_count = draft->list.count;
}

static void finish_binding(const struct key_at *at, struct point_draft *draft) {
    const struct settings *settings = at->reader->context;
    int64_t kept_ms = draft->system->keep_readings_ms;
    draft->point->binding = (struct payload_binding){
        .quantity = draft->point->quantity,
        .unit = draft->unit,
        .value_pointer = draft->value_pointer,
        .time_pointer = draft->time_pointer,
        .senml_name = draft->senml_name,
        .time_unit = (enum payload_time_unit)draft->time_unit,
        .time_zone = (enum payload_time_zone)draft->time_zone,
        .scale = draft->scale,
        .offset = draft->offset,
        .keep_ms = kept_ms    ? kept_ms
                   : settings ? settings->keep_readings_ms
                              : 0,
    };
}

static void check_needs_time(const struct key_at *at, const char *key) {
    const struct key_at here = key_child(at, key);
    if (here.node && !key_child(at, "time").node)
        key_error(&here, "is not used without time; allowed: time and %s together", key);
}

static void check_together(const struct key_at *at, const struct point_draft *draft) {
    const struct key_at scale = key_child(at, "scale"), senml_name = key_child(at, "senml_name");
    double number = 1.0;
    if (scale.node && draft->scale == 0.0 && scale.node->kind == YAML_TREE_SCALAR &&
        key_number_parse(scale.node->text, &number) && number == 0.0)
        key_error(&scale, "is 0, which makes every reading the same; allowed: -1000000 to 1000000, "
                          "not 0");
    check_needs_time(at, "time_unit");
    check_needs_time(at, "time_zone_of_time");
    if (draft->senml_name && draft->value_pointer)
        key_error(&senml_name, "and value exclude each other; allowed: one of them");
}

void system_description_read_point(const struct key_at *at, const struct system_description *system,
                                   struct point_description *point) {
    struct point_draft draft = {
        .point = point, .system = system, .quantity = -1, .calibration_relative = -1.0};
    key_map_read(at, KEY_ROWS(point_rows), &draft);
    check_together(at, &draft);
    point->line = at->line;
    point->id = draft.id;
    point->name = draft.name ? draft.name : draft.id;
    point->topic = draft.topic ? draft.topic : default_topic(at, &draft);
    point->quantity = draft.quantity < 0 ? QUANTITY_SUCTION : (enum quantity)draft.quantity;
    point->every_ms =
        draft.by_hand && !key_child(at, "every").node ? half_a_year_ms : draft.every_ms;
    point->branch = draft.branch;
    point->place = draft.place;
    point->by_hand = draft.by_hand;
    point->calibration_relative = draft.calibration_relative >= 0.0  ? draft.calibration_relative
                                  : draft.quantity == QUANTITY_RADON ? RADON_CALIBRATION_RELATIVE
                                                                     : OTHER_CALIBRATION_RELATIVE;
    finish_binding(at, &draft);
    finish_conditions(at, &draft);
}

double point_calibration(const struct point_description *point, double value) {
    return root_sum(point->calibration_relative * value,
                    quantity_info(point->quantity)->zero_uncertainty);
}
