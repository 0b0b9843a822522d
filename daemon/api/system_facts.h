/*
 * system_facts: what is computed of a system, at a cost: averages, trends, fan and ground. `show`
 * says it as JSON, the page in words.
 */
#ifndef DAEMON_API_SYSTEM_FACTS_H
#define DAEMON_API_SYSTEM_FACTS_H

#include "api/context.h"
#include "monitor/assessment.h"
#include "monitor/system_assessment.h"
#include "monitor/year_assessment.h"

/** Where the daily values of a ratio go. */
struct ratio_trends {
    bool read;                           /* else the store can't be read */
    struct assessment_trend all, recent; /* since commissioning; of the last 60 days, in which wear
                                            of the fan shows first */
};

struct point_facts {
    bool read;                    /* else the store can't be read */
    const struct time_zone *zone; /* of its system */
    struct assessment assessment;
    bool has_year; /* of radon only */
    struct year_assessment year;
};

struct branch_facts {
    const char *id;               /* borrowed from the settings */
    struct system_assessment air; /* of 7 days */
    struct system_assessment day; /* of the last 24 h; no holes */
    struct ratio_trends speed, resistance;
    struct ratio_trends couplings[SYSTEM_ASSESSMENT_HOLES]; /* of air.holes */
};

struct system_facts {
    struct branch_facts *branches; /* in the same block */
    size_t branch_count;
    struct point_facts points[]; /* of the system, in its order */
};

/** Why what was not `read` is not known. */
extern const char system_facts_unread[];

/** Computes all, and explains the alarms of the system as far as that was not done. Free with
 * free(). NULL when out of memory. */
struct system_facts *system_facts_make(struct api *api, size_t system);

/** What is assumed of the ground for its resistance, or NULL. */
const char *system_facts_assumed(const struct system_ground *ground);

#endif
