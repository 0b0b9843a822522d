/*
 * fleet: the sites as the settings describe them, in memory: systems, points, contacts, and which
 * points a topic feeds. It does not change while the monitor runs; new settings make a new fleet.
 * Pure; owns the settings and descriptions it was built from.
 */
#ifndef MONITOR_FLEET_H
#define MONITOR_FLEET_H

#include "measure/arena.h"
#include "measure/time_zone.h"
#include "settings/settings.h"
#include "settings/system_description.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define FLEET_NONE SIZE_MAX

struct fleet_point {
    const struct point_description *description; /* borrowed */
    size_t system;
    size_t next_same_topic;       /* index of the next point fed by the same topic, or FLEET_NONE */
    struct condition_rule *rules; /* rules judged on this point; shared with alike points */
    size_t rule_count;
};

struct fleet_system {
    const struct system_description *description; /* borrowed */
    const struct time_zone *zone;                 /* borrowed */
    size_t first_point, point_count;              /* its points stand side by side */
    size_t first_branch;                          /* so do all branches of the fleet */
};

struct fleet {
    struct arena memory; /* of systems, points, their rules and indexes, contact_zones */
    struct settings *settings;
    struct system_description **descriptions;
    struct fleet_system *systems;
    size_t system_count;
    struct fleet_point *points;
    size_t point_count, branch_count;
    const struct time_zone **contact_zones; /* by contact; NULL: the system's */
    struct time_zone **zones;
    size_t zone_count;
    struct fleet_names *topics, *ids;
    struct fleet_rule_set
        *shared_rules[QUANTITY_COUNT]; /* of points without settings of their own */
};

/** Finds a zone by name for fleet_create; NULL when there is no such zone. Ownership passes. */
typedef struct time_zone *fleet_zone_source(void *context, const char *name);

/**
 * Builds a fleet. On success takes over settings, descriptions (and the array). On failure (an
 * unknown time zone, named in `errors`) returns NULL and takes nothing.
 */
struct fleet *fleet_create(struct settings *settings, struct system_description **descriptions,
                           size_t count, fleet_zone_source *zone_source, void *context,
                           struct settings_errors *errors);
void fleet_destroy(struct fleet *fleet); /* NULL does nothing */

/** First point fed by a topic, FLEET_NONE when none is; go on with next_same_topic. */
size_t fleet_topic(const struct fleet *fleet, const char *topic);
size_t fleet_find_system(const struct fleet *fleet, const char *id);
/** A point of a system by its id, FLEET_NONE when there is none. */
size_t fleet_find_point(const struct fleet *fleet, size_t system, const char *id);
/** First point of a system that measures a quantity, FLEET_NONE when there is none. */
size_t fleet_point_of(const struct fleet *fleet, size_t system, enum quantity quantity);
/**
 * First point that measures a quantity in a branch of a system, one that belongs to the whole house
 * included; one read by hand only where nothing else is. FLEET_NONE when there is none.
 */
size_t fleet_branch_point_of(const struct fleet *fleet, size_t system, size_t branch,
                             enum quantity quantity);
/**
 * Where alarms of a whole branch (SCOPE_BRANCH) stand: FLEET_NONE in a system with one branch, else
 * its first point of suction, flow, velocity pressure or fan.
 */
size_t fleet_branch_place(const struct fleet *fleet, size_t system, size_t branch);
/** The branch that an alarm at this place concerns, BRANCH_NONE: the whole house. */
size_t fleet_branch_at(const struct fleet *fleet, size_t system, size_t point,
                       enum condition condition);
/** The id of that branch, "" for the whole house. */
const char *fleet_branch_id(const struct fleet *fleet, size_t system, size_t point,
                            enum condition condition);
/** Pressure of the air where a system stands, for where it has no barometer: of the standard
    atmosphere at its elevation. */
double fleet_air_pressure_pa(const struct fleet *fleet, size_t system);
/** Contact by id, NULL when there is none. */
const struct settings_contact *fleet_contact(const struct fleet *fleet, const char *id);
/** Does this contact hear of this system (FLEET_NONE: of the fleet and the daemon)? */
bool fleet_concerns(const struct fleet *fleet, const struct settings_contact *contact,
                    size_t system);

/** Whom people call about this system (FLEET_NONE: about the fleet); its name may be NULL. */
const struct contractor *fleet_contractor(const struct fleet *fleet, size_t system);

/** The rule in force for a condition of a system (or of the fleet: FLEET_NONE). */
struct condition_rule fleet_rule(const struct fleet *fleet, size_t system,
                                 enum condition condition);
/** The rule of a point, NULL when the condition is not judged on it. */
const struct condition_rule *fleet_point_rule(const struct fleet *fleet, size_t point,
                                              enum condition condition);

/** How messages of a point are read, with the time zone of its system. */
struct payload_binding fleet_binding(const struct fleet *fleet, size_t point);

/** Does a rule of the point need the mean of the last 24 h? */
bool fleet_needs_window(const struct fleet *fleet, size_t point);

/** How long a reading stands for at most: one interval; one by hand a millisecond, for nobody knows
    what was between two of them. */
int64_t fleet_covers_ms(const struct fleet *fleet, size_t point);
/** From when on a point should have reported: one and a half intervals. */
int64_t fleet_overdue_after_ms(const struct fleet *fleet, size_t point);
/** From when on a point without a reading says nothing about now: the setpoint of sensor-silent,
    else three intervals, at least 30 min. */
int64_t fleet_silent_after_ms(const struct fleet *fleet, size_t point);
/** From when on the sensor itself is held to be at fault: the setpoint of sensor-silent, else three
    further intervals, at least 2 h, after it should have reported. Cheap radios lose packets one
    after the other, and in bursts of an hour or two. */
int64_t fleet_sensor_silent_after_ms(const struct fleet *fleet, size_t point);

const char *fleet_system_id(const struct fleet *fleet, size_t system); /* "" for FLEET_NONE */
const char *fleet_point_id(const struct fleet *fleet, size_t point);   /* "" for FLEET_NONE */

#endif
