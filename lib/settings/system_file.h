/*
 * system_file: writes the text of a system file as a person would write it; system_description.h
 * reads it. Each text stands as it is given ("3.068 in", "America/Denver"): whether it is allowed
 * is the reader's to say, who then finds exactly the same text. Pure.
 */
#ifndef SETTINGS_SYSTEM_FILE_H
#define SETTINGS_SYSTEM_FILE_H

#include <stddef.h>

/* All texts are borrowed; a key whose text is NULL or empty is left out. */

/** A riser with its fan; without an id, the system has this one alone. */
struct system_file_branch {
    const char *id;
    const char *inside_diameter;    /* of the pipe */
    const char *model, *power;      /* of the fan; */
    const char *serial, *installed; /* the one that stands there */
    const char *control, *discharge;
};

struct system_file_point {
    const char *id, *name, *quantity, *branch, *place, *by;
    const char *topic, *unit, *every;
    const char *value, *time, *senml_name; /* where both stand in a message */
};

struct system_file {
    const char *comment; /* one line at the top */
    const char *id, *name, *address, *time_zone, *foundation, *region, *elevation, *stack_height;
    const char *contacts; /* ids with blanks, commas or semicolons between them */
    const struct system_file_branch *branches;
    size_t branch_count;
    const struct system_file_point *points;
    size_t point_count;
};

/**
 * The text; the caller frees. NULL when out of memory. A text that is not UTF-8 makes a file that
 * the reader refuses for its syntax, never one with another meaning.
 */
char *system_file_write(const struct system_file *file);

#endif
