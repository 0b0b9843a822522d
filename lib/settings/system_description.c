#include "settings/system_description.h"

#include "complaints.h"
#include "measure/duration.h"
#include "settings/checked_text.h"
#include "settings/condition_settings.h"
#include "settings/key_table.h"
#include "settings/system_description_point.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define AT(field) offsetof(struct system_description, field)
#define POINTS_MAX 1000

/* Above the points, these keys are those of the one branch. */
static void read_pipe(const struct key_at *at, void *target) {
    branch_description_read_pipe(at, ((struct system_description *)target)->branches);
}

static void read_fan(const struct key_at *at, void *target) {
    branch_description_read_fan(at, ((struct system_description *)target)->branches);
}

static void read_discharge(const struct key_at *at, void *target) {
    branch_description_read_discharge(at, ((struct system_description *)target)->branches);
}

static void read_branches(const struct key_at *at, void *target) {
    struct system_description *system = target;
    system->branch_count = 0; /* not the one that holds when none is written */
    branch_description_read_list(at, &system->branches, &system->branch_count);
}

static bool begin_branches(const struct key_at *at, struct system_description *system) {
    system->branches = key_allocate(at, 1, sizeof *system->branches);
    system->branch_count = system->branches != NULL;
    return system->branches && branch_description_begin(at, system->branches, "main");
}

static void refuse_second_home(const struct key_at *at) {
    static const char *const keys[] = {"pipe", "fan", "discharge"};
    if (!key_child(at, "branches").node)
        return;
    for (size_t i = 0; i < sizeof keys / sizeof keys[0]; i++) {
        const struct key_at here = key_child(at, keys[i]);
        if (here.node)
            key_refuse(&here, "and branches exclude each other; allowed: in each branch");
    }
}

static void read_contacts(const struct key_at *at, void *target) {
    struct system_description *system = target;
    system->contacts_line = at->line;
    key_text_list(at, checked_text_id,
                  "a list of contact ids; leave the key out for all contractors", &system->contacts,
                  &system->contact_count);
    for (size_t i = 1; i < system->contact_count; i++)
        for (size_t j = 0; j < i && system->contact_count <= 100; j++)
            if (strcmp(system->contacts[i], system->contacts[j]) == 0)
                key_error(at, SAY_NAMED_TWICE, system->contacts[i]);
    if (system->contact_count > 100)
        key_error(at, SAY_CONTACTS_MANY);
}

static struct condition_settings settings_of_system(const struct settings *settings) {
    struct condition_settings result = {.level = LEVEL_SYSTEM};
    if (settings)
        result.above[0] = (struct condition_list){.overrides = settings->conditions,
                                                  .count = settings->condition_count};
    return result;
}

static void read_conditions(const struct key_at *at, void *target) {
    struct system_description *system = target;
    struct condition_settings level = settings_of_system(at->reader->context);
    struct condition_list list = {0};
    condition_settings_read(at, &level, &list);
    condition_settings_finish(at->up, &level, &list);
    system->conditions = list.overrides;
    system->condition_count = list.count;
}

static void refuse_taken_ids(const struct key_at *at, const struct system_description *system) {
    for (size_t i = 1; i < system->point_count; i++)
        for (size_t j = 0; j < i; j++) {
            const struct point_description *point = &system->points[i];
            if (!point->id || !system->points[j].id || strcmp(point->id, system->points[j].id) != 0)
                continue;
            const struct key_at here = key_item(at, i);
            struct key_at id = key_child(&here, "id");
            char line[16];
            snprintf(line, sizeof line, "%d", system->points[j].line);
            id.line = point->line;
            key_error(&id, SAY_TAKEN_BY_POINT, point->id, line);
            break;
        }
}

static void read_points(const struct key_at *at, void *target) {
    struct system_description *system = target;
    system->points = key_list_room(at, "points", POINTS_MAX, sizeof *system->points);
    if (!system->points)
        return;
    system->point_count = at->node->count;
    for (size_t i = 0; i < system->point_count; i++) {
        const struct key_at item = key_item_with_id(at, i);
        system_description_read_point(&item, system, &system->points[i]);
    }
    refuse_taken_ids(at, system);
}

/* `conditions` and `branches` stand before `points`, whose checks look at them; `id` before all. */
static const struct key_row system_rows[] = {
    {.key = "id", KEY_TEXT_AT(AT(id), checked_text_id, SAY_AN_ID_OF_HOUSE), .required = true},
    {.key = "name", KEY_TEXT_AT(AT(name), checked_text_line, SAY_A_LINE)},
    {.key = "address", KEY_TEXT_AT(AT(address), checked_text_line, SAY_A_LINE)},
    {.key = "time_zone",
     KEY_TEXT_AT(AT(time_zone), checked_text_time_zone, SAY_A_TIME_ZONE),
     .otherwise = "UTC"},
    {.key = "foundation", KEY_TEXT_AT(AT(foundation), checked_text_line, SAY_A_LINE)},
    {.key = "region", KEY_TEXT_AT(AT(region), checked_text_line, SAY_A_LINE)},
    {.key = "elevation",
     KEY_RANGE_AT(KEY_VALUE, AT(elevation_m), -500.0, 6000.0, "a height above the sea",
                  "-500 m to 6000 m, such as 1600 m"),
     .otherwise = "0 m",
     .dimension = DIMENSION_LENGTH},
    {.key = "stack_height",
     KEY_RANGE_AT(KEY_VALUE, AT(stack_height_m), 1.0, 50.0,
                  "a height of the heated house above the slab", "1 m to 50 m, such as 6 m"),
     .otherwise = "2.5 m",
     .dimension = DIMENSION_LENGTH},
    {.key = "contractor", KEY_PART_AT(AT(contractor), contractor_read)},
    {.key = "pipe", KEY_PART_AT(0, read_pipe)},
    {.key = "fan", KEY_PART_AT(0, read_fan)},
    {.key = "discharge", KEY_PART_AT(0, read_discharge)},
    {.key = "branches", KEY_PART_AT(0, read_branches)},
    {.key = "contacts", KEY_PART_AT(0, read_contacts)},
    {.key = "conditions", KEY_PART_AT(0, read_conditions)},
    {.key = "visit_every",
     KEY_RANGE_AT(KEY_SPAN, AT(visit_every_ms), 0.0, 10 * DURATION_YEAR_MS, "a time between visits",
                  "none, or to 10 y")},
    {.key = "retest_every",
     KEY_RANGE_AT(KEY_SPAN, AT(retest_every_ms), 0.0, 10 * DURATION_YEAR_MS,
                  "a time between radon tests", "none, or to 10 y")},
    {.key = "keep_readings",
     KEY_RANGE_AT(KEY_SPAN, AT(keep_readings_ms), DURATION_DAY_MS, 100 * DURATION_YEAR_MS,
                  "a time to keep readings", "1 d to 100 y")},
    {.key = "points", KEY_PART_AT(0, read_points), .required = true, .allowed = "a list of points"},
};

/* A house may ask for more than the fleet, for its papers; less would be deleted unasked. */
static void refuse_less_kept(const struct key_at *at, const struct system_description *system) {
    const struct settings *settings = at->reader->context;
    const struct key_at keep = key_child(at, "keep_readings");
    if (keep.node && settings && system->keep_readings_ms &&
        system->keep_readings_ms < settings->keep_readings_ms)
        key_error(&keep, "is less than store.keep_readings of the settings; allowed: more, or "
                         "leave the key out");
}

static void read_system(const struct key_at *at, void *target) {
    const struct settings *settings = at->reader->context;
    struct system_description *system = target;
    system->file = key_copy(at, at->reader->file);
    system->fans = settings ? &settings->fans : NULL;
    system->visit_every_ms = system->retest_every_ms = -1;
    system->id_line = key_child(at, "id").line;
    system->time_zone_line = key_child(at, "time_zone").line;
    if (begin_branches(at, system))
        key_map_read(at, KEY_ROWS(system_rows), system);
    refuse_second_home(at);
    refuse_less_kept(at, system);
    if (!system->region)
        system->region = system->time_zone;
    if (!system->name)
        system->name = system->id;
}

struct system_description *system_description_parse(const char *file, const char *text,
                                                    size_t length, const struct settings *settings,
                                                    struct settings_errors *errors) {
    struct key_reader reader = {.file = file, .errors = errors, .context = settings};
    return key_read_file(&reader, text, length, sizeof(struct system_description), read_system);
}

struct equipment_place system_description_place(const struct system_description *system,
                                                int64_t last_day) {
    return (struct equipment_place){system->id, system->branches, system->branch_count,
                                    system->fans, last_day};
}

struct system_description *system_description_share(struct system_description *system) {
    atomic_fetch_add(&system->sharers, 1);
    return system;
}

void system_description_free(struct system_description *system) {
    if (!system || atomic_fetch_sub(&system->sharers, 1) > 0)
        return;
    arena_free(system->memory);
}
