/*
 * ctl_values: values and times of the daemon's JSON as people read them.
 */
#ifndef DAEMON_TOOL_VALUES_H
#define DAEMON_TOOL_VALUES_H

#include "tool/ctl.h"

#include <jansson.h>
#include <stddef.h>

#define CTL_VALUE_SIZE 64

/** Member as text; "" when it is missing or null. Numbers and truth values are written out. */
const char *ctl_text_of(const json_t *object, const char *key);
/** Member as a whole number; 0 when it is none. */
long long ctl_whole_of(const json_t *object, const char *key);
/** Member as a number; NaN when it is none. */
double ctl_number_of(const json_t *object, const char *key);

/** A value in SI with its unit word ("Pa") in the settings' units: "0.62 inH2O"; "–" for none. */
char *ctl_value(char *text, const struct ctl *ctl, const json_t *number, const char *unit);
char *ctl_value_of(char *text, const struct ctl *ctl, double si, const char *unit);
/** The tool with the units in which values of the object's quantity are shown. */
struct ctl ctl_for_quantity(const struct ctl *ctl, const json_t *object);
/** A difference, without the offset of a temperature scale. */
char *ctl_difference_of(char *text, const struct ctl *ctl, double si, const char *unit);
/** A probability: "under 1 %", "95 %", "over 99 %"; never certain. */
char *ctl_chance(char *text, double probability);
/** A share as percent: 0.563 to "56 %"; "–" for none. */
char *ctl_percent(char *text, double share);

/** From here on times are those of this zone ("America/Denver"); UTC for "", and where the machine
 * doesn't know it. */
void ctl_use_zone(struct ctl *ctl, const char *name);
/** RFC 3339 to "2026-03-12 08:15 MST"; "–" for none. */
char *ctl_time(char *text, const struct ctl *ctl, const json_t *time);
/** How long ago that was, in its largest unit: "now", "12 min", "3 d"; "never" for none. */
char *ctl_age(char *text, const json_t *time);
/** RFC 3339 or a date to "2026-03-12". */
char *ctl_date(char *text, const struct ctl *ctl, const json_t *time);

#endif
