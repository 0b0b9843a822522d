#include "world_trace.h"

#include "measure/timestamp.h"
#include "world.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

enum { LINE_MOST = 600, BROKEN_SHOWN = 20 };

static struct {
    bool aloud;
    uint64_t sum;
    unsigned broken;
    char first[LINE_MOST];
} trace;

void world_trace_begin(bool aloud) {
    trace.aloud = aloud;
    trace.sum = UINT64_C(1469598103934665603); /* FNV-1a */
    trace.broken = 0;
    trace.first[0] = '\0';
}

static void put(const char *mark, const char *text) {
    char when[40], line[LINE_MOST + 60];
    timestamp_format(when, sizeof when, world.now_ms);
    snprintf(line, sizeof line, "%s %s%s", when, mark, text);
    for (char *c = line; *c; c++) {
        if (*c == '\n')
            *c = ' ';
        trace.sum = (trace.sum ^ (unsigned char)*c) * UINT64_C(1099511628211);
    }
    if (trace.aloud)
        puts(line);
}

void world_trace(const char *format, ...) {
    char text[LINE_MOST];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    put("", text);
}

void world_broken(const char *format, ...) {
    char text[LINE_MOST];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    if (trace.broken++ == 0)
        memcpy(trace.first, text, sizeof text);
    if (trace.broken <= BROKEN_SHOWN)
        put("BROKEN: ", text);
}

uint64_t world_trace_sum(void) {
    return trace.sum;
}

unsigned world_broken_count(void) {
    return trace.broken;
}

const char *world_broken_first(void) {
    return trace.first;
}
