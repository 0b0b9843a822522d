#include "monitor/riser_draft.h"

#include "analysis/ground.h"

#include <math.h>

static const double usual_indoor_celsius = 21.0;
/* Attic and the end above the roof; common practice, no source. */
static const double above_house_m = 2.0;
/* The least height of a discharge above the ground, 10 ft: EPA 402-R-93-078 (from memory). */
static const double wall_discharge_m = 3.0;

double riser_draft_pa(const struct fleet *fleet, size_t system, size_t branch,
                      const struct riser_weather *weather) {
    const struct system_description *description = fleet->systems[system].description;
    bool wall = description->branches[branch].discharge == DISCHARGE_WALL;
    double height_m = wall ? wall_discharge_m : description->stack_height_m + above_house_m;
    double inside = isnan(weather->indoor_celsius) ? usual_indoor_celsius : weather->indoor_celsius;
    double pressure_pa =
        isnan(weather->barometer_pa) ? fleet_air_pressure_pa(fleet, system) : weather->barometer_pa;
    return ground_stack_pressure_pa(height_m, inside, weather->outdoor_celsius, pressure_pa);
}
