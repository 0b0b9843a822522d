/*
 * Open alarms and the history, and what people do with them.
 */
#include "tool/pages.h"
#include "tool/shards.h"
#include "tool/table.h"
#include "tool/values.h"
#include "tool/words.h"

#include <stdio.h>
#include <string.h>

static void add_alarm(struct ctl *ctl, struct ctl_table *table, const json_t *alarm, bool history) {
    char text[CTL_VALUE_SIZE], place[256];
    const char *point = ctl_text_of(alarm, "point"), *system = ctl_text_of(alarm, "system");
    snprintf(place, sizeof place, "%s%s%s", *system ? system : ctl_words(ctl, PAGE_TOOL_DAEMON),
             *point ? " " : "", point);
    ctl_use_zone(ctl, ctl_text_of(alarm, "time_zone"));
    ctl_table_add_number(table, ctl_whole_of(alarm, "id"));
    ctl_table_add(table, ctl_words_of(ctl, ctl_text_of(alarm, "priority")));
    ctl_table_add(table, place);
    ctl_table_add(table, ctl_condition(ctl, ctl_text_of(alarm, "condition")));
    ctl_table_add(table, ctl_words_of(ctl, ctl_text_of(alarm, "state")));
    ctl_table_add(table, ctl_time(text, ctl, json_object_get(alarm, "raised")));
    if (history)
        ctl_table_add(table, ctl_time(text, ctl, json_object_get(alarm, "returned")));
}

static void print_alarms(struct ctl *ctl, const json_t *list, bool history, bool shards) {
    const struct ctl_column columns[] = {
        {ctl_words(ctl, PAGE_HEAD_SHARD), false, CTL_KEEP_WHOLE},
        {ctl_words(ctl, PAGE_HEAD_NUMBER), true, CTL_KEEP_WHOLE},
        {ctl_words(ctl, PAGE_HEAD_PRIORITY), false, CTL_KEEP_WHOLE},
        {ctl_words(ctl, PAGE_HEAD_WHERE), false, CTL_KEEP_WORDS},
        {ctl_words(ctl, PAGE_HEAD_CONDITION), false, CTL_KEEP_WORDS},
        {ctl_words(ctl, PAGE_HEAD_STATE), false, CTL_KEEP_WHOLE},
        {ctl_words(ctl, PAGE_HEAD_RAISED), false, CTL_KEEP_WHOLE},
        {ctl_words(ctl, PAGE_HEAD_RETURNED), false, CTL_KEEP_WHOLE}};
    char shard[CTL_VALUE_SIZE];
    struct ctl_table *table = ctl_table_create(columns + !shards, 6U + shards + history);
    const json_t *alarm;
    size_t i;
    json_array_foreach((json_t *)list, i, alarm) {
        if (shards)
            ctl_table_add(table, ctl_shards_name(alarm, shard, sizeof shard));
        add_alarm(ctl, table, alarm, history);
    }
    if (json_array_size(list) == 0)
        ctl_tell(ctl, history ? PAGE_TOOL_NO_ALARMS : PAGE_SHOW_NO_ALARMS, NULL);
    else
        ctl_table_print(table, stdout);
    ctl_table_destroy(table);
}

static bool is_number(const char *text) {
    return *text && strspn(text, "0123456789") == strlen(text) && strlen(text) < 19;
}

static int newer(const json_t *a, const json_t *b) {
    return ctl_shards_earlier(b, a, "raised");
}

static enum ctl_status show_alarms(struct ctl *ctl, struct ctl_path path, bool all,
                                   const struct ctl_pages *pages) {
    json_t *list = NULL;
    ctl_path_query(&path, "limit", pages->limit ? pages->limit : all ? "200" : NULL);
    ctl_path_query(&path, "before", pages->before);
    enum ctl_status status = ctl_shards_get(ctl, path.text, pages->limit, newer, &list);
    if (list)
        print_alarms(ctl, list, all, ctl_shards_many(ctl));
    json_decref(list);
    return status;
}

static enum ctl_status alarms(struct ctl *ctl, const struct ctl_arguments *given) {
    const struct ctl_pages pages = ctl_pages_of(given);
    bool all = ctl_flag(given, "--all");
    if (ctl_pages_check(ctl, &pages) != CTL_DONE)
        return CTL_WRONG_USE;
    if (pages.before && !is_number(pages.before))
        return ctl_error(ctl, CTL_WRONG_USE,
                         "--before ALARM is a number such as 12; see: subslabctl alarms --all");
    if (pages.before && ctl_shards_many(ctl))
        return ctl_error(ctl, CTL_WRONG_USE,
                         "--before ALARM is of one daemon: give one --settings");
    struct ctl_path path = ctl_path("/api/alarms");
    ctl_path_query(&path, "all", all ? "1" : NULL);
    ctl_path_query(&path, "system", ctl_option(given, "--system"));
    ctl_path_query(&path, "since", ctl_option(given, "--since"));
    return ctl->json && !ctl_shards_many(ctl) ? ctl_pages_print(ctl, &path, &pages)
                                              : show_alarms(ctl, path, all, &pages);
}

/* ---- changes ---- */

static void print_one(struct ctl *ctl, json_t *alarm) {
    json_t *list = json_pack("[O]", alarm);
    print_alarms(ctl, list, false, false);
    json_decref(list);
}

static enum ctl_status change_alarm(struct ctl *ctl, const char *id, const char *verb,
                                    json_t *body) {
    struct ctl_path path = ctl_path_of("/api/alarms/", id, verb);
    json_t *alarm = NULL;
    if (!is_number(id)) {
        json_decref(body);
        return ctl_error(ctl, CTL_WRONG_USE,
                         "ALARM is a number such as 12; see: subslabctl alarms");
    }
    enum ctl_status status = ctl_post_json(ctl, path.text, body, &alarm);
    if (alarm)
        print_one(ctl, alarm);
    json_decref(alarm);
    return status;
}

static enum ctl_status acknowledge(struct ctl *ctl, const struct ctl_arguments *given) {
    json_t *body = ctl_body(given, "--by", "--note", NULL);
    return change_alarm(ctl, given->operands[0], "/acknowledge", body);
}

static enum ctl_status shelve(struct ctl *ctl, const struct ctl_arguments *given) {
    json_t *body = ctl_body(given, "--until", "--by", "--why", NULL);
    return change_alarm(ctl, given->operands[0], "/shelve", body);
}

static enum ctl_status unshelve(struct ctl *ctl, const struct ctl_arguments *given) {
    return change_alarm(ctl, given->operands[0], "/unshelve", json_object());
}

/* ---- out of service ---- */

static enum ctl_status change_service(struct ctl *ctl, const char *system, const char *verb,
                                      json_t *body, enum page_text said) {
    struct ctl_path path = ctl_path_of("/api/systems/", system, verb);
    char until[CTL_VALUE_SIZE];
    json_t *answer = NULL;
    enum ctl_status status = ctl_post_json(ctl, path.text, body, &answer);
    if (answer) {
        const json_t *end = json_object_get(answer, "until");
        ctl_use_zone(ctl, ctl_text_of(answer, "time_zone"));
        ctl_tell(ctl, said, system, ctl_time(until, ctl, end), NULL);
    }
    json_decref(answer);
    return status;
}

static enum ctl_status out_of_service(struct ctl *ctl, const struct ctl_arguments *given) {
    json_t *body = ctl_body(given, "--until", "--by", "--why", NULL);
    return change_service(ctl, given->operands[0], "/out-of-service", body,
                          PAGE_TOOL_OUT_OF_SERVICE);
}

static enum ctl_status return_to_service(struct ctl *ctl, const struct ctl_arguments *given) {
    return change_service(ctl, given->operands[0], "/return-to-service", json_object(),
                          PAGE_TOOL_IN_SERVICE);
}

#define TIME_HELP                                                                                  \
    "TIME is RFC 3339, a date (its start at the system), or a span from now such as \"2 h\"."

const struct ctl_command ctl_alarm_commands[] = {
    {"alarms", "[--all] [--system S] [--since T] [--limit N] [--before ALARM] [--json]",
     "open alarms, or with --all the history",
     "T is RFC 3339 or a date. Newest first; of the history the newest 200 or N, and with --before "
     "those behind ALARM. --json prints all, unless --limit is given. What to check and to bring: "
     "subslabctl show SYSTEM. Several --settings give one list of several daemons.",
     alarms},
    {"acknowledge", "ALARM --by NAME [--note TEXT]", "says that somebody has taken an alarm on",
     "ALARM is the number in the list of alarms.", acknowledge},
    {"shelve", "ALARM --until TIME --by NAME --why TEXT", "silences one alarm for a while",
     TIME_HELP " At most 30 days. What still stands then asks again.", shelve},
    {"unshelve", "ALARM", "ends a shelving early", NULL, unshelve},
    {"out-of-service", "SYSTEM --until TIME --by NAME --why TEXT",
     "expects nothing of a system for a while",
     TIME_HELP " Readings are kept, alarms wait, nobody is told. A system that is off does not "
               "lower radon: keep it short, and tell those who live there.",
     out_of_service},
    {"return-to-service", "SYSTEM", "a system is to be watched again", NULL, return_to_service},
    {0},
};
