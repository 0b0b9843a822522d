#include "settings/branch_description.h"

#include "complaints.h"
#include "measure/duration.h"
#include "measure/timestamp.h"
#include "settings/checked_text.h"
#include "settings/settings.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define AT(field) offsetof(struct branch_description, field)
#define LONGEST_STOP_OTHERWISE_MS (24 * DURATION_HOUR_MS)

static const struct key_row pipe_rows[] = {
    {.key = "inside_diameter",
     KEY_RANGE_AT(KEY_VALUE, AT(pipe_inside_diameter_m), 0.02, 1.0, SAY_A_DIAMETER,
                  SAY_THE_DIAMETERS),
     .dimension = DIMENSION_LENGTH},
    {.key = "centreline_factor",
     KEY_RANGE_AT(KEY_NUMBER, AT(centreline_factor), 0.5, 1.0,
                  "a ratio of mean to centreline velocity", "0.5 to 1"),
     .otherwise = "0.9"},
    {.key = "loss_after_gauge",
     KEY_RANGE_AT(KEY_NUMBER, AT(loss_after_gauge), 0.0, 1e7, "a loss in Pa per (m3/s)^2",
                  "0 to 10000000"),
     .otherwise = "0"},
};

void branch_description_read_pipe(const struct key_at *at, void *branch) {
    key_map_read(at, KEY_ROWS(pipe_rows), branch);
}

/* ---- fan ---- */

static void read_curve(const struct key_at *at, void *fan_description) {
    struct fan_description *fan = fan_description;
    fan_model_read_curve(at, &fan->curve, &fan->curve_count);
}

static const struct key_word control_words[] = {
    {"fixed", FAN_CONTROL_FIXED},
    {"constant-pressure", FAN_CONTROL_CONSTANT_PRESSURE},
    {"schedule", FAN_CONTROL_SCHEDULE},
    {NULL, 0}};

static const struct key_row fan_rows[] = {
    {.key = "curve", KEY_PART_AT(AT(fan), read_curve)},
    {.key = "power",
     KEY_RANGE_AT(KEY_VALUE, AT(fan.power_w), 0.1, 5000.0, "a fan's power", "0.1 W to 5000 W"),
     .dimension = DIMENSION_POWER},
    {.key = "model", KEY_TEXT_AT(AT(fan.model), checked_text_id, SAY_A_FAN_MODEL)},
    {.key = "serial", KEY_TEXT_AT(AT(fan.serial), checked_text_line, SAY_A_LINE)},
    {.key = "installed", KEY_DAY_AT(AT(fan.installed_day), SAY_A_DAY)},
    {.key = "control",
     KEY_WORD_AT(AT(fan.control), control_words, "a kind of control",
                 "fixed, constant-pressure or schedule"),
     .otherwise = "fixed"},
    {.key = "longest_stop",
     KEY_RANGE_AT(KEY_SPAN, AT(fan.longest_stop_ms), DURATION_HOUR_MS, 30 * DURATION_DAY_MS,
                  "a time", "1 h to 30 d")},
};

/* Without a folder of models, a model is only a name: for the record. */
static void take_model(const struct key_at *at, struct fan_description *fan) {
    const struct settings *settings = at->reader->context;
    if (!fan->model || !settings || !settings->fans.folder)
        return;
    const struct fan_model *model = fan_models_find(&settings->fans, fan->model);
    if (!model) {
        const struct key_at here = key_child(at, "model");
        key_error(&here, SAY_NO_FAN_MODEL, fan->model, settings->fans.folder);
        return;
    }
    if (fan->power_w == 0.0)
        fan->power_w = model->power_w;
    fan->curve = key_allocate(at, model->curve_count, sizeof *fan->curve);
    if (!fan->curve)
        return;
    memcpy(fan->curve, model->curve, model->curve_count * sizeof *fan->curve);
    fan->curve_count = model->curve_count;
}

void branch_description_read_fan(const struct key_at *at, void *branch) {
    struct fan_description *fan = &((struct branch_description *)branch)->fan;
    key_map_read(at, KEY_ROWS(fan_rows), branch);
    const struct key_at curve = key_child(at, "curve"), stop = key_child(at, "longest_stop");
    if (curve.node && key_child(at, "model").node)
        key_error(&curve, "and model exclude each other; allowed: one of them");
    else
        take_model(at, fan);
    if (stop.node && fan->control != FAN_CONTROL_SCHEDULE)
        key_error(&stop, "is of a schedule; allowed: with control: schedule");
}

/* ---- the branch ---- */

static const struct key_word discharge_words[] = {
    {"roof", DISCHARGE_ROOF}, {"wall", DISCHARGE_WALL}, {NULL, 0}};

void branch_description_read_discharge(const struct key_at *at, void *branch) {
    static const char allowed[] = "roof or wall";
    const char *text = key_scalar(at, allowed);
    if (!text)
        return;
    for (const struct key_word *word = discharge_words; word->word; word++)
        if (strcmp(word->word, text) == 0) {
            ((struct branch_description *)branch)->discharge = (enum discharge)word->value;
            return;
        }
    key_error(at, "%.60s is not a place of discharge; allowed: %s", text, allowed);
}

static const struct key_row branch_rows[] = {
    {.key = "id", KEY_TEXT_AT(AT(id), checked_text_id, SAY_AN_ID_OF_BRANCH), .required = true},
    {.key = "pipe", KEY_MAP_BY(pipe_rows), .otherwise = ""},
    {.key = "fan", KEY_PART_AT(0, branch_description_read_fan)},
    {.key = "discharge", KEY_PART_AT(0, branch_description_read_discharge)},
};

static const struct branch_description empty = {
    .fan = {.installed_day = TIMESTAMP_NONE, .longest_stop_ms = LONGEST_STOP_OTHERWISE_MS}};

bool branch_description_begin(const struct key_at *at, struct branch_description *branch,
                              const char *id) {
    const struct key_at nothing = {.reader = at->reader};
    *branch = empty;
    branch->id = key_copy(at, id);
    branch_description_read_pipe(&nothing, branch);
    return branch->id != NULL;
}

static void refuse_taken_ids(const struct key_at *at, const struct branch_description *branches,
                             size_t count) {
    for (size_t i = 1; i < count; i++) {
        size_t earlier =
            branches[i].id ? branch_description_find(branches, i, branches[i].id) : BRANCH_NONE;
        if (earlier == BRANCH_NONE)
            continue;
        const struct key_at here = key_item(at, i);
        struct key_at id = key_child(&here, "id");
        char line[16];
        snprintf(line, sizeof line, "%d", branches[earlier].line);
        id.line = branches[i].line;
        key_error(&id, SAY_TAKEN_BY_BRANCH, branches[i].id, line);
    }
}

void branch_description_read_list(const struct key_at *at, struct branch_description **branches,
                                  size_t *count) {
    *branches = key_list_room(at, "branches", BRANCHES_MAX, sizeof **branches);
    if (!*branches)
        return;
    *count = at->node->count;
    for (size_t i = 0; i < *count; i++) {
        const struct key_at here = key_item_with_id(at, i);
        struct branch_description *branch = &(*branches)[i];
        *branch = empty;
        branch->line = here.line;
        key_map_read(&here, KEY_ROWS(branch_rows), branch);
    }
    refuse_taken_ids(at, *branches, *count);
}

size_t branch_description_find(const struct branch_description *branches, size_t count,
                               const char *id) {
    for (size_t i = 0; i < count; i++)
        if (branches[i].id && strcmp(branches[i].id, id) == 0)
            return i;
    return BRANCH_NONE;
}
