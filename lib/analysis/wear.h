/*
 * wear: a ratio that was 1 and slowly gets less, told from chance, from the seasons and from a
 * step. Made for the speed of a fan relative to commissioning, where a loss of a tenth a year is to
 * be known long before the tenth is gone.
 *
 * All five must hold, in one of three windows (the last 60 days, the last 180, all of them):
 * 1. Size. The median of the last 7 days is below 0.99: what is less may be the sensors.
 * 2. Never so low before. It has lost 1.2 times what any 7 days before the window's second half
 * had: what came and went with last year's seasons does so again.
 * 3. Chance, season and sensors. The trend falls, its cautious p (trend.h) below 0.01; the gentle
 *    end of its 95 % interval is still steeper than what the usual waves and wander (struct
 *    wear_usual) make of the slope together: over less than a year the steepest line that fits a
 *    wave (wear_slope_of_wave); 1.96 sqrt(6/5 / years) times the wander of a year, the slope that
 *    least squares give to a random walk.
 * 4. Speed. Its line reaches the limit within the span asked for.
 * 5. Slowness. A line fits no worse than one step does: a gauge set anew or a pipe changed on one
 *    day is no wear. (A straight fall through n days leaves a quarter of its squares around two
 *    levels, and next to none around the line.)
 *
 * A window counts from 42 days on. How often chance and seasons pass all five, and how soon wear is
 * found, stands in test_wear.c. Pure.
 */
#ifndef ANALYSIS_WEAR_H
#define ANALYSIS_WEAR_H

#include "analysis/trend.h"

#include <stdbool.h>

#define WEAR_P_VALUE 0.01
#define WEAR_LEAST_DAYS 42
#define WEAR_RECENT_DAYS 60.0 /* the shortest window */
#define WEAR_LEVEL_DAYS 7
#define WEAR_LEVEL 0.99

enum wear_status {
    WEAR_NONE = 0, /* not slower, or slower but not falling over the last 180 days */
    WEAR_UNSURE,   /* slower, and may be falling */
    WEAR_FOUND,
    WEAR_TOO_SHORT, /* fewer than 42 daily values: nothing can be said */
    WEAR_NO_MEMORY
};

/** What moves the ratio and is no wear; shares of 1. */
struct wear_usual {
    double season; /* amplitude of a yearly wave, whatever is known of the weather */
    /* Of another one. A known outdoor temperature takes it out but for a third, for soil and riser
       follow the weather by weeks. */
    double weather;
    double wander; /* of the sensors: standard deviation of a random walk after a year */
};

struct wear {
    struct trend trend;             /* of the window that reaches the limit first */
    struct trend_crossing crossing; /* its day is `now_day` when the line is past the limit */
};

/**
 * Wear that was found is over only with WEAR_NONE: a fan does not heal by a week of good luck.
 *
 * Looks for wear in daily values (1 = as at the beginning) up to `now_day`, a limit below 1, and
 * how far ahead the crossing may lie. *wear is written only on WEAR_FOUND.
 */
enum wear_status wear_find(const struct trend_series *series, const struct wear_usual *usual,
                           double now_day, double limit, double within_days, struct wear *wear);

/**
 * The steepest slope a year that least squares give to a yearly wave of amplitude 1 over a window
 * of so many years: 2 pi of a short one, 4.9 of half a year, 1.9 of a whole. 12 / years^3 times the
 * integral of u sin(2 pi u) over the window about its steepest place.
 */
double wear_slope_of_wave(double years);

/** The median of the last WEAR_LEVEL_DAYS values; NaN when there are fewer. */
double wear_level(const struct trend_series *series);

#endif
