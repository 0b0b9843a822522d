/*
 * The fans of the fleet by model: how long they have served, how many failed, which share still
 * runs at some ages, and which are next.
 */
#ifndef DAEMON_API_FANS_H
#define DAEMON_API_FANS_H

#include "api/context.h"
#include "monitor/fan_lives.h"

enum { FAN_AGES = 4, FAN_NEXT_MOST = 10, FAN_CURVE_MOST = 81 };
#define FAN_CURVE_STEP_YEARS 0.25

/** 1, 3, 5 and 10 years. */
extern const double fan_ages_years[FAN_AGES];

/** A fan that runs, as far as it is next. */
struct fan_next {
    const struct fan_life *life;
    bool ailing;
    enum condition condition; /* why, when it is ailing */
    /* Of failing within a year, by those of its model that are seen at that age, with its interval
       of 95 %; NaN where none is. */
    double chance, chance_lower, chance_upper;
    size_t at_risk; /* seen at the end of that year */
};

/** A model; its lives are borrowed from fans->lives. */
struct fan_model_facts {
    const char *model; /* NULL: no model is named */
    size_t running, replaced, failures, unsaid, undated;
    size_t ailing;               /* of those that run: an alarm speaks of them */
    double years, watched_years; /* of service, and of these seen */
    struct survival share[FAN_AGES];
    enum survival_status known[FAN_AGES];
    struct survival curve[FAN_CURVE_MOST]; /* the same each FAN_CURVE_STEP_YEARS from 0 on */
    size_t curve_count;                    /* as far as it is known */
    struct fan_next next[FAN_NEXT_MOST];   /* most urgent first */
    size_t next_count;
};

struct fan_facts {
    struct fan_lives lives;
    struct fan_model_facts *models;
    size_t count;
};

/** False when out of memory; close in any case. */
bool fan_facts_open(struct fan_facts *facts, const struct api *api);
void fan_facts_close(struct fan_facts *facts);

#endif
