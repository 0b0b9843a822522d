#include "service/status_line.h"

#include "api/routes.h"

#include <stdio.h>
#include <string.h>

size_t status_line_number(char *text, size_t size, size_t number) {
    char digits[24];
    size_t length = (size_t)snprintf(digits, sizeof digits, "%zu", number), used = 0;
    for (size_t i = 0; i < length && used + 2 < size; i++) {
        if (i > 0 && (length - i) % 3 == 0)
            text[used++] = ' ';
        text[used++] = digits[i];
    }
    text[used] = '\0';
    return used;
}

static void add(char line[STATUS_LINE_BYTES], const char *before, const char *text) {
    size_t used = strlen(line);
    snprintf(line + used, STATUS_LINE_BYTES - used, "%s%s", before, text);
}

static void add_systems(const struct api *api, char line[STATUS_LINE_BYTES]) {
    size_t tally[MONITOR_STATUSES];
    monitor_tally(pipeline_monitor(api->pipeline), tally);
    for (size_t i = 0; i < MONITOR_STATUSES; i++) {
        char number[32];
        if (tally[i] == 0 && i != MONITOR_IN_SPEC)
            continue;
        status_line_number(number, sizeof number, tally[i]);
        add(line, "", number);
        add(line, " ", monitor_status_word((enum monitor_status)i));
        add(line, ", ", "");
    }
}

void status_line_of(const struct api *api, char line[STATUS_LINE_BYTES]) {
    line[0] = '\0';
    if (api_clock_doubted(api))
        add(line, "", "waiting: clock; ");
    add_systems(api, line);
    add(line, "broker ", api_broker_word(api));
    add(line, ", store ", api->store_failing ? "failing" : "works");
    if (api->reload_refused)
        add(line, ", ", "settings on disk refused");
}
