#include "settings/error_list.h"

#include "measure/array.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>

/* When memory is short the line is lost, but never the failure: the parsers return NULL anyway. */
void settings_errors_add(struct settings_errors *errors, const char *format, ...) {
    char *line = NULL;
    va_list arguments;
    va_start(arguments, format);
    int length = vasprintf(&line, format, arguments);
    va_end(arguments);
    if (length < 0)
        return;
    /* Parts of the line come from the file: no terminal escape or line break may get through. */
    for (char *at = line; *at; at++)
        if ((unsigned char)*at < 0x20 || *at == 0x7F)
            *at = '?';
    if (!array_add(&errors->lines, &errors->count, &line, sizeof line))
        free(line);
}

void settings_errors_free(struct settings_errors *errors) {
    if (!errors)
        return;
    array_free_texts(errors->lines, errors->count);
    *errors = (struct settings_errors){0};
}
