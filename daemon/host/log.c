#include "host/log.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char *prefix(enum log_level level) {
    static const char *const journal[] = {"<3>", "<4>", "<5>", "<6>"};
    static const char *const plain[] = {"error: ", "warning: ", "", ""};
    return getenv("JOURNAL_STREAM") ? journal[level] : plain[level];
}

void log_line(enum log_level level, const char *subject, const char *format, ...) {
    char text[2048];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    for (char *c = text; *c; c++) {
        if ((unsigned char)*c < 0x20 || *c == 0x7f)
            *c = ' ';
    }
    fprintf(stderr, "%s%s: %s\n", prefix(level), subject, text);
}
