/*
 * branch_description: one riser of a system with its pipe, its fan and where it blows out. A system
 * file without `branches:` has one, `main`. Pure.
 */
#ifndef SETTINGS_BRANCH_DESCRIPTION_H
#define SETTINGS_BRANCH_DESCRIPTION_H

#include "settings/fan_model.h"
#include "settings/key_table.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define BRANCHES_MAX 16
#define BRANCH_NONE SIZE_MAX /* of a point: it belongs to the whole system */

enum fan_control {
    FAN_CONTROL_FIXED,
    FAN_CONTROL_CONSTANT_PRESSURE, /* holds its suction: a leak shows in power and flow */
    FAN_CONTROL_SCHEDULE           /* stands still by plan, `longest_stop` at most */
};
enum discharge { DISCHARGE_UNKNOWN, DISCHARGE_ROOF, DISCHARGE_WALL };

/** The fan as the system file names it: it holds before the first dated equipment. */
struct fan_description {
    char *model, *serial;          /* or NULL */
    int64_t installed_day;         /* days since 1970; TIMESTAMP_NONE: not given */
    struct fan_curve_point *curve; /* its own, else that of its model; owned */
    size_t curve_count;
    double power_w; /* 0: not given */
    enum fan_control control;
    int64_t longest_stop_ms; /* of a schedule, default 24 h */
};

struct branch_description {
    char *id;
    double pipe_inside_diameter_m; /* 0: not given */
    double centreline_factor;      /* `pipe.centreline_factor`, default 0.9 */
    double loss_after_gauge;       /* `pipe.loss_after_gauge`, Pa per (m3/s)^2, default 0 */
    struct fan_description fan;
    enum discharge discharge;
    int line;
};

/** A branch with its defaults and this id. False after an error. */
bool branch_description_begin(const struct key_at *at, struct branch_description *branch,
                              const char *id);
/**
 * Reads the list `branches`. at->reader->context is the struct settings, or NULL.
 */
void branch_description_read_list(const struct key_at *at, struct branch_description **branches,
                                  size_t *count);
/** The same keys above the points of a system with one branch: key_read_functions of a branch. */
void branch_description_read_pipe(const struct key_at *at, void *branch);
void branch_description_read_fan(const struct key_at *at, void *branch);
void branch_description_read_discharge(const struct key_at *at, void *branch);

/** The index of a branch by its id, BRANCH_NONE when there is none. */
size_t branch_description_find(const struct branch_description *branches, size_t count,
                               const char *id);

#endif
