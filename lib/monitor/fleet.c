#include "monitor/fleet.h"

#include "measure/airflow.h"
#include "measure/array.h"
#include "measure/duration.h"
#include "measure/hash.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

/* Open addressing, power of two, at most half full. */
struct fleet_names {
    size_t mask;
    size_t slots[]; /* index + 1, 0: empty */
};

/* Points of one quantity without settings of their own share a list, which keeps tens of thousands
   of alike points small. */
struct fleet_rule_set {
    size_t count;
    struct condition_rule rules[CONDITION_COUNT];
};

static uint64_t text_hash(const char *text) {
    uint64_t hash = hash_bytes(HASH_START, text, strlen(text));
    return hash ^ (hash >> 29);
}

static struct fleet_names *index_create(struct fleet *fleet, size_t count) {
    size_t size = 16;
    while (size < count * 2)
        size *= 2;
    struct fleet_names *index =
        arena_allocate(&fleet->memory, sizeof *index + size * sizeof index->slots[0]);
    if (index)
        index->mask = size - 1;
    return index;
}

typedef const char *index_key(const struct fleet *fleet, size_t i);

/* The slot that holds `text`, or the empty one where it would go. */
static size_t *index_slot(const struct fleet *fleet, struct fleet_names *index, index_key *key,
                          const char *text) {
    size_t slot = (size_t)text_hash(text) & index->mask;
    while (index->slots[slot] && strcmp(key(fleet, index->slots[slot] - 1), text) != 0)
        slot = (slot + 1) & index->mask;
    return &index->slots[slot];
}

static const char *topic_key(const struct fleet *fleet, size_t i) {
    return fleet->points[i].description->topic;
}

static const char *id_key(const struct fleet *fleet, size_t i) {
    return fleet->systems[i].description->id;
}

/* Somebody who reads by hand is reminded; a sensor can be at fault. */
static bool judged_on(enum condition condition, const struct point_description *point) {
    static const uint64_t of_sensors = UINT64_C(1) << CONDITION_SENSOR_SILENT |
                                       UINT64_C(1) << CONDITION_SENSOR_STUCK |
                                       UINT64_C(1) << CONDITION_SENSOR_CLOCK;
    const struct condition_info *info = condition_info(condition);
    if (info->scope != SCOPE_POINT)
        return false;
    if (condition == CONDITION_READING_DUE)
        return point->by_hand;
    if (point->by_hand && (of_sensors >> condition & 1U))
        return false;
    if (condition == CONDITION_SENSOR_STUCK)
        return quantity_info(point->quantity)->noise_floor > 0.0;
    return info->quantities == 0 || (info->quantities >> point->quantity & 1U);
}

static bool is_in_branch(const struct point_description *point, size_t branch) {
    return point->branch == branch || point->branch == BRANCH_NONE;
}

/* The longest planned stop that a point sees; 0: none. A hole sees those of every fan. */
static int64_t longest_stop_ms(const struct system_description *system,
                               const struct point_description *point) {
    int64_t longest_ms = 0;
    for (size_t b = 0; b < system->branch_count; b++) {
        const struct fan_description *fan = &system->branches[b].fan;
        if (fan->control == FAN_CONTROL_SCHEDULE && is_in_branch(point, b) &&
            fan->longest_stop_ms > longest_ms)
            longest_ms = fan->longest_stop_ms;
    }
    return longest_ms;
}

/* What a planned stop would raise waits until the longest is over: a mean over 24 h, so much
   later. A point's own delay goes before. */
static void wait_for_schedule(struct condition_rule *rule, int64_t stop_ms) {
    static const uint64_t stopped = UINT64_C(1) << CONDITION_FAN_STOPPED |
                                    UINT64_C(1) << CONDITION_SUCTION_LOST |
                                    UINT64_C(1) << CONDITION_SUCTION_LOW;
    if (stopped >> rule->condition & 1U)
        rule->on_delay_ms = stop_ms > rule->on_delay_ms ? stop_ms : rule->on_delay_ms;
    else if (rule->condition == CONDITION_FIELD_WEAK)
        rule->on_delay_ms += stop_ms;
}

/* A delay of hours is there to see a level lasting through many readings. Of a sensor that sends
   few it waits for several, to raise and to return: one reading scatters with gusts of wind as no
   mean does, and of what is a little low every tenth is. A stop, which is judged within minutes,
   waits for nobody. */
static const int64_t shortest_wait_ms = 6 * DURATION_HOUR_MS;
enum { LEAST_INTERVALS = 3 };

static bool sends_few(const struct point_description *point) {
    return !point->by_hand && LEAST_INTERVALS * point->every_ms > shortest_wait_ms;
}

static void wait_for_readings(struct condition_rule *rule, const struct point_description *point) {
    int64_t wait_ms = LEAST_INTERVALS * point->every_ms;
    if (!sends_few(point) || rule->on_delay_ms < shortest_wait_ms)
        return;
    rule->on_delay_ms = wait_ms > rule->on_delay_ms ? wait_ms : rule->on_delay_ms;
    rule->off_delay_ms = wait_ms > rule->off_delay_ms ? wait_ms : rule->off_delay_ms;
}

/* What somebody looked up is not scatter: one good reading by hand ends what one began. */
static void trust_readings_by_hand(struct condition_rule *rule,
                                   const struct point_description *point) {
    if (point->by_hand)
        rule->off_delay_ms = 0;
}

static struct fleet_rule_set *rule_set_make(struct fleet *fleet,
                                            const struct point_description *point,
                                            const struct system_description *system) {
    struct fleet_rule_set *set = arena_allocate(&fleet->memory, sizeof *set);
    for (size_t c = 0; set && c < CONDITION_COUNT; c++) {
        if (!judged_on((enum condition)c, point))
            continue;
        struct condition_rule rule = condition_rule_default((enum condition)c);
        condition_rule_apply(&rule, fleet->settings->conditions, fleet->settings->condition_count);
        condition_rule_apply(&rule, system->conditions, system->condition_count);
        wait_for_readings(&rule, point);
        trust_readings_by_hand(&rule, point);
        wait_for_schedule(&rule, longest_stop_ms(system, point));
        condition_rule_apply(&rule, point->conditions, point->condition_count);
        set->rules[set->count++] = rule;
    }
    return set;
}

static bool give_rules(struct fleet *fleet, struct fleet_point *point) {
    const struct system_description *system = fleet->systems[point->system].description;
    bool own = point->description->condition_count > 0 || system->condition_count > 0 ||
               point->description->by_hand || sends_few(point->description) ||
               longest_stop_ms(system, point->description) > 0;
    struct fleet_rule_set **shared = &fleet->shared_rules[point->description->quantity];
    struct fleet_rule_set *set = own ? NULL : *shared;
    if (!set)
        set = rule_set_make(fleet, point->description, system);
    if (!set)
        return false;
    if (!own)
        *shared = set;
    point->rules = set->rules;
    point->rule_count = set->count;
    return true;
}

/* Zones are few: a list, each made once. */
static const struct time_zone *zone_of(struct fleet *fleet, const char *name,
                                       fleet_zone_source *zone_source, void *context) {
    for (size_t i = 0; i < fleet->zone_count; i++) {
        if (strcmp(time_zone_name(fleet->zones[i]), name) == 0)
            return fleet->zones[i];
    }
    struct time_zone *zone =
        strcmp(name, "UTC") == 0 ? time_zone_create_utc() : zone_source(context, name);
    if (zone && array_add(&fleet->zones, &fleet->zone_count, &zone, sizeof(struct time_zone *)))
        return zone;
    time_zone_destroy(zone);
    return NULL;
}

static void link_topic(struct fleet *fleet, size_t point) {
    size_t *slot = index_slot(fleet, fleet->topics, topic_key, topic_key(fleet, point));
    fleet->points[point].next_same_topic = *slot ? *slot - 1 : FLEET_NONE;
    *slot = point + 1;
}

static bool add_system(struct fleet *fleet, const struct system_description *description,
                       fleet_zone_source *zone_source, void *context,
                       struct settings_errors *errors) {
    struct fleet_system *system = &fleet->systems[fleet->system_count];
    system->description = description;
    system->first_point = fleet->point_count;
    system->point_count = description->point_count;
    system->first_branch = fleet->branch_count;
    fleet->branch_count += description->branch_count;
    system->zone = zone_of(fleet, description->time_zone, zone_source, context);
    if (!system->zone) {
        system_description_zone_unknown(description, errors);
        return false;
    }
    *index_slot(fleet, fleet->ids, id_key, description->id) = fleet->system_count + 1;
    for (size_t i = 0; i < description->point_count; i++) {
        struct fleet_point *point = &fleet->points[fleet->point_count];
        point->description = &description->points[i];
        point->system = fleet->system_count;
        if (!give_rules(fleet, point))
            return false;
        link_topic(fleet, fleet->point_count++);
    }
    fleet->system_count++;
    return true;
}

static bool reserve(struct fleet *fleet, struct system_description **descriptions, size_t count) {
    size_t points = 0;
    for (size_t i = 0; i < count; i++)
        points += descriptions[i]->point_count;
    fleet->systems = arena_allocate(&fleet->memory, count * sizeof *fleet->systems);
    fleet->points = arena_allocate(&fleet->memory, points * sizeof *fleet->points);
    fleet->topics = index_create(fleet, points);
    fleet->ids = index_create(fleet, count);
    return fleet->systems && fleet->points && fleet->topics && fleet->ids;
}

static bool give_contact_zones(struct fleet *fleet, fleet_zone_source *zone_source, void *context,
                               struct settings_errors *errors) {
    const struct settings *settings = fleet->settings;
    fleet->contact_zones =
        arena_allocate(&fleet->memory, settings->contact_count * sizeof(struct time_zone *));
    if (!fleet->contact_zones)
        return false;
    for (size_t i = 0; i < settings->contact_count; i++) {
        const struct settings_contact *contact = &settings->contacts[i];
        if (!contact->time_zone)
            continue;
        fleet->contact_zones[i] = zone_of(fleet, contact->time_zone, zone_source, context);
        if (!fleet->contact_zones[i]) {
            settings_errors_add(errors,
                                "%s:%d: contacts[%s].time_zone: \"%s\" is not a known time zone; "
                                "allowed: an IANA name such as America/Denver, or UTC",
                                settings->file, contact->line, contact->id, contact->time_zone);
            return false;
        }
    }
    return true;
}

struct fleet *fleet_create(struct settings *settings, struct system_description **descriptions,
                           size_t count, fleet_zone_source *zone_source, void *context,
                           struct settings_errors *errors) {
    struct fleet *fleet = calloc(1, sizeof *fleet);
    if (!fleet)
        return NULL;
    fleet->settings = settings;
    bool good = reserve(fleet, descriptions, count) &&
                give_contact_zones(fleet, zone_source, context, errors);
    for (size_t i = 0; i < count && good; i++)
        good = add_system(fleet, descriptions[i], zone_source, context, errors);
    if (good) {
        fleet->descriptions = descriptions;
        return fleet;
    }
    fleet->settings = NULL; /* taken over only on success */
    fleet->system_count = 0;
    fleet_destroy(fleet);
    return NULL;
}

void fleet_destroy(struct fleet *fleet) {
    if (!fleet)
        return;
    for (size_t i = 0; fleet->descriptions && i < fleet->system_count; i++)
        system_description_free(fleet->descriptions[i]);
    free(fleet->descriptions);
    settings_free(fleet->settings);
    for (size_t i = 0; i < fleet->zone_count; i++)
        time_zone_destroy(fleet->zones[i]);
    free(fleet->zones);
    arena_free(fleet->memory);
    free(fleet);
}

size_t fleet_topic(const struct fleet *fleet, const char *topic) {
    return *index_slot(fleet, fleet->topics, topic_key, topic) - 1; /* 0 wraps to FLEET_NONE */
}

size_t fleet_find_system(const struct fleet *fleet, const char *id) {
    return *index_slot(fleet, fleet->ids, id_key, id) - 1;
}

size_t fleet_find_point(const struct fleet *fleet, size_t system, const char *id) {
    const struct fleet_system *owner = &fleet->systems[system];
    for (size_t i = owner->first_point; i < owner->first_point + owner->point_count; i++) {
        if (strcmp(fleet->points[i].description->id, id) == 0)
            return i;
    }
    return FLEET_NONE;
}

size_t fleet_point_of(const struct fleet *fleet, size_t system, enum quantity quantity) {
    const struct fleet_system *owner = &fleet->systems[system];
    for (size_t i = owner->first_point; i < owner->first_point + owner->point_count; i++) {
        if (fleet->points[i].description->quantity == quantity)
            return i;
    }
    return FLEET_NONE;
}

size_t fleet_branch_point_of(const struct fleet *fleet, size_t system, size_t branch,
                             enum quantity quantity) {
    const struct fleet_system *owner = &fleet->systems[system];
    size_t by_hand = FLEET_NONE;
    for (size_t i = owner->first_point; i < owner->first_point + owner->point_count; i++) {
        const struct point_description *point = fleet->points[i].description;
        if (point->quantity != quantity || !is_in_branch(point, branch))
            continue;
        if (!point->by_hand)
            return i;
        if (by_hand == FLEET_NONE)
            by_hand = i;
    }
    return by_hand;
}

size_t fleet_branch_place(const struct fleet *fleet, size_t system, size_t branch) {
    static const enum quantity order[] = {QUANTITY_SUCTION, QUANTITY_AIRFLOW,
                                          QUANTITY_VELOCITY_PRESSURE, QUANTITY_FAN_POWER,
                                          QUANTITY_FAN_CURRENT};
    if (fleet->systems[system].description->branch_count == 1)
        return FLEET_NONE;
    for (size_t i = 0; i < sizeof order / sizeof order[0]; i++) {
        size_t point = fleet_branch_point_of(fleet, system, branch, order[i]);
        if (point != FLEET_NONE)
            return point;
    }
    return FLEET_NONE;
}

size_t fleet_branch_at(const struct fleet *fleet, size_t system, size_t point,
                       enum condition condition) {
    if (point != FLEET_NONE)
        return fleet->points[point].description->branch;
    return system != FLEET_NONE && condition_info(condition)->scope == SCOPE_BRANCH ? 0
                                                                                    : BRANCH_NONE;
}

const char *fleet_branch_id(const struct fleet *fleet, size_t system, size_t point,
                            enum condition condition) {
    size_t branch = fleet_branch_at(fleet, system, point, condition);
    return branch == BRANCH_NONE ? "" : fleet->systems[system].description->branches[branch].id;
}

double fleet_air_pressure_pa(const struct fleet *fleet, size_t system) {
    return airflow_standard_pressure_pa(fleet->systems[system].description->elevation_m);
}

const struct settings_contact *fleet_contact(const struct fleet *fleet, const char *id) {
    for (size_t i = 0; i < fleet->settings->contact_count; i++) {
        if (strcmp(fleet->settings->contacts[i].id, id) == 0)
            return &fleet->settings->contacts[i];
    }
    return NULL;
}

const struct contractor *fleet_contractor(const struct fleet *fleet, size_t system) {
    bool own = system != FLEET_NONE && fleet->systems[system].description->contractor.name;
    return own ? &fleet->systems[system].description->contractor : &fleet->settings->contractor;
}

bool fleet_concerns(const struct fleet *fleet, const struct settings_contact *contact,
                    size_t system) {
    if (system == FLEET_NONE)
        return contact->role == ROLE_CONTRACTOR;
    const struct system_description *description = fleet->systems[system].description;
    if (description->contact_count == 0)
        return contact->role == ROLE_CONTRACTOR;
    for (size_t i = 0; i < description->contact_count; i++) {
        if (strcmp(description->contacts[i], contact->id) == 0)
            return true;
    }
    return false;
}

struct condition_rule fleet_rule(const struct fleet *fleet, size_t system,
                                 enum condition condition) {
    struct condition_rule rule = condition_rule_default(condition);
    condition_rule_apply(&rule, fleet->settings->conditions, fleet->settings->condition_count);
    if (system != FLEET_NONE) {
        const struct system_description *description = fleet->systems[system].description;
        condition_rule_apply(&rule, description->conditions, description->condition_count);
    }
    return rule;
}

const struct condition_rule *fleet_point_rule(const struct fleet *fleet, size_t point,
                                              enum condition condition) {
    const struct fleet_point *owner = &fleet->points[point];
    for (size_t i = 0; i < owner->rule_count; i++) {
        if (owner->rules[i].condition == condition)
            return &owner->rules[i];
    }
    return NULL;
}

struct payload_binding fleet_binding(const struct fleet *fleet, size_t point) {
    const struct fleet_point *of = &fleet->points[point];
    struct payload_binding binding = of->description->binding;
    binding.local = fleet->systems[of->system].zone;
    return binding;
}

bool fleet_needs_window(const struct fleet *fleet, size_t point) {
    const struct fleet_point *owner = &fleet->points[point];
    for (size_t i = 0; i < owner->rule_count; i++) {
        if (condition_info(owner->rules[i].condition)->measure == MEASURE_MEAN_24H &&
            owner->rules[i].enabled)
            return true;
    }
    return false;
}

/* The setpoint of sensor-silent; 0: none is given. */
static int64_t silent_setpoint_ms(const struct fleet *fleet, size_t point) {
    const struct condition_rule *rule = fleet_point_rule(fleet, point, CONDITION_SENSOR_SILENT);
    return rule && rule->setpoint.kind == SETPOINT_DURATION ? (int64_t)rule->setpoint.number : 0;
}

static int64_t longer(int64_t a, int64_t b) {
    return a > b ? a : b;
}

int64_t fleet_covers_ms(const struct fleet *fleet, size_t point) {
    const struct point_description *description = fleet->points[point].description;
    return description->by_hand ? 1 : description->every_ms;
}

int64_t fleet_overdue_after_ms(const struct fleet *fleet, size_t point) {
    int64_t every_ms = fleet->points[point].description->every_ms;
    return every_ms + every_ms / 2;
}

int64_t fleet_silent_after_ms(const struct fleet *fleet, size_t point) {
    int64_t given_ms = silent_setpoint_ms(fleet, point);
    int64_t every_ms = fleet->points[point].description->every_ms;
    return given_ms ? given_ms : longer(3 * every_ms, 30 * DURATION_MINUTE_MS);
}

int64_t fleet_sensor_silent_after_ms(const struct fleet *fleet, size_t point) {
    int64_t given_ms = silent_setpoint_ms(fleet, point);
    int64_t every_ms = fleet->points[point].description->every_ms;
    return given_ms
               ? given_ms
               : fleet_overdue_after_ms(fleet, point) + longer(3 * every_ms, 2 * DURATION_HOUR_MS);
}

const char *fleet_system_id(const struct fleet *fleet, size_t system) {
    return system == FLEET_NONE ? "" : fleet->systems[system].description->id;
}

const char *fleet_point_id(const struct fleet *fleet, size_t point) {
    return point == FLEET_NONE ? "" : fleet->points[point].description->id;
}
