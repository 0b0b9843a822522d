#include "settings/condition_settings.h"

#include "measure/array.h"
#include "measure/duration.h"
#include "settings/setpoint_text.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define DELAY_MS_MAX (60.0 * (double)DURATION_DAY_MS)

/* The override of a condition in the list, a new one when there is none. */
static struct condition_override *provide(struct key_reader *reader, struct condition_list *list,
                                          enum condition condition, struct condition_place place) {
    for (size_t i = 0; i < list->count; i++)
        if (list->overrides[i].condition == condition)
            return &list->overrides[i];
    struct condition_override *overrides =
        array_room(list->overrides, list->count, sizeof *overrides);
    if (overrides)
        list->overrides = overrides;
    struct condition_place *places = array_room(list->places, list->count, sizeof *places);
    if (places)
        list->places = places;
    if (!overrides || !places) {
        key_no_memory(reader);
        return NULL;
    }
    places[list->count] = place;
    overrides[list->count] = (struct condition_override){.condition = condition};
    return &overrides[list->count++];
}

static void read_setpoint(const struct key_at *at, void *target) {
    struct condition_override *override = target;
    const struct setpoint_text *context = at->reader->context;
    char allowed[200];
    setpoint_text_allowed(context, allowed, sizeof allowed);
    const char *text = key_scalar(at, allowed);
    if (!text)
        return;
    override->has_setpoint = setpoint_text_parse(context, text, &override->setpoint);
    if (!override->has_setpoint)
        key_error(at, "%.60s is not a setpoint of %s; allowed: %s", text, context->info->name,
                  allowed);
}

static void read_deadband(const struct key_at *at, void *target) {
    struct condition_override *override = target;
    const struct setpoint_text *context = at->reader->context;
    const char *allowed = setpoint_text_allowed_deadband(context);
    const char *text = key_scalar(at, allowed);
    if (!text)
        return;
    override->has_deadband = setpoint_text_parse_deadband(context, text, &override->deadband);
    if (!override->has_deadband)
        key_error(at, "%.60s is not a deadband of %s; allowed: %s", text, context->info->name,
                  allowed);
}

/* The bit of a role, 0 after an error. */
static unsigned read_role(const struct key_at *at, const char *allowed) {
    static const struct {
        const char *word;
        unsigned bit;
    } roles[] = {{"contractor", HEARS_CONTRACTOR},
                 {"homeowner", HEARS_HOMEOWNER},
                 {"technician", HEARS_TECHNICIAN}};
    const char *word = key_scalar(at, allowed);
    for (size_t r = 0; word && r < sizeof roles / sizeof roles[0]; r++)
        if (strcmp(word, roles[r].word) == 0)
            return roles[r].bit;
    if (word)
        key_error(at, "%.40s is not a role; allowed: %s", word, allowed);
    return 0;
}

/* The roles that are told: a list, or none. */
static void read_tell(const struct key_at *at, void *target) {
    static const char allowed[] = "none, or a list of contractor, homeowner, technician";
    struct condition_override *override = target;
    bool none = at->node->kind == YAML_TREE_SCALAR && strcmp(at->node->text, "none") == 0;
    unsigned tell = 0;
    if (!none && !key_is(at, YAML_TREE_LIST, allowed))
        return;
    for (size_t i = 0; !none && i < at->node->count; i++) {
        const struct key_at item = key_one_of(at, i);
        unsigned bit = read_role(&item, allowed);
        if (!bit)
            return;
        tell |= bit;
    }
    override->tell = tell;
    override->has_tell = true;
}

#define AT(field) offsetof(struct condition_override, field)

static const struct key_word priority_words[] = {
    {"high", PRIORITY_HIGH}, {"medium", PRIORITY_MEDIUM}, {"low", PRIORITY_LOW}, {NULL, 0}};

static const struct key_row condition_rows[] = {
    {.key = "setpoint", KEY_PART_AT(0, read_setpoint)},
    {.key = "deadband", KEY_PART_AT(0, read_deadband)},
    {.key = "on_delay",
     KEY_RANGE_AT(KEY_SPAN, AT(on_delay_ms), 0.0, DELAY_MS_MAX, "a delay",
                  "none to 60 d, such as 6 h")},
    {.key = "off_delay",
     KEY_RANGE_AT(KEY_SPAN, AT(off_delay_ms), 0.0, DELAY_MS_MAX, "a delay",
                  "none to 60 d, such as 1 h")},
    {.key = "priority",
     KEY_WORD_AT(AT(priority), priority_words, "a priority", "high, medium, low")},
    {.key = "enabled", KEY_SWITCH_AT(AT(enabled))},
    {.key = "tell", KEY_PART_AT(0, read_tell)},
};

/* May this condition be changed here? */
static bool applies(const struct condition_info *info, const struct condition_settings *settings) {
    if (settings->level == LEVEL_FLEET)
        return true;
    if (settings->level == LEVEL_SYSTEM)
        return info->scope <= SCOPE_SYSTEM;
    return info->scope == SCOPE_POINT &&
           (!info->quantities || (info->quantities & (UINT32_C(1) << settings->quantity)));
}

static struct setpoint_text text_of(const struct condition_settings *settings,
                                    enum condition condition) {
    const struct condition_info *info = condition_info(condition);
    return (struct setpoint_text){.of_point = settings->level == LEVEL_POINT,
                                  .quantity = settings->quantity,
                                  .dimension = settings->dimension,
                                  .info = info,
                                  .form = setpoint_text_form(info)};
}

static void read_condition(const struct key_at *at, enum condition condition,
                           const struct condition_settings *settings, struct condition_list *list) {
    const struct setpoint_text context = text_of(settings, condition);
    struct key_reader *reader = at->reader;
    const void *outer = reader->context;
    size_t errors = reader->error_count;
    struct condition_override read = {.condition = condition};
    reader->context = &context;
    key_map_read(at, KEY_ROWS(condition_rows), &read);
    reader->context = outer;
    if (reader->error_count > errors)
        return;
    struct condition_override *override =
        provide(reader, list, condition, (struct condition_place){.line = at->key_line});
    if (!override)
        return;
    if (override->has_setpoint && read.has_setpoint) {
        key_refuse(at, "setpoint is given here and in limits; allowed: one of them");
        return;
    }
    if (override->has_setpoint) {
        read.has_setpoint = true;
        read.setpoint = override->setpoint;
    }
    read.has_on_delay = key_child(at, "on_delay").node != NULL;
    read.has_off_delay = key_child(at, "off_delay").node != NULL;
    read.has_priority = key_child(at, "priority").node != NULL;
    read.has_enabled = key_child(at, "enabled").node != NULL;
    *override = read;
}

static void refuse_unknown_condition(const struct key_at *at) {
    const char *names[CONDITION_COUNT];
    for (size_t i = 0; i < CONDITION_COUNT; i++)
        names[i] = condition_info((enum condition)i)->name;
    key_refuse_unknown(at, "condition", names, CONDITION_COUNT);
}

void condition_settings_read(const struct key_at *at, const struct condition_settings *settings,
                             struct condition_list *list) {
    static const char *const levels[] = {"fleet", "system", "point of this quantity"};
    if (!key_is(at, YAML_TREE_MAP, "a map of conditions"))
        return;
    for (size_t i = 0; i < at->node->count; i++) {
        const struct key_at here = key_item(at, i);
        enum condition condition;
        if (!condition_find(here.name, &condition))
            refuse_unknown_condition(&here);
        else if (!applies(condition_info(condition), settings))
            key_refuse(&here, "is not judged for a %s; allowed: in the settings of a level above",
                       levels[settings->level]);
        else
            read_condition(&here, condition, settings, list);
    }
}

/* The short form. */
static const struct limit {
    const char *word;
    enum quantity quantity;
    enum condition condition;
} limits[] = {
    {"low", QUANTITY_SUCTION, CONDITION_SUCTION_LOW},
    {"lost", QUANTITY_SUCTION, CONDITION_SUCTION_LOST},
    {"high", QUANTITY_SUCTION, CONDITION_SUCTION_HIGH},
    {"low", QUANTITY_FIELD, CONDITION_FIELD_WEAK},
    {"lost", QUANTITY_FAN_POWER, CONDITION_FAN_STOPPED},
    {"low", QUANTITY_FAN_POWER, CONDITION_FAN_STOPPED},
    {"lost", QUANTITY_FAN_CURRENT, CONDITION_FAN_STOPPED},
    {"low", QUANTITY_FAN_CURRENT, CONDITION_FAN_STOPPED},
    {"high", QUANTITY_FAN_POWER, CONDITION_POWER_HIGH},
    {"high", QUANTITY_FAN_CURRENT, CONDITION_POWER_HIGH},
    {"high", QUANTITY_RADON, CONDITION_RADON_HIGH},
    {"high", QUANTITY_WATER_LEVEL, CONDITION_WATER_HIGH},
    {"low", QUANTITY_BATTERY, CONDITION_BATTERY_LOW},
};
#define LIMIT_COUNT (sizeof limits / sizeof limits[0])

static const struct limit *find_limit(enum quantity quantity, const char *word) {
    for (size_t i = 0; i < LIMIT_COUNT; i++)
        if (limits[i].quantity == quantity && strcmp(limits[i].word, word) == 0)
            return &limits[i];
    return NULL;
}

static void refuse_limit(const struct key_at *at, enum quantity quantity) {
    const char *words[LIMIT_COUNT];
    size_t count = 0;
    char list[64];
    struct key_shown shown;
    struct key_at here = *at;
    for (size_t i = 0; i < LIMIT_COUNT; i++)
        if (limits[i].quantity == quantity)
            words[count++] = limits[i].word;
    here.name = key_show(&shown, at->name);
    key_join(list, sizeof list, words, count);
    key_refuse(&here, "is not a limit of a %s point; allowed: %s", quantity_info(quantity)->name,
               count ? list : "no limits");
}

static void read_limit(const struct key_at *at, const struct limit *limit,
                       const struct condition_settings *settings, struct condition_list *list) {
    const struct setpoint_text context = text_of(settings, limit->condition);
    struct key_reader *reader = at->reader;
    const void *outer = reader->context;
    struct condition_override read = {.condition = limit->condition};
    reader->context = &context;
    read_setpoint(at, &read);
    reader->context = outer;
    if (!read.has_setpoint)
        return;
    struct condition_override *override =
        provide(reader, list, limit->condition,
                (struct condition_place){.line = at->key_line, .limit = limit->word});
    if (!override)
        return;
    if (override->has_setpoint) {
        key_refuse(at, "means the same as another limit here; allowed: one");
        return;
    }
    override->has_setpoint = true;
    override->setpoint = read.setpoint;
}

void condition_settings_read_limits(const struct key_at *at,
                                    const struct condition_settings *settings,
                                    struct condition_list *list) {
    if (!key_is(at, YAML_TREE_MAP, "a map such as {low: 70 %, lost: 10 %}"))
        return;
    for (size_t i = 0; i < at->node->count; i++) {
        const struct key_at here = key_item(at, i);
        const struct limit *limit = find_limit(settings->quantity, here.name);
        if (limit)
            read_limit(&here, limit, settings, list);
        else
            refuse_limit(&here, settings->quantity);
    }
}

static struct condition_rule rule_in_force(enum condition condition,
                                           const struct condition_settings *settings,
                                           const struct condition_list *list) {
    struct condition_rule rule = condition_rule_default(condition);
    for (size_t i = 0; i < 2; i++)
        condition_rule_apply(&rule, settings->above[i].overrides, settings->above[i].count);
    condition_rule_apply(&rule, list->overrides, list->count);
    return rule;
}

static void refuse_at(const struct key_at *at, const struct condition_list *list, size_t index,
                      const char *what) {
    const struct condition_place *place = &list->places[index];
    const struct key_at group = {.up = at, .name = place->limit ? "limits" : "conditions"};
    const struct key_at here = {
        .reader = at->reader,
        .up = &group,
        .name =
            place->limit ? place->limit : condition_info(list->overrides[index].condition)->name,
        .line = place->line};
    key_error(&here, "%s", what);
}

/* Setpoints of the same quantity in rising order. */
static const struct {
    enum condition lower, upper;
    const char *what;
} orders[] = {
    {CONDITION_SUCTION_LOST, CONDITION_SUCTION_LOW,
     "suction-lost is not below suction-low; allowed: lost below low below high"},
    {CONDITION_SUCTION_LOW, CONDITION_SUCTION_HIGH,
     "suction-low is not below suction-high; allowed: lost below low below high"},
};

static void check_orders(const struct key_at *at, const struct condition_settings *settings,
                         const struct condition_list *list) {
    for (size_t o = 0; o < sizeof orders / sizeof orders[0]; o++) {
        struct condition_rule lower = rule_in_force(orders[o].lower, settings, list);
        struct condition_rule upper = rule_in_force(orders[o].upper, settings, list);
        if (!lower.enabled || !upper.enabled || lower.setpoint.kind != upper.setpoint.kind ||
            lower.setpoint.number < upper.setpoint.number)
            continue;
        for (size_t i = 0; i < list->count; i++)
            if (list->overrides[i].condition == orders[o].lower ||
                list->overrides[i].condition == orders[o].upper) {
                refuse_at(at, list, i, orders[o].what);
                break;
            }
    }
}

static void check_deadbands(const struct key_at *at, const struct condition_settings *settings,
                            const struct condition_list *list) {
    for (size_t i = 0; i < list->count; i++) {
        struct condition_rule rule = rule_in_force(list->overrides[i].condition, settings, list);
        if (rule.setpoint.kind == SETPOINT_NONE || rule.deadband.kind != rule.setpoint.kind)
            continue;
        bool below = condition_info(rule.condition)->side == SIDE_BELOW;
        /* Above a setpoint the return lies at setpoint - deadband, which must be possible. */
        if (below ? rule.deadband.number > rule.setpoint.number
                  : rule.deadband.number >= rule.setpoint.number)
            refuse_at(at, list, i,
                      "the deadband is larger than the setpoint; allowed: a smaller deadband under "
                      "conditions");
        else if (rule.setpoint.kind == SETPOINT_FRACTION && below &&
                 rule.setpoint.number + rule.deadband.number > 1.0)
            refuse_at(at, list, i,
                      "setpoint and deadband together pass 1, so it could never return; allowed: "
                      "a smaller deadband");
    }
}

/*
 * A value that a wider level gives for batteries is in %: a battery in V must not be held against
 * it, and is judged only by a limit of its own.
 */
static void drop_foreign_values(struct key_reader *reader,
                                const struct condition_settings *settings,
                                struct condition_list *list) {
    if (settings->level != LEVEL_POINT ||
        settings->dimension == quantity_info(settings->quantity)->dimension)
        return;
    for (size_t i = 0; i < 2; i++)
        for (size_t j = 0; j < settings->above[i].count; j++) {
            const struct condition_override *above = &settings->above[i].overrides[j];
            const struct condition_info *info = condition_info(above->condition);
            if (!(info->quantities & (UINT32_C(1) << settings->quantity)))
                continue;
            struct condition_override *own =
                provide(reader, list, above->condition, (struct condition_place){.line = 0});
            if (own && above->has_setpoint && !own->has_setpoint) {
                own->has_setpoint = true;
                own->setpoint = (struct setpoint){SETPOINT_NONE, 0.0};
            }
            if (own && above->has_deadband && !own->has_deadband) {
                own->has_deadband = true;
                own->deadband = (struct setpoint){SETPOINT_NONE, 0.0};
            }
        }
}

void condition_settings_finish(const struct key_at *at, const struct condition_settings *settings,
                               struct condition_list *list) {
    drop_foreign_values(at->reader, settings, list);
    check_orders(at, settings, list);
    check_deadbands(at, settings, list);
    size_t bytes = list->count * sizeof *list->overrides;
    struct condition_override *kept = key_allocate(at, 1, bytes);
    if (kept && bytes)
        memcpy(kept, list->overrides, bytes);
    free(list->overrides);
    free(list->places);
    *list = (struct condition_list){kept, NULL, kept ? list->count : 0};
}
