/*
 * A commissioning record: the part of system_description.h about `subslabctl commission`.
 */
#include "complaints.h"
#include "measure/time_zone.h"
#include "measure/timestamp.h"
#include "settings/checked_text.h"
#include "settings/key_table.h"
#include "settings/system_description.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define AT(field) offsetof(struct commissioning, field)

struct record_context {
    const struct system_description *system;
    const struct time_zone *zone;
    int64_t now_ms; /* INT64_MAX: any date will do */
};

/* A date begins at local midnight; a full time is what it is. */
static bool read_instant(const struct key_at *at, int64_t *time_ms) {
    const struct record_context *context = at->reader->context;
    const char *text = key_scalar(at, SAY_AN_INSTANT);
    int year = 0, month = 0, day = 0;
    if (!text)
        return false;
    size_t length = strlen(text);
    if (timestamp_parse_date(text, length, &year, &month, &day)) {
        *time_ms =
            time_zone_day_start_ms(context->zone, timestamp_days_from_civil(year, month, day));
        return true;
    }
    if (timestamp_parse(text, length, time_ms))
        return true;
    key_error(at, SAY_IS_NOT, key_show(&(struct key_shown){""}, text), SAY_A_DATE, SAY_AN_INSTANT);
    return false;
}

static void read_date(const struct key_at *at, void *target) {
    const struct record_context *context = at->reader->context;
    struct commissioning *record = target;
    if (read_instant(at, &record->from_ms) && record->from_ms > context->now_ms)
        key_error(at, "is ahead; allowed: a time that has come");
}

static void read_next_calibration(const struct key_at *at, void *target) {
    struct commissioning *record = target;
    if (read_instant(at, &record->next_calibration_ms) && record->from_ms != TIMESTAMP_NONE &&
        record->next_calibration_ms <= record->from_ms)
        key_error(at, SAY_NOT_AFTER_DATE);
}

static const struct point_description *find_point(const struct system_description *system,
                                                  const char *id) {
    for (size_t i = 0; i < system->point_count; i++)
        if (strcmp(system->points[i].id, id) == 0)
            return &system->points[i];
    return NULL;
}

static void refuse_unknown_point(const struct key_at *at, const struct system_description *system) {
    const char **ids = calloc(system->point_count, sizeof(*ids));
    if (!ids)
        return;
    for (size_t i = 0; i < system->point_count; i++)
        ids[i] = system->points[i].id;
    key_refuse(at, "is no point of %s; %sallowed: its points' ids", system->id,
               key_hint(at->name, ids, system->point_count).text);
    free(ids);
}

static bool read_value(const struct key_at *at, const struct point_description *point, double *si) {
    enum dimension dimension = point->binding.unit->dimension;
    const char *quantity = quantity_info(point->quantity)->name;
    const char *text = key_scalar(at, "a value with a unit");
    if (!text)
        return false;
    struct key_shown shown;
    key_show(&shown, text);
    enum unit_status status = unit_parse(text, dimension, si);
    if (status == UNIT_WRONG_DIMENSION)
        key_error(at, SAY_VALUE_OF_OTHER, shown.text, quantity, unit_list(dimension));
    else if (status != UNIT_OK)
        key_error(at, SAY_NO_VALUE, shown.text, quantity, unit_list(dimension));
    else if (!quantity_plausible(point->quantity, dimension, *si))
        key_error(at, SAY_IMPOSSIBLE, shown.text, quantity);
    else if (!quantity_can_be_baseline(point->quantity, *si))
        key_error(at, SAY_NO_BASELINE, shown.text, quantity);
    else
        return true;
    return false;
}

static void read_points(const struct key_at *at, void *target) {
    const struct record_context *context = at->reader->context;
    struct commissioning *record = target;
    if (!key_is(at, YAML_TREE_MAP, "a map of point ids and values"))
        return;
    size_t count = at->node->count;
    if (count > context->system->point_count + 1000) { /* the rest is not worth naming */
        key_error(at, "has more points than the system");
        return;
    }
    record->values = key_allocate(at, count, sizeof *record->values);
    for (size_t i = 0; record->values && i < count; i++) {
        const struct key_at here = key_item(at, i);
        const struct point_description *point = find_point(context->system, here.name);
        struct commissioning_value *value = &record->values[record->value_count];
        if (!point) {
            refuse_unknown_point(&here, context->system);
            continue;
        }
        if (read_value(&here, point, &value->value) && (value->point = key_copy(at, point->id)))
            record->value_count++;
    }
}

static void read_changed(const struct key_at *at, void *target) {
    static const char allowed[] = "a list of " SAY_CHANGE_WORDS;
    struct commissioning *record = target;
    if (!key_is(at, YAML_TREE_LIST, allowed))
        return;
    for (size_t i = 0; i < at->node->count; i++) {
        const struct key_at one = key_one_of(at, i);
        const char *word = key_scalar(&one, allowed);
        unsigned bit = 0;
        if (word && !change_find(word, &bit))
            key_error(&one, "%.60s is nothing that changes; allowed: %s", word, allowed);
        record->changed |= bit;
    }
    if (!change_possible(record->changed))
        key_error(at, SAY_NOTHING_BESIDE, allowed);
}

static int64_t last_day_of(const struct record_context *context) {
    return context->now_ms == INT64_MAX ? INT64_MAX
                                        : time_zone_local_day(context->zone, context->now_ms);
}

static void read_equipment(const struct key_at *at, void *list) {
    const struct record_context *context = at->reader->context;
    const struct equipment_place place =
        system_description_place(context->system, last_day_of(context));
    equipment_read(at, &place, list);
}

/* The table reads `date` before `next_calibration`, which must be later. */
static const struct key_row record_rows[] = {
    {.key = "date",
     KEY_PART_AT(0, read_date),
     .required = true,
     .allowed = "a date such as 2025-10-03"},
    {.key = "by", KEY_TEXT_AT(AT(by), checked_text_line, "who measured"), .required = true},
    {.key = "instruments", KEY_TEXT_AT(AT(instruments), checked_text_line, SAY_A_LINE)},
    {.key = "next_calibration", KEY_PART_AT(0, read_next_calibration)},
    {.key = "radon_before",
     KEY_RANGE_AT(KEY_VALUE, AT(radon_before_bq_m3), 0.0, 1e6, SAY_A_RADON, SAY_RADON_BEFORE),
     .dimension = DIMENSION_RADON},
    {.key = "radon_after",
     KEY_RANGE_AT(KEY_VALUE, AT(radon_after_bq_m3), 0.0, 1e6, SAY_A_RADON,
                  "0 to 1000000 Bq/m3, such as 1.2 pCi/L"),
     .dimension = DIMENSION_RADON},
    {.key = "ground_exponent",
     KEY_RANGE_AT(KEY_NUMBER, AT(ground_exponent), 1.0, 2.0, "an exponent of pressure over flow",
                  "1 (laminar) to 2 (turbulent)")},
    {.key = "changed", KEY_PART_AT(0, read_changed)},
    {.key = "points", KEY_PART_AT(0, read_points)},
    {.key = "equipment", KEY_PART_AT(AT(equipment), read_equipment)},
    {.key = "test_holes", KEY_PART_AT(AT(test_holes), test_holes_read)},
    {.key = "back_draft",
     KEY_WORD_AT(AT(back_draft), back_draft_words, SAY_A_BACK_DRAFT, SAY_THE_BACK_DRAFTS)},
    {.key = "notes", KEY_TEXT_AT(AT(notes), checked_text_note, "text")},
};

static void read_record(const struct key_at *all, void *target) {
    struct commissioning *record = target;
    record->from_ms = record->next_calibration_ms = TIMESTAMP_NONE;
    record->radon_before_bq_m3 = record->radon_after_bq_m3 = record->ground_exponent = NAN;
    key_map_read(all, KEY_ROWS(record_rows), record);
}

struct commissioning *commissioning_parse(const char *file, const char *text, size_t length,
                                          const struct system_description *system,
                                          const struct time_zone *zone, int64_t now_ms,
                                          struct settings_errors *errors) {
    const struct record_context context = {.system = system, .zone = zone, .now_ms = now_ms};
    struct key_reader reader = {.file = file, .errors = errors, .context = &context};
    return key_read_file(&reader, text, length, sizeof(struct commissioning), read_record);
}

void commissioning_free(struct commissioning *record) {
    if (record)
        arena_free(record->memory);
}
