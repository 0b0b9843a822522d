#include "settings/test_holes.h"

#include "complaints.h"
#include "measure/quantity.h"
#include "settings/checked_text.h"

#include <math.h>
#include <stdlib.h>

#define AT(field) offsetof(struct test_setting, field)

const struct key_word back_draft_words[] = {{"passed", BACK_DRAFT_PASSED},
                                            {"failed", BACK_DRAFT_FAILED},
                                            {"no appliance", BACK_DRAFT_NO_APPLIANCE},
                                            {NULL, 0}};

const char *back_draft_word(enum back_draft result) {
    for (const struct key_word *word = back_draft_words; word->word; word++)
        if (word->value == (int)result)
            return word->word;
    return NULL;
}

static bool read_field(struct key_reader *reader, const struct key_path *path,
                       const struct yaml_tree_node *node, double *pa) {
    const char *text = key_scalar(reader, path, node, SAY_HOLE_PRESSURES);
    if (!text)
        return false;
    if (unit_parse(text, DIMENSION_PRESSURE, pa) == UNIT_OK &&
        quantity_plausible(QUANTITY_FIELD, DIMENSION_PRESSURE, *pa))
        return true;
    key_error(reader, path, node->line, SAY_NO_HOLE_PRESSURE,
              key_show(&(struct key_shown){""}, text), SAY_HOLE_PRESSURES);
    return false;
}

static void read_holes(struct key_reader *reader, const struct key_path *path,
                       const struct yaml_tree_node *node, void *target) {
    struct test_setting *setting = target;
    if (!key_is(reader, path, node, YAML_TREE_MAP, "a map of test holes and pressures"))
        return;
    if (node->count > TEST_HOLES_MAX) {
        key_error(reader, path, node->line, "has %zu holes; allowed: %d", node->count,
                  TEST_HOLES_MAX);
        return;
    }
    setting->holes = key_allocate(reader, node->count, sizeof *setting->holes);
    for (size_t i = 0; setting->holes && i < node->count; i++) {
        const struct yaml_tree_entry *entry = &node->entries[i];
        const struct key_path here = {.up = path, .name = entry->key};
        struct test_hole *hole = &setting->holes[setting->hole_count];
        const char *problem = checked_text_line(entry->key);
        if (problem)
            key_error(reader, &here, entry->line, "%s", problem);
        else if (read_field(reader, &here, &entry->value, &hole->field_pa) &&
                 (hole->name = key_copy(reader, entry->key)))
            setting->hole_count++;
    }
}

static const struct key_row setting_rows[] = {
    {.key = "setting", KEY_TEXT_AT(AT(setting), checked_text_line, SAY_A_SETTING)},
    {.key = "suction",
     KEY_RANGE_AT(KEY_VALUE, AT(suction_pa), 1.0, 1e4, SAY_A_SUCTION, SAY_THE_SUCTIONS),
     .dimension = DIMENSION_PRESSURE},
    {.key = "flow",
     KEY_RANGE_AT(KEY_VALUE, AT(flow_m3_s), 1e-4, 2.0, SAY_A_FLOW, SAY_THE_FLOWS),
     .dimension = DIMENSION_FLOW},
    {.key = "holes", .kind = KEY_PART, .read = read_holes},
};

void test_holes_read(struct key_reader *reader, const struct key_path *path,
                     const struct yaml_tree_node *node, struct test_holes *holes) {
    if (!key_is(reader, path, node, YAML_TREE_LIST, "a list of fan settings"))
        return;
    if (node->count > TEST_SETTINGS_MAX) {
        key_error(reader, path, node->line, "has %zu fan settings; allowed: %d", node->count,
                  TEST_SETTINGS_MAX);
        return;
    }
    holes->settings = key_allocate(reader, node->count, sizeof *holes->settings);
    for (size_t i = 0; holes->settings && i < node->count; i++) {
        struct test_setting *setting = &holes->settings[holes->count++];
        const struct key_path here = {.up = path, .in_brackets = true, .index = i};
        setting->suction_pa = setting->flow_m3_s = NAN;
        key_map_read(reader, &here, &node->entries[i].value, KEY_ROWS(setting_rows), setting);
    }
}

void test_holes_clear(struct test_holes *holes) {
    for (size_t i = 0; i < holes->count; i++) {
        for (size_t k = 0; k < holes->settings[i].hole_count; k++)
            free(holes->settings[i].holes[k].name);
        free(holes->settings[i].holes);
        free(holes->settings[i].setting);
    }
    free(holes->settings);
    *holes = (struct test_holes){0};
}
