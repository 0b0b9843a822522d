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

static void check_branch(const struct key_at *at, const struct equipment_place *place,
                         struct equipment *equipment) {
    const struct key_at here = key_child(at, "branch");
    if (!here.node && place->branch_count == 1)
        equipment->branch = key_copy(at, place->branches[0].id);
    else if (!here.node)
        key_error(&here, SAY_BRANCH_OF_NEEDED, place->system);
    else if (equipment->branch && branch_description_find(place->branches, place->branch_count,
                                                          equipment->branch) == BRANCH_NONE)
        key_error(&here, SAY_NO_BRANCH_OF, equipment->branch, place->system);
}

static void check_model(const struct key_at *at, const struct fan_models *fans,
                        const struct equipment *equipment) {
    const struct key_at here = key_child(at, "model");
    if (equipment->model && fans && fans->folder && !fan_models_find(fans, equipment->model))
        key_error(&here, SAY_NO_FAN_MODEL, equipment->model, fans->folder);
}

static void check_days(const struct key_at *at, const struct equipment_place *place,
                       const struct equipment *equipment) {
    const struct key_at installed = key_child(at, "installed");
    const struct key_at warranty = key_child(at, "warranty_until");
    if (equipment->installed_day == TIMESTAMP_NONE)
        return;
    if (equipment->installed_day > place->last_day)
        key_error(&installed, SAY_AHEAD);
    if (equipment->warranty_until_day != TIMESTAMP_NONE &&
        equipment->warranty_until_day < equipment->installed_day)
        key_error(&warranty, SAY_BEFORE_INSTALLED);
}

void equipment_read(const struct key_at *at, const struct equipment_place *place,
                    struct equipment_list *list) {
    list->items = key_list_room(at, "fans", BRANCHES_MAX, sizeof *list->items);
    for (size_t i = 0; list->items && i < at->node->count; i++) {
        const struct key_at here = key_item(at, i);
        struct equipment *equipment = &list->items[list->count++];
        equipment->installed_day = equipment->warranty_until_day = TIMESTAMP_NONE;
        key_map_read(&here, KEY_ROWS(equipment_rows), equipment);
        if (here.node->kind != YAML_TREE_MAP)
            continue;
        check_branch(&here, place, equipment);
        check_model(&here, place->fans, equipment);
        check_days(&here, place, equipment);
    }
}

/* A single fan stands for a list of one. */
static void read_whole(const struct key_at *all, void *list) {
    struct yaml_tree_entry only = {.line = all->line, .value = *all->node};
    const struct yaml_tree_node one = {
        .kind = YAML_TREE_LIST, .line = all->line, .entries = &only, .count = 1};
    struct key_at here = *all;
    here.name = "equipment";
    if (all->node->kind == YAML_TREE_MAP)
        here.node = &one;
    equipment_read(&here, all->reader->context, list);
}

bool equipment_parse(const char *file, const char *text, size_t length,
                     const struct equipment_place *place, struct settings_errors *errors,
                     struct equipment_list *list) {
    struct key_reader reader = {.file = file, .errors = errors, .context = place};
    const struct equipment_list *made =
        key_read_file(&reader, text, length, sizeof *made, read_whole);
    if (made)
        *list = *made;
    return made != NULL;
}

int64_t equipment_since_ms(const struct equipment *equipment, const struct time_zone *zone,
                           int64_t record_ms) {
    return equipment->installed_day == TIMESTAMP_NONE
               ? record_ms
               : time_zone_day_start_ms(zone, equipment->installed_day);
}

void equipment_clear(struct equipment_list *list) {
    arena_free(list->memory);
    *list = (struct equipment_list){0};
}
