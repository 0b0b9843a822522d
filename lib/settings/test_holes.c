#include "settings/test_holes.h"

#include "complaints.h"
#include "measure/quantity.h"
#include "settings/checked_text.h"

#include <math.h>

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

static bool read_field(const struct key_at *at, double *pa) {
    const char *text = key_scalar(at, SAY_HOLE_PRESSURES);
    if (!text)
        return false;
    if (unit_parse(text, DIMENSION_PRESSURE, pa) == UNIT_OK &&
        quantity_plausible(QUANTITY_FIELD, DIMENSION_PRESSURE, *pa))
        return true;
    key_error(at, SAY_NO_HOLE_PRESSURE, key_show(&(struct key_shown){""}, text),
              SAY_HOLE_PRESSURES);
    return false;
}

/* Room for a list or map of at most so many; NULL after an error. */
static void *room_for(const struct key_at *at, const char *things, size_t most, size_t size) {
    if (at->node->count <= most)
        return key_allocate(at, at->node->count, size);
    key_error(at, "has %zu %s; allowed: %zu", at->node->count, things, most);
    return NULL;
}

static void read_holes(const struct key_at *at, void *target) {
    struct test_setting *setting = target;
    if (!key_is(at, YAML_TREE_MAP, "a map of test holes and pressures"))
        return;
    setting->holes = room_for(at, "holes", TEST_HOLES_MAX, sizeof *setting->holes);
    for (size_t i = 0; setting->holes && i < at->node->count; i++) {
        const struct key_at here = key_item(at, i);
        struct test_hole *hole = &setting->holes[setting->hole_count];
        const char *problem = checked_text_line(here.name);
        if (problem)
            key_refuse(&here, "%s", problem);
        else if (read_field(&here, &hole->field_pa) && (hole->name = key_copy(at, here.name)))
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
    {.key = "holes", KEY_PART_AT(0, read_holes)},
};

void test_holes_read(const struct key_at *at, void *target) {
    struct test_holes *holes = target;
    if (!key_is(at, YAML_TREE_LIST, "a list of fan settings"))
        return;
    holes->settings = room_for(at, "fan settings", TEST_SETTINGS_MAX, sizeof *holes->settings);
    for (size_t i = 0; holes->settings && i < at->node->count; i++) {
        struct test_setting *setting = &holes->settings[holes->count++];
        const struct key_at here = key_item(at, i);
        setting->suction_pa = setting->flow_m3_s = NAN;
        key_map_read(&here, KEY_ROWS(setting_rows), setting);
    }
}
