/*
 * Messages out and messages in that went nowhere: deliveries, test-alert, unclaimed, refused.
 */
#include "host/clock.h"
#include "tool/pages.h"
#include "tool/table.h"
#include "tool/text.h"
#include "tool/values.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

/* ---- deliveries ---- */

static void print_deliveries(const struct ctl *ctl, const json_t *list) {
    static const struct ctl_column columns[] = {
        {"CONTACT", false, CTL_KEEP_WHOLE},       {"SYSTEM", false, CTL_KEEP_WHOLE},
        {"TYPE", false, CTL_KEEP_NOTHING},        {"STATE", false, CTL_KEEP_WHOLE},
        {"TRIES", true, CTL_KEEP_WHOLE},          {"NEXT TRY", false, CTL_KEEP_WHOLE},
        {"LAST ANSWER", false, CTL_KEEP_NOTHING}, {"ID", false, CTL_KEEP_WHOLE}};
    struct ctl_table *table = ctl_table_create(columns, 8);
    const json_t *row;
    char text[CTL_VALUE_SIZE];
    size_t i;
    json_array_foreach(list, i, row) {
        const char *type = ctl_text_of(row, "type");
        ctl_table_add(table, ctl_text_of(row, "contact"));
        ctl_table_add(table, ctl_text_of(row, "system"));
        ctl_table_add(table, strncmp(type, "subslab.", 8) == 0 ? type + 8 : type);
        ctl_table_add(table, ctl_text_of(row, "state"));
        ctl_table_add_number(table, (long long)json_integer_value(json_object_get(row, "tries")));
        ctl_table_add(table, ctl_time(text, ctl, json_object_get(row, "next_try")));
        ctl_table_add(table, ctl_text_of(row, "last_answer"));
        const json_t *id = json_object_get(row, "id");
        if (json_is_string(id))
            ctl_table_add(table, json_string_value(id));
        else
            ctl_table_add_number(table, (long long)json_integer_value(id));
    }
    if (json_array_size(list) == 0)
        printf("no deliveries\n");
    else
        ctl_table_print(table, stdout);
    ctl_table_destroy(table);
}

static enum ctl_status send_again(struct ctl *ctl, const char *id) {
    struct ctl_path path = ctl_path("/api/deliveries/");
    json_t *answer = NULL;
    ctl_path_encode(&path, id);
    ctl_path_add(&path, "/again");
    enum ctl_status status = ctl_post_json(ctl, path.text, json_object(), &answer);
    if (answer)
        printf("delivery %s is tried again now\n", id);
    json_decref(answer);
    return status;
}

static enum ctl_status show_deliveries(struct ctl *ctl, struct ctl_path path,
                                       const struct ctl_pages *pages) {
    json_t *list = NULL;
    ctl_path_query(&path, "limit", pages->limit ? pages->limit : "200");
    ctl_path_query(&path, "before", pages->before);
    enum ctl_status status = ctl_get_json(ctl, path.text, &list);
    if (list)
        print_deliveries(ctl, list);
    json_decref(list);
    return status;
}

static enum ctl_status deliveries(struct ctl *ctl, int argc, char **argv) {
    const char *again = NULL;
    struct ctl_pages pages = {0};
    bool failed = false;
    const struct ctl_option options[] = {{"--failed", NULL, NULL, &failed, false},
                                         {"--limit", "N", &pages.limit, NULL, false},
                                         {"--before", "ID", &pages.before, NULL, false},
                                         {"--again", "ID", &again, NULL, false}};
    struct ctl_arguments arguments = {.options = options, .option_count = 4};
    if (!ctl_arguments(ctl, argc, argv, &arguments))
        return arguments.status;
    if (ctl_pages_check(ctl, &pages) != CTL_DONE)
        return CTL_WRONG_USE;
    if (again)
        return send_again(ctl, again);
    struct ctl_path path = ctl_path("/api/deliveries");
    ctl_path_query(&path, "failed", failed ? "1" : NULL);
    return ctl->json ? ctl_pages_print(ctl, &path, &pages) : show_deliveries(ctl, path, &pages);
}

/* ---- test-alert ---- */

static const int64_t answer_within_ms = 20 * 1000; /* a webhook has 15 s */

static bool is_decided(const json_t *delivery) {
    return strcmp(ctl_text_of(delivery, "state"), "waiting") != 0 ||
           json_integer_value(json_object_get(delivery, "tries")) > 0;
}

/* Asks until the delivery was tried once, or time is over. The caller frees. */
static json_t *wait_for_delivery(struct ctl *ctl, const char *path) {
    const struct timespec pause = {0, 200 * 1000 * 1000};
    int64_t until_ms = clock_monotonic_ms() + answer_within_ms;
    for (;;) {
        json_t *delivery = ctl_ask(ctl, path);
        if (!delivery || is_decided(delivery) || clock_monotonic_ms() >= until_ms)
            return delivery;
        json_decref(delivery);
        nanosleep(&pause, NULL);
    }
}

static enum ctl_status tell_outcome(const struct ctl *ctl, const char *contact,
                                    const json_t *delivery) {
    const char *state = ctl_text_of(delivery, "state"),
               *said = ctl_text_of(delivery, "last_answer");
    bool sent = strcmp(state, "sent") == 0;
    if (ctl->json) {
        char *text = json_dumps(delivery, JSON_INDENT(2));
        printf("%s\n", text ? text : "null");
        free(text);
        return sent ? CTL_DONE : CTL_FAILED;
    }
    if (sent) {
        printf("%s has taken the test message%s%s%s\n", contact, *said ? " (" : "", said,
               *said ? ")" : "");
        return CTL_DONE;
    }
    return ctl_error(ctl, CTL_FAILED, "%s has not taken the test message: %s; it is %s", contact,
                     *said ? said : "no answer yet", *state ? state : "unknown");
}

static enum ctl_status test_alert(struct ctl *ctl, int argc, char **argv) {
    struct ctl_arguments arguments = {.least = 1, .most = 1};
    if (!ctl_arguments(ctl, argc, argv, &arguments))
        return arguments.status;
    const char *contact = arguments.operands[0];
    struct ctl_path path = ctl_path("/api/contacts/"), where = ctl_path("/api/deliveries/");
    ctl_path_encode(&path, contact);
    ctl_path_add(&path, "/test-alert");
    const struct ctl_body body = {"application/json", "{}", 2};
    struct ctl_answer answer;
    if (!ctl_request(ctl, path.text, &body, &answer))
        return CTL_FAILED;
    json_t *made = ctl_json_of(&answer);
    const json_t *id = json_object_get(made, "id");
    char number[24];
    snprintf(number, sizeof number, "%lld", (long long)json_integer_value(id));
    ctl_path_encode(&where, json_is_string(id) ? json_string_value(id) : number);
    json_decref(made);
    json_t *delivery = wait_for_delivery(ctl, where.text);
    enum ctl_status status = delivery ? tell_outcome(ctl, contact, delivery) : CTL_FAILED;
    json_decref(delivery);
    return status;
}

/* ---- what was not taken ---- */

static void add_topic(const struct ctl *ctl, struct ctl_table *table, const json_t *row,
                      bool with_reason) {
    char text[CTL_VALUE_SIZE];
    ctl_table_add(table, ctl_text_of(row, "topic"));
    if (with_reason)
        ctl_table_add(table, ctl_text_of(row, "reason"));
    ctl_table_add_number(table, (long long)json_integer_value(json_object_get(row, "count")));
    ctl_table_add(table, ctl_time(text, ctl, json_object_get(row, "last")));
    ctl_table_add(table, ctl_text_of(row, "example"));
}

/* What to do about a reason. */
static const struct {
    const char *reason, *advice;
} advices[] = {
    {"malformed", "it begins like JSON and is none: look at the example"},
    {"value-missing", "`value` of the point leads nowhere in it"},
    {"not-a-number", "a plain number, perhaps with its unit, or JSON and a `value` in the point"},
    {"out-of-range", "impossible for its quantity: is `unit` of the point what the sensor sends?"},
    {"unknown-unit", "write its unit as `unit` of the point, and let the sensor send the number"},
    {"wrong-unit", "of another kind than the point's: is it the right point?"},
    {"time-malformed",
     "send the time with its offset (2026-03-12T08:00:00-06:00) or in seconds since "
     "1970; or write `time_zone_of_time: local` (or UTC) in the point; or leave `time` out of it: "
     "then it is that of its arrival"},
    {"time-ambiguous",
     "a local time without its offset, late, out of the hour that comes twice when the clocks are "
     "set back: only a sender that names the offset can be told apart there"},
    {"time-in-future", "the sensor's clock is ahead, or sends local time as if it were UTC"},
    {"too-old", "older than store.keep_readings: is the sensor's clock set?"},
    {"conflict", "another value is stored for the same time: do two sensors send as one?"},
};

static void print_advice(const json_t *list) {
    const json_t *row;
    size_t i;
    for (size_t a = 0; a < sizeof advices / sizeof advices[0]; a++) {
        json_array_foreach(list, i, row) {
            if (strcmp(ctl_text_of(row, "reason"), advices[a].reason) != 0)
                continue;
            ctl_text_say(stdout, "", "    ", "%s: %s", advices[a].reason, advices[a].advice);
            break;
        }
    }
}

static enum ctl_status list_topics(struct ctl *ctl, int argc, char **argv, const char *path,
                                   const struct ctl_column *columns, size_t column_count,
                                   const char *nothing) {
    struct ctl_arguments arguments = {.options = NULL};
    if (!ctl_arguments(ctl, argc, argv, &arguments))
        return arguments.status;
    json_t *list = NULL, *row;
    enum ctl_status status = ctl_get_json(ctl, path, &list);
    if (!list)
        return status;
    struct ctl_table *table = ctl_table_create(columns, column_count);
    size_t i;
    json_array_foreach(list, i, row) add_topic(ctl, table, row, column_count == 5);
    if (json_array_size(list) == 0)
        printf("%s\n", nothing);
    else
        ctl_table_print(table, stdout);
    if (column_count == 5)
        print_advice(list);
    ctl_table_destroy(table);
    json_decref(list);
    return CTL_DONE;
}

static enum ctl_status unclaimed(struct ctl *ctl, int argc, char **argv) {
    static const struct ctl_column columns[] = {{"TOPIC", false, CTL_KEEP_NOTHING},
                                                {"COUNT", true, CTL_KEEP_WHOLE},
                                                {"LAST", false, CTL_KEEP_WHOLE},
                                                {"EXAMPLE", false, CTL_KEEP_NOTHING}};
    return list_topics(ctl, argc, argv, "/api/unclaimed", columns, 4, "every topic has its point");
}

static enum ctl_status refused(struct ctl *ctl, int argc, char **argv) {
    static const struct ctl_column columns[] = {{"TOPIC", false, CTL_KEEP_WHOLE},
                                                {"REASON", false, CTL_KEEP_WHOLE},
                                                {"COUNT", true, CTL_KEEP_WHOLE},
                                                {"LAST", false, CTL_KEEP_WHOLE},
                                                {"EXAMPLE", false, CTL_KEEP_NOTHING}};
    return list_topics(ctl, argc, argv, "/api/refused", columns, 5, "no message was refused");
}

const struct ctl_command ctl_delivery_commands[] = {
    {"deliveries", "[--failed] [--limit N] [--before ID] [--json] | --again ID",
     "what was sent to whom, and what waits",
     "Newest first: the newest 200 or N, and with --before those behind ID; --json prints all, "
     "unless --limit is given. --failed lists what was given up; --again tries one of those once "
     "more.",
     deliveries},
    {"test-alert", "CONTACT", "sends a message marked as a test, and waits for the answer", NULL,
     test_alert},
    {"unclaimed", "[--json]", "topics that no point claims",
     "The newest first, each with its last message. To watch them: subslabctl enrol.", unclaimed},
    {"refused", "[--json]", "messages that were not taken, and why", NULL, refused},
    {0},
};
