/*
 * judge_mixup: a sensor that reports in another unit than before, told by a jump from what it read
 * to what the same would be in that unit. Pure.
 */
#ifndef MONITOR_JUDGE_MIXUP_H
#define MONITOR_JUDGE_MIXUP_H

#include "monitor/point_state.h"
#include "settings/system_description.h"

/** So many consecutive readings that match another unit (point_state's suspect_count) are one. */
#define JUDGE_MIXUP_READINGS 3
#define JUDGE_LEVEL_READINGS 12 /* then what a sensor usually reads is known */

/** Does a reading newer than all before, the last of several, match another unit? Keeps the level
   of the point and its suspect_count. `baseline`: SI, NaN: none. */
bool judge_looks_mixed_up(struct point_state *state, const struct point_description *point,
                          const struct reading *reading, double baseline);

/**
 * Of a step that is a mix-up: the unit whose numbers, taken for `expected`, make `value` (SI) of
 * what was `level` (SI) before. NULL when none comes near.
 */
const char *judge_suspected_unit(const struct unit *expected, double level, double value);

#endif
