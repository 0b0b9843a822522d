/*
 * systems: one line a system. show: everything known of one (the page itself is ctl_show.c).
 */
#include "host/clock.h"
#include "measure/duration.h"
#include "measure/timestamp.h"
#include "monitor/monitor.h"
#include "tool/ctl_client.h"
#include "tool/show.h"
#include "tool/table.h"
#include "tool/text.h"
#include "tool/values.h"

#include <stdio.h>
#include <string.h>

static char *age_of(char *text, const json_t *time) {
    int64_t time_ms = 0;
    const char *written = json_is_string(time) ? json_string_value(time) : "";
    if (!timestamp_parse(written, strlen(written), &time_ms)) {
        snprintf(text, CTL_VALUE_SIZE, "never");
        return text;
    }
    int64_t age_ms = clock_wall_ms() - time_ms;
    duration_format(text, CTL_VALUE_SIZE, age_ms > 0 ? age_ms : 0);
    char *unit = strchr(text, ' '), *second_part = unit ? strchr(unit + 1, ' ') : NULL;
    if (second_part)
        *second_part = '\0';
    return text;
}

static char *alarms_of(char *text, const json_t *system) {
    long long open = (long long)json_integer_value(json_object_get(system, "open_alarms"));
    long long fresh = (long long)json_integer_value(json_object_get(system, "unacknowledged"));
    if (fresh > 0)
        snprintf(text, CTL_VALUE_SIZE, "%lld (%lld)", open, fresh);
    else
        snprintf(text, CTL_VALUE_SIZE, "%lld", open);
    return text;
}

static void add_system(const struct ctl *ctl, struct ctl_table *table, const json_t *system) {
    char text[CTL_VALUE_SIZE];
    const json_t *suction = json_object_get(system, "suction");
    const json_t *radon = json_object_get(system, "radon");
    ctl_table_add(table, ctl_text_of(system, "id"));
    ctl_table_add(table, ctl_text_of(system, "status"));
    ctl_table_add(table, ctl_value(text, ctl, json_object_get(suction, "value"),
                                   ctl_text_of(suction, "unit")));
    ctl_table_add(table, ctl_percent(text, ctl_number_of(suction, "of_baseline")));
    ctl_table_add(table,
                  ctl_value(text, ctl, json_object_get(radon, "mean"), ctl_text_of(radon, "unit")));
    ctl_table_add(table, alarms_of(text, system));
    ctl_table_add(table, age_of(text, json_object_get(system, "last_reading")));
}

static bool is_status(const char *word) {
    for (int i = 0; i <= MONITOR_OUT_OF_SERVICE; i++) {
        if (strcmp(word, monitor_status_word((enum monitor_status)i)) == 0)
            return true;
    }
    return false;
}

static enum ctl_status systems(struct ctl *ctl, int argc, char **argv) {
    static const struct ctl_column columns[] = {
        {"SYSTEM", false}, {"STATUS", false}, {"SUCTION", true}, {"SHARE", true},
        {"RADON", true},   {"ALARMS", true},  {"AGE", true},
    };
    const char *status_word = NULL;
    const struct ctl_option options[] = {{"--status", "WORD", &status_word, NULL, false}};
    struct ctl_arguments arguments = {.options = options, .option_count = 1};
    if (!ctl_arguments(ctl, argc, argv, &arguments))
        return arguments.status;
    if (status_word && !is_status(status_word))
        return ctl_error(ctl, CTL_WRONG_USE,
                         "--status %s; allowed: in spec, drifting, out of spec, silent, out of "
                         "service",
                         status_word);
    struct ctl_path path = ctl_path("/api/systems");
    ctl_path_query(&path, "status", status_word);
    json_t *list = NULL, *system;
    enum ctl_status status = ctl_get_json(ctl, path.text, &list);
    if (!list)
        return status;
    struct ctl_table *table = ctl_table_create(columns, sizeof columns / sizeof columns[0]);
    size_t i;
    json_array_foreach(list, i, system) add_system(ctl, table, system);
    if (json_array_size(list) == 0)
        printf("no systems%s\n", status_word ? " of that status" : " in the settings");
    else
        ctl_table_print(table, stdout);
    ctl_table_destroy(table);
    json_decref(list);
    return CTL_DONE;
}

static enum ctl_status show(struct ctl *ctl, int argc, char **argv) {
    struct ctl_arguments arguments = {.least = 1, .most = 1};
    if (!ctl_arguments(ctl, argc, argv, &arguments))
        return arguments.status;
    struct ctl_path path = ctl_path("/api/systems/");
    ctl_path_encode(&path, arguments.operands[0]);
    json_t *system = NULL;
    enum ctl_status status = ctl_get_json(ctl, path.text, &system);
    if (system)
        ctl_show_print(ctl, system);
    json_decref(system);
    return status;
}

const struct ctl_command ctl_system_commands[] = {
    {"systems", "[--status WORD] [--json]", "one line a system, worst first",
     "WORD: in spec, drifting, out of spec, silent, out of service.\n"
     "SHARE is the suction as a part of its value at commissioning, RADON the mean of the last 30 "
     "days, ALARMS the open ones (in brackets: nobody has taken them on yet), AGE how long ago the "
     "last reading was taken. Dates of visits: subslabctl visits.",
     systems},
    {"show", "SYSTEM [--json]", "everything known of one system",
     "Suction now and then, trends, radon averages with coverage and certainty, fan and ground, "
     "open alarms with what to check and to bring, visits.",
     show},
    {0},
};
