/*
 * riser_draft: what a riser pulls without a fan. In the cold the warm air in it is lighter than the
 * air outdoors, so that a fan that stands leaves some pascals, which must not pass for suction. At
 * most, for the air in the pipe is taken as warm as the room and what the house itself pulls is
 * left out. From the outdoor temperature of the system's own point; without one nothing is known,
 * and the share of the baseline alone is the limit. Pure.
 */
#ifndef MONITOR_RISER_DRAFT_H
#define MONITOR_RISER_DRAFT_H

#include "monitor/fleet.h"

/** Of a system, SI; NaN: not known. */
struct riser_weather {
    double indoor_celsius; /* NaN: as rooms are */
    double outdoor_celsius;
    double barometer_pa; /* NaN: the standard atmosphere at the elevation of the system */
};

/**
 * Pa, below 0 when it is warmer outdoors; NaN where the outdoor temperature isn't known. `branch`
 * of the system: one that ends on a wall is lower than one that ends above the roof.
 */
double riser_draft_pa(const struct fleet *fleet, size_t system, size_t branch,
                      const struct riser_weather *weather);

#endif
