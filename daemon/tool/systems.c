/*
 * systems: one line a system. show: everything known of one (the page itself is ctl_show.c).
 */
#include "monitor/monitor.h"
#include "tool/ctl_client.h"
#include "tool/shards.h"
#include "tool/show.h"
#include "tool/table.h"
#include "tool/values.h"
#include "tool/words.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static char *alarms_of(char *text, const json_t *system) {
    long long open = ctl_whole_of(system, "open_alarms");
    long long fresh = ctl_whole_of(system, "unacknowledged");
    if (fresh > 0)
        snprintf(text, CTL_VALUE_SIZE, "%lld (%lld)", open, fresh);
    else
        snprintf(text, CTL_VALUE_SIZE, "%lld", open);
    return text;
}

/* A silent one says since when instead: that is what the age of a reading comes to. */
static void add_status(struct ctl_table *table, const struct ctl *ctl, const json_t *system) {
    const char *status = ctl_text_of(system, "status");
    char date[CTL_VALUE_SIZE];
    const json_t *last = json_object_get(system, "last_reading");
    if (strcmp(status, "silent") != 0 || !json_is_string(last)) {
        ctl_table_add_whole(table, ctl_words_of(ctl, status));
        return;
    }
    char *since = ctl_filled(ctl, PAGE_NOT_HEARD_SINCE, ctl_date(date, ctl, last), NULL);
    ctl_table_add(table, since);
    free(since);
}

static void add_system(struct ctl *ctl, struct ctl_table *table, const json_t *system) {
    ctl_use_zone(ctl, ctl_text_of(system, "time_zone"));
    char text[CTL_VALUE_SIZE];
    const json_t *suction = json_object_get(system, "suction");
    const json_t *radon = json_object_get(system, "radon");
    ctl_table_add(table, ctl_text_of(system, "id"));
    add_status(table, ctl, system);
    ctl_table_add(table, ctl_value(text, ctl, json_object_get(suction, "value"),
                                   ctl_text_of(suction, "unit")));
    ctl_table_add(table, ctl_percent(text, ctl_number_of(suction, "of_baseline")));
    ctl_table_add(table,
                  ctl_value(text, ctl, json_object_get(radon, "mean"), ctl_text_of(radon, "unit")));
    ctl_table_add(table, alarms_of(text, system));
    ctl_table_add(table, ctl_words_of(ctl, ctl_age(text, json_object_get(system, "last_reading"))));
}

/* As a daemon lists them: what needs somebody first. */
static int worse(const json_t *a, const json_t *b) {
    static const char *const words[] = {"out of spec", "silent", "drifting", "out of service",
                                        "in spec"};
    int ranks[2] = {0, 0};
    const json_t *const rows[2] = {a, b};
    for (int i = 0; i < 2; i++)
        while (ranks[i] < 4 && strcmp(words[ranks[i]], ctl_text_of(rows[i], "status")) != 0)
            ranks[i]++;
    return ranks[0] - ranks[1];
}

static bool is_status(const char *word) {
    for (int i = 0; i <= MONITOR_OUT_OF_SERVICE; i++) {
        if (strcmp(word, monitor_status_word((enum monitor_status)i)) == 0)
            return true;
    }
    return false;
}

static void print_systems(struct ctl *ctl, const json_t *list) {
    const struct ctl_column columns[] = {
        {ctl_words(ctl, PAGE_HEAD_SHARD), false, CTL_KEEP_WHOLE},
        {ctl_words(ctl, PAGE_HEAD_SYSTEM), false, CTL_KEEP_WHOLE},
        {ctl_words(ctl, PAGE_HEAD_STATUS), false, CTL_KEEP_WORDS},
        {ctl_words(ctl, PAGE_HEAD_SUCTION), true, CTL_KEEP_WORDS},
        {ctl_words(ctl, PAGE_SHOW_COLUMN_SHARE), true, CTL_KEEP_WHOLE},
        {ctl_words(ctl, PAGE_HEAD_RADON), true, CTL_KEEP_WORDS},
        {ctl_words(ctl, PAGE_HEAD_ALARMS), true, CTL_KEEP_WHOLE},
        {ctl_words(ctl, PAGE_SHOW_COLUMN_AGE), true, CTL_KEEP_WORDS},
    };
    char shard[CTL_VALUE_SIZE];
    size_t skipped = ctl_shards_many(ctl) ? 0 : 1, i;
    struct ctl_table *table =
        ctl_table_create(columns + skipped, sizeof columns / sizeof columns[0] - skipped);
    const json_t *system;
    json_array_foreach((json_t *)list, i, system) {
        if (!skipped)
            ctl_table_add(table, ctl_shards_name(system, shard, sizeof shard));
        add_system(ctl, table, system);
    }
    ctl_table_print(table, stdout);
    ctl_table_destroy(table);
}

static enum ctl_status systems(struct ctl *ctl, const struct ctl_arguments *given) {
    const char *status_word = ctl_option(given, "--status");
    if (status_word && !is_status(status_word))
        return ctl_error(ctl, CTL_WRONG_USE,
                         "--status %s; allowed: in spec, drifting, out of spec, silent, out of "
                         "service",
                         status_word);
    struct ctl_path path = ctl_path("/api/systems");
    ctl_path_query(&path, "status", status_word);
    json_t *list = NULL;
    enum ctl_status status = ctl_shards_get(ctl, path.text, NULL, worse, &list);
    if (json_array_size(list) > 0)
        print_systems(ctl, list);
    else if (list)
        ctl_tell(ctl, status_word ? PAGE_TOOL_NO_SYSTEMS_OF_STATUS : PAGE_TOOL_NO_SYSTEMS, NULL);
    json_decref(list);
    return status;
}

static enum ctl_status show(struct ctl *ctl, const struct ctl_arguments *given) {
    struct ctl_path path = ctl_path_of("/api/systems/", given->operands[0], "");
    ctl_path_language(&path, ctl);
    json_t *system = NULL;
    enum ctl_status status = ctl_get_json(ctl, path.text, &system);
    ctl_use_zone(ctl, ctl_text_of(system, "time_zone"));
    if (system && ctl_flag(given, "--full"))
        ctl_show_full(ctl, system);
    else if (system)
        ctl_show_brief(ctl, system);
    json_decref(system);
    return status;
}

const struct ctl_command ctl_system_commands[] = {
    {"systems", "[--status WORD] [--json]", "one line a system, worst first",
     "WORD: in spec, drifting, out of spec, silent, out of service.\n"
     "SHARE is the suction as a part of its value at commissioning, RADON the mean of the last 30 "
     "days, ALARMS the open ones (in brackets: nobody has taken them on yet), AGE how long ago the "
     "last reading was taken. Dates of visits: subslabctl visits. Several --settings give one list "
     "of several daemons.",
     systems},
    {"show", "SYSTEM [--full] [--json]", "one system: what is wrong, what to do, what is measured",
     "Open alarms by their cause with what to check and to bring, the next visit, each point now, "
     "over 7 days and at commissioning, fan and ground, radon; 60 lines at most. --full adds "
     "trends, all averages with coverage and certainty, and readings taken by hand. Times are the "
     "system's own; --json has all of it, in UTC.",
     show},
    {0},
};
