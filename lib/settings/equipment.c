#include "settings/equipment.h"

#include "complaints.h"
#include "measure/time_zone.h"
#include "measure/timestamp.h"
#include "settings/checked_text.h"

#include <stdlib.h>
#include <string.h>

#define AT(field) offsetof(struct equipment, field)

static const struct key_word why_words[] = {{"failed", 0}, {"worn", 0}, {"other", 0}, {NULL, 0}};

static const struct key_row equipment_rows[] = {
    {.key = "branch", KEY_TEXT_AT(AT(branch), checked_text_id, SAY_A_BRANCH)},
    {.key = "model", KEY_TEXT_AT(AT(model), checked_text_id, SAY_A_FAN_MODEL), .required = true},
    {.key = "serial", KEY_TEXT_AT(AT(serial), checked_text_line, SAY_A_LINE)},
    {.key = "installed", KEY_DAY_AT(AT(installed_day), SAY_A_DAY)},
    {.key = "warranty_until", KEY_DAY_AT(AT(warranty_until_day), SAY_A_LATER_DAY)},
    {.key = "why",
     .kind = KEY_WORD_TEXT,
     .offset = AT(why),
     .what = "a reason why the fan before was taken out",
     .allowed = "failed, worn or other",
     .words = why_words},
};

static void check_branch(struct key_reader *reader, const struct key_path *path,
                         const struct yaml_tree_node *node, const struct equipment_place *place,
                         struct equipment *equipment) {
    const struct yaml_tree_entry *given = yaml_tree_find(node, "branch");
    struct key_path here = {.up = path, .name = "branch"};
    if (!given && place->branch_count == 1)
        equipment->branch = key_copy(reader, place->branches[0].id);
    else if (!given)
        key_error(reader, &here, node->line, SAY_BRANCH_OF_NEEDED, place->system);
    else if (equipment->branch && branch_description_find(place->branches, place->branch_count,
                                                          equipment->branch) == BRANCH_NONE)
        key_error(reader, &here, given->value.line, SAY_NO_BRANCH_OF, equipment->branch,
                  place->system);
}

static void check_model(struct key_reader *reader, const struct key_path *path,
                        const struct yaml_tree_node *node, const struct fan_models *fans,
                        const struct equipment *equipment) {
    struct key_path here = {.up = path, .name = "model"};
    if (equipment->model && fans && fans->folder && !fan_models_find(fans, equipment->model))
        key_error(reader, &here, yaml_tree_find(node, "model")->value.line, SAY_NO_FAN_MODEL,
                  equipment->model, fans->folder);
}

static void check_days(struct key_reader *reader, const struct key_path *path,
                       const struct yaml_tree_node *node, const struct equipment_place *place,
                       const struct equipment *equipment) {
    struct key_path installed = {.up = path, .name = "installed"};
    struct key_path warranty = {.up = path, .name = "warranty_until"};
    if (equipment->installed_day == TIMESTAMP_NONE)
        return;
    if (equipment->installed_day > place->last_day)
        key_error(reader, &installed, yaml_tree_find(node, "installed")->value.line, SAY_AHEAD);
    if (equipment->warranty_until_day != TIMESTAMP_NONE &&
        equipment->warranty_until_day < equipment->installed_day)
        key_error(reader, &warranty, yaml_tree_find(node, "warranty_until")->value.line,
                  SAY_BEFORE_INSTALLED);
}

void equipment_read(struct key_reader *reader, const struct key_path *path,
                    const struct yaml_tree_node *node, const struct equipment_place *place,
                    struct equipment_list *list) {
    if (!key_is(reader, path, node, YAML_TREE_LIST, "a list of fans"))
        return;
    if (node->count < 1 || node->count > BRANCHES_MAX) {
        key_error(reader, path, node->line, "has %zu fans; allowed: 1 to %d", node->count,
                  BRANCHES_MAX);
        return;
    }
    list->items = key_allocate(reader, node->count, sizeof *list->items);
    for (size_t i = 0; list->items && i < node->count; i++) {
        const struct yaml_tree_node *entry = &node->entries[i].value;
        struct key_path here = {.up = path, .in_brackets = true, .index = i};
        struct equipment *equipment = &list->items[list->count++];
        equipment->installed_day = equipment->warranty_until_day = TIMESTAMP_NONE;
        key_map_read(reader, &here, entry, KEY_ROWS(equipment_rows), equipment);
        if (entry->kind != YAML_TREE_MAP)
            continue;
        check_branch(reader, &here, entry, place, equipment);
        check_model(reader, &here, entry, place->fans, equipment);
        check_days(reader, &here, entry, place, equipment);
    }
}

bool equipment_parse(const char *file, const char *text, size_t length,
                     const struct equipment_place *place, struct settings_errors *errors,
                     struct equipment_list *list) {
    static const struct key_path path = {.name = "equipment"};
    struct yaml_tree_node *root = yaml_tree_parse(file, text, length, errors);
    struct key_reader reader = {.file = file, .errors = errors};
    if (!root)
        return false;
    struct yaml_tree_entry only = {.line = root->line, .value = *root};
    const struct yaml_tree_node one = {
        .kind = YAML_TREE_LIST, .line = root->line, .entries = &only, .count = 1};
    equipment_read(&reader, &path, root->kind == YAML_TREE_MAP ? &one : root, place, list);
    yaml_tree_free(root);
    return key_reader_finish(&reader);
}

int64_t equipment_since_ms(const struct equipment *equipment, const struct time_zone *zone,
                           int64_t record_ms) {
    return equipment->installed_day == TIMESTAMP_NONE
               ? record_ms
               : time_zone_day_start_ms(zone, equipment->installed_day);
}

void equipment_clear(struct equipment_list *list) {
    for (size_t i = 0; i < list->count; i++) {
        free(list->items[i].branch);
        free(list->items[i].model);
        free(list->items[i].serial);
        free(list->items[i].why);
    }
    free(list->items);
    *list = (struct equipment_list){0};
}
