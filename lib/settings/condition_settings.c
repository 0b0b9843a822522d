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
        key_error(reader, NULL, 0, "out of memory");
        return NULL;
    }
    places[list->count] = place;
    overrides[list->count] = (struct condition_override){.condition = condition};
    return &overrides[list->count++];
}

static void read_setpoint(struct key_reader *reader, const struct key_path *path,
                          const struct yaml_tree_node *node, void *target) {
    struct condition_override *override = target;
    const struct setpoint_text *context = reader->context;
    char allowed[200];
    setpoint_text_allowed(context, allowed, sizeof allowed);
    const char *text = key_scalar(reader, path, node, allowed);
    if (!text)
        return;
    if (setpoint_text_parse(context, text, &override->setpoint))
        override->has_setpoint = true;
    else
        key_error(reader, path, node->line, "%.60s is not a setpoint of %s; allowed: %s", text,
                  context->info->name, allowed);
}

static void read_deadband(struct key_reader *reader, const struct key_path *path,
                          const struct yaml_tree_node *node, void *target) {
    struct condition_override *override = target;
    const struct setpoint_text *context = reader->context;
    const char *text = key_scalar(reader, path, node, setpoint_text_allowed_deadband(context));
    if (!text)
        return;
    if (setpoint_text_parse_deadband(context, text, &override->deadband))
        override->has_deadband = true;
    else
        key_error(reader, path, node->line, "%.60s is not a deadband of %s; allowed: %s", text,
                  context->info->name, setpoint_text_allowed_deadband(context));
}

/* The roles that are told: a list, or none. */
static void read_tell(struct key_reader *reader, const struct key_path *path,
                      const struct yaml_tree_node *node, void *target) {
    static const char allowed[] = "none, or a list of contractor, homeowner, technician";
    static const struct {
        const char *word;
        unsigned bit;
    } roles[] = {{"contractor", HEARS_CONTRACTOR},
                 {"homeowner", HEARS_HOMEOWNER},
                 {"technician", HEARS_TECHNICIAN}};
    struct condition_override *override = target;
    unsigned tell = 0;
    if (node->kind == YAML_TREE_SCALAR && strcmp(node->text, "none") == 0)
        goto done;
    if (!key_is(reader, path, node, YAML_TREE_LIST, allowed))
        return;
    for (size_t i = 0; i < node->count; i++) {
        const char *word = key_scalar(reader, path, &node->entries[i].value, allowed);
        size_t r = 0;
        while (word && r < 3 && strcmp(word, roles[r].word) != 0)
            r++;
        if (word && r == 3)
            key_error(reader, path, node->entries[i].value.line, "%.40s is not a role; allowed: %s",
                      word, allowed);
        if (!word || r == 3)
            return;
        tell |= roles[r].bit;
    }
done:
    override->tell = tell;
    override->has_tell = true;
}

#define AT(field) offsetof(struct condition_override, field)
#define UNSET (-1)

static const struct key_word priority_words[] = {
    {"high", PRIORITY_HIGH}, {"medium", PRIORITY_MEDIUM}, {"low", PRIORITY_LOW}, {NULL, 0}};

static const struct key_row condition_rows[] = {
    {.key = "setpoint", .kind = KEY_PART, .read = read_setpoint},
    {.key = "deadband", .kind = KEY_PART, .read = read_deadband},
    {.key = "on_delay",
     KEY_RANGE_AT(KEY_SPAN, AT(on_delay_ms), 0.0, DELAY_MS_MAX, "a delay",
                  "none to 60 d, such as 6 h")},
    {.key = "off_delay",
     KEY_RANGE_AT(KEY_SPAN, AT(off_delay_ms), 0.0, DELAY_MS_MAX, "a delay",
                  "none to 60 d, such as 1 h")},
    {.key = "priority",
     KEY_WORD_AT(AT(priority), priority_words, "a priority", "high, medium, low")},
    {.key = "enabled", KEY_SWITCH_AT(AT(enabled))},
    {.key = "tell", .kind = KEY_PART, .read = read_tell},
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

static bool is_set(const struct yaml_tree_node *node, const char *key) {
    return yaml_tree_find(node, key) != NULL;
}

static void read_condition(struct key_reader *reader, const struct key_path *path,
                           const struct yaml_tree_entry *entry, enum condition condition,
                           const struct condition_settings *settings, struct condition_list *list) {
    const struct condition_info *info = condition_info(condition);
    struct setpoint_text context = {.of_point = settings->level == LEVEL_POINT,
                                    .quantity = settings->quantity,
                                    .dimension = settings->dimension,
                                    .info = info,
                                    .form = setpoint_text_form(info)};
    const void *outer = reader->context;
    size_t errors = reader->error_count;
    struct condition_override read = {.condition = condition};
    reader->context = &context;
    key_map_read(reader, path, &entry->value, KEY_ROWS(condition_rows), &read);
    reader->context = outer;
    if (reader->error_count > errors)
        return;
    struct condition_override *override =
        provide(reader, list, condition, (struct condition_place){.line = entry->line});
    if (!override)
        return;
    if (override->has_setpoint && read.has_setpoint) {
        key_error(reader, path, entry->line,
                  "setpoint is given here and in limits; allowed: one of them");
        return;
    }
    if (override->has_setpoint) {
        read.has_setpoint = true;
        read.setpoint = override->setpoint;
    }
    read.has_on_delay = is_set(&entry->value, "on_delay");
    read.has_off_delay = is_set(&entry->value, "off_delay");
    read.has_priority = is_set(&entry->value, "priority");
    read.has_enabled = is_set(&entry->value, "enabled");
    *override = read;
}

static void refuse_unknown_condition(struct key_reader *reader, const struct key_path *path,
                                     const struct yaml_tree_entry *entry) {
    const char *names[CONDITION_COUNT];
    for (size_t i = 0; i < CONDITION_COUNT; i++)
        names[i] = condition_info((enum condition)i)->name;
    const char *nearest = key_nearest(entry->key, names, CONDITION_COUNT);
    char list[1024] = "";
    size_t used = 0;
    for (size_t i = 0; i < CONDITION_COUNT && used < sizeof list - 64; i++)
        used += (size_t)snprintf(list + used, sizeof list - used, "%s%s", i ? ", " : "", names[i]);
    if (nearest)
        key_error(reader, path, entry->line,
                  "unknown condition; did you mean \"%s\"? Known conditions: %s", nearest, list);
    else
        key_error(reader, path, entry->line, "unknown condition. Known conditions: %s", list);
}

void condition_settings_read(struct key_reader *reader, const struct key_path *path,
                             const struct yaml_tree_node *node,
                             const struct condition_settings *settings,
                             struct condition_list *list) {
    static const char *const levels[] = {"fleet", "system", "point of this quantity"};
    if (!key_is(reader, path, node, YAML_TREE_MAP, "a map of conditions"))
        return;
    for (size_t i = 0; i < node->count; i++) {
        const struct yaml_tree_entry *entry = &node->entries[i];
        char name[64];
        snprintf(name, sizeof name, "%.60s", entry->key);
        struct key_path here = {.up = path, .name = name};
        enum condition condition;
        if (!condition_find(entry->key, &condition))
            refuse_unknown_condition(reader, &here, entry);
        else if (!applies(condition_info(condition), settings))
            key_error(reader, &here, entry->line,
                      "is not judged for a %s; allowed: in the settings of a level above",
                      levels[settings->level]);
        else
            read_condition(reader, &here, entry, condition, settings, list);
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

static void refuse_limit(struct key_reader *reader, const struct key_path *path,
                         const struct yaml_tree_entry *entry, enum quantity quantity) {
    char list[64] = "";
    size_t used = 0;
    for (size_t i = 0; i < LIMIT_COUNT; i++)
        if (limits[i].quantity == quantity)
            used += (size_t)snprintf(list + used, sizeof list - used, "%s%s", used ? ", " : "",
                                     limits[i].word);
    key_error(reader, path, entry->line, "is not a limit of a %s point; allowed: %s",
              quantity_info(quantity)->name, used ? list : "no limits");
}

static void read_limit(struct key_reader *reader, const struct key_path *path,
                       const struct yaml_tree_entry *entry, const struct limit *limit,
                       const struct condition_settings *settings, struct condition_list *list) {
    const struct condition_info *info = condition_info(limit->condition);
    struct setpoint_text context = {.of_point = settings->level == LEVEL_POINT,
                                    .quantity = settings->quantity,
                                    .dimension = settings->dimension,
                                    .info = info,
                                    .form = setpoint_text_form(info)};
    const void *outer = reader->context;
    struct condition_override read = {.condition = limit->condition};
    reader->context = &context;
    read_setpoint(reader, path, &entry->value, &read);
    reader->context = outer;
    if (!read.has_setpoint)
        return;
    struct condition_override *override =
        provide(reader, list, limit->condition,
                (struct condition_place){.line = entry->line, .limit = limit->word});
    if (!override)
        return;
    if (override->has_setpoint) {
        key_error(reader, path, entry->line, "means the same as another limit here; allowed: one");
        return;
    }
    override->has_setpoint = true;
    override->setpoint = read.setpoint;
}

void condition_settings_read_limits(struct key_reader *reader, const struct key_path *path,
                                    const struct yaml_tree_node *node,
                                    const struct condition_settings *settings,
                                    struct condition_list *list) {
    if (!key_is(reader, path, node, YAML_TREE_MAP, "a map such as {low: 70 %, lost: 10 %}"))
        return;
    for (size_t i = 0; i < node->count; i++) {
        const struct yaml_tree_entry *entry = &node->entries[i];
        const struct limit *limit = find_limit(settings->quantity, entry->key);
        char name[64];
        snprintf(name, sizeof name, "%.60s", entry->key);
        struct key_path here = {.up = path, .name = name};
        if (limit)
            read_limit(reader, &here, entry, limit, settings, list);
        else
            refuse_limit(reader, &here, entry, settings->quantity);
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

static void refuse_at(struct key_reader *reader, const struct key_path *path,
                      const struct condition_list *list, size_t index, const char *what) {
    const struct condition_place *place = &list->places[index];
    struct key_path group = {.up = path, .name = place->limit ? "limits" : "conditions"};
    struct key_path here = {.up = &group,
                            .name = place->limit
                                        ? place->limit
                                        : condition_info(list->overrides[index].condition)->name};
    key_error(reader, &here, place->line, "%s", what);
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

static void check_orders(struct key_reader *reader, const struct key_path *path,
                         const struct condition_settings *settings,
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
                refuse_at(reader, path, list, i, orders[o].what);
                break;
            }
    }
}

static void check_deadbands(struct key_reader *reader, const struct key_path *path,
                            const struct condition_settings *settings,
                            const struct condition_list *list) {
    for (size_t i = 0; i < list->count; i++) {
        struct condition_rule rule = rule_in_force(list->overrides[i].condition, settings, list);
        if (rule.setpoint.kind == SETPOINT_NONE || rule.deadband.kind != rule.setpoint.kind)
            continue;
        bool below = condition_info(rule.condition)->side == SIDE_BELOW;
        /* Above a setpoint the return lies at setpoint - deadband, which must be possible. */
        if (below ? rule.deadband.number > rule.setpoint.number
                  : rule.deadband.number >= rule.setpoint.number)
            refuse_at(reader, path, list, i,
                      "the deadband is larger than the setpoint; allowed: a smaller deadband under "
                      "conditions");
        else if (rule.setpoint.kind == SETPOINT_FRACTION && below &&
                 rule.setpoint.number + rule.deadband.number > 1.0)
            refuse_at(reader, path, list, i,
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

void condition_settings_finish(struct key_reader *reader, const struct key_path *path,
                               const struct condition_settings *settings,
                               struct condition_list *list) {
    drop_foreign_values(reader, settings, list);
    check_orders(reader, path, settings, list);
    check_deadbands(reader, path, settings, list);
    free(list->places);
    list->places = NULL;
}
