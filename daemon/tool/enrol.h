/*
 * enrol: houses on their way to the daemon, each as the text of its system file.
 */
#ifndef DAEMON_TOOL_ENROL_H
#define DAEMON_TOOL_ENROL_H

#include "settings/error_list.h"
#include "tool/ctl.h"

#include <stdint.h>

/** A house out of a table: where what is wrong with it stands there. */
struct enrol_line {
    const char *list; /* "points" or "branches"; "" for the house itself */
    char *id;         /* in that list */
    int64_t line;
};

struct enrol_house {
    char *label; /* names its text in errors of the daemon */
    char *text;
    struct enrol_line *lines;
    size_t line_count; /* 0: its text is a file of its own */
};

struct enrol_houses {
    struct enrol_house *items;
    size_t count;
};

/** Adds a house; label and text are taken over. NULL when out of memory. */
struct enrol_house *enrol_add(struct enrol_houses *houses, char *label, char *text);

/**
 * enrol_table.c: the houses of a CSV file, a row a point, in the order of their first rows; `only`:
 * this system alone, or NULL. What is wrong is added to `errors` as FILE:LINE: column: why.
 */
void enrol_table_read(const char *file, const char *only, struct enrol_houses *houses,
                      struct settings_errors *errors);
/** Where the error with the key "points[ID]…" of this house stands in its table; 0: not known. */
int64_t enrol_table_line(const struct enrol_house *house, const char *key);

/**
 * enrol_ask.c: asks at the terminal for a house out of the topics that nobody claims and `filter`
 * (or NULL) takes; `system`: its id, or NULL. CTL_DONE when there is one to be sent.
 */
enum ctl_status enrol_ask(struct ctl *ctl, const char *system, const char *filter,
                          struct enrol_houses *houses);

#endif
