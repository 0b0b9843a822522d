/*
 * error_list: what is wrong in settings files, as lines for people. Pure.
 */
#ifndef SETTINGS_ERROR_LIST_H
#define SETTINGS_ERROR_LIST_H

#include <stddef.h>

/** Errors found in one or more files, in order; each "FILE:LINE: key: what, and what is allowed".
 */
struct settings_errors {
    char **lines;
    size_t count;
};
/** printf-style; allocates the line. */
void settings_errors_add(struct settings_errors *errors, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
void settings_errors_free(struct settings_errors *errors);

#endif
