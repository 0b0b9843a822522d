/*
 * Messages out and messages in that went nowhere: deliveries, test-alert, unclaimed, refused.
 */
#include "host/clock.h"
#include "tool/pages.h"
#include "tool/table.h"
#include "tool/text.h"
#include "tool/values.h"
#include "tool/words.h"

#include <stdio.h>
#include <string.h>
#include <time.h>

/* ---- deliveries ---- */

/* What is sent, and how it stands; types without their prefix. */
static const struct ctl_word types[] = {{"alarm.raised", PAGE_TOOL_ALARM_RAISED},
                                        {"alarm.returned", PAGE_TOOL_ALARM_RETURNED},
                                        {"alarm.acknowledged", PAGE_TOOL_ALARM_ACKNOWLEDGED},
                                        {"alarm.reminder", PAGE_TOOL_ALARM_REMINDER},
                                        {"alarm.escalated", PAGE_TOOL_ALARM_ESCALATED},
                                        {"digest", PAGE_TOOL_DIGEST},
                                        {"visit.due", PAGE_TOOL_VISIT_DUE},
                                        {"test", PAGE_TOOL_TEST_MESSAGE},
                                        {"home.report", PAGE_TOOL_HOME_REPORT}};
static const struct ctl_word states[] = {
    {"waiting", PAGE_TOOL_WAITING}, {"sent", PAGE_TOOL_SENT}, {"failed", PAGE_TOOL_GIVEN_UP}};
#define WORD_TEXT(ctl, table, word)                                                                \
    ctl_word_text((ctl), (table), sizeof(table) / sizeof(table)[0], (word))

static void add_delivery(struct ctl_table *table, const struct ctl *ctl, const json_t *row) {
    static const char prefix[] = "subslab.";
    const char *type = ctl_text_of(row, "type");
    const json_t *id = json_object_get(row, "id");
    char text[CTL_VALUE_SIZE];
    if (strncmp(type, prefix, sizeof prefix - 1) == 0)
        type += sizeof prefix - 1;
    ctl_table_add(table, ctl_text_of(row, "contact"));
    ctl_table_add(table, ctl_text_of(row, "system"));
    ctl_table_add(table, WORD_TEXT(ctl, types, type));
    ctl_table_add(table, WORD_TEXT(ctl, states, ctl_text_of(row, "state")));
    ctl_table_add_number(table, ctl_whole_of(row, "tries"));
    ctl_table_add(table, ctl_time(text, ctl, json_object_get(row, "next_try")));
    ctl_table_add(table, ctl_words_of(ctl, ctl_text_of(row, "last_answer")));
    if (json_is_string(id))
        ctl_table_add(table, json_string_value(id));
    else
        ctl_table_add_number(table, (long long)json_integer_value(id));
}

static void print_deliveries(const struct ctl *ctl, const json_t *list) {
    const struct ctl_column columns[] = {
        {ctl_words(ctl, PAGE_HEAD_CONTACT), false, CTL_KEEP_WHOLE},
        {ctl_words(ctl, PAGE_HEAD_SYSTEM), false, CTL_KEEP_WHOLE},
        {ctl_words(ctl, PAGE_HEAD_TYPE), false, CTL_KEEP_NOTHING},
        {ctl_words(ctl, PAGE_HEAD_STATE), false, CTL_KEEP_WHOLE},
        {ctl_words(ctl, PAGE_HEAD_TRIES), true, CTL_KEEP_WHOLE},
        {ctl_words(ctl, PAGE_HEAD_NEXT_TRY), false, CTL_KEEP_WHOLE},
        {ctl_words(ctl, PAGE_HEAD_ANSWER), false, CTL_KEEP_NOTHING},
        {ctl_words(ctl, PAGE_HEAD_ID), false, CTL_KEEP_WHOLE}};
    struct ctl_table *table = ctl_table_create(columns, 8);
    const json_t *row;
    size_t i;
    json_array_foreach(list, i, row) add_delivery(table, ctl, row);
    if (json_array_size(list) == 0)
        ctl_tell(ctl, PAGE_TOOL_NO_DELIVERIES, NULL);
    else
        ctl_table_print(table, stdout);
    ctl_table_destroy(table);
}

static enum ctl_status send_again(struct ctl *ctl, const char *id) {
    struct ctl_path path = ctl_path_of("/api/deliveries/", id, "/again");
    json_t *answer = NULL;
    enum ctl_status status = ctl_post_json(ctl, path.text, json_object(), &answer);
    if (answer)
        ctl_tell(ctl, PAGE_TOOL_TRIED_AGAIN, id, NULL);
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

static enum ctl_status deliveries(struct ctl *ctl, const struct ctl_arguments *given) {
    const char *again = ctl_option(given, "--again");
    const struct ctl_pages pages = ctl_pages_of(given);
    if (ctl_pages_check(ctl, &pages) != CTL_DONE)
        return CTL_WRONG_USE;
    if (again)
        return send_again(ctl, again);
    struct ctl_path path = ctl_path("/api/deliveries");
    ctl_path_query(&path, "failed", ctl_flag(given, "--failed") ? "1" : NULL);
    return ctl->json ? ctl_pages_print(ctl, &path, &pages) : show_deliveries(ctl, path, &pages);
}

/* ---- test-alert ---- */

static const int64_t answer_within_ms = 20 * 1000; /* a webhook has 15 s */

static bool is_decided(const json_t *delivery) {
    return strcmp(ctl_text_of(delivery, "state"), "waiting") != 0 ||
           ctl_whole_of(delivery, "tries") > 0;
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

static enum ctl_status tell_outcome(const struct ctl *ctl, const char *contact, json_t *delivery) {
    const char *state = ctl_text_of(delivery, "state"),
               *said = ctl_text_of(delivery, "last_answer");
    bool sent = strcmp(state, "sent") == 0;
    if (ctl->json) {
        ctl_print_json(json_incref(delivery));
        return sent ? CTL_DONE : CTL_FAILED;
    }
    if (sent) {
        ctl_tell(ctl, *said ? PAGE_TOOL_TEST_TAKEN_ANSWER : PAGE_TOOL_TEST_TAKEN, contact, said,
                 NULL);
        return CTL_DONE;
    }
    return ctl_error(ctl, CTL_FAILED, "%s has not taken the test message: %s; it is %s", contact,
                     *said ? said : "no answer yet", *state ? state : "unknown");
}

static enum ctl_status test_alert(struct ctl *ctl, const struct ctl_arguments *given) {
    const char *contact = given->operands[0];
    struct ctl_path path = ctl_path_of("/api/contacts/", contact, "/test-alert");
    const struct ctl_body body = {"application/json", "{}", 2};
    struct ctl_answer answer;
    if (!ctl_request(ctl, path.text, &body, &answer))
        return CTL_FAILED;
    json_t *made = ctl_json_of(&answer);
    const json_t *id = json_object_get(made, "id");
    char number[24];
    snprintf(number, sizeof number, "%lld", (long long)json_integer_value(id));
    struct ctl_path where =
        ctl_path_of("/api/deliveries/", json_is_string(id) ? json_string_value(id) : number, "");
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
        ctl_table_add(table, ctl_words_of(ctl, ctl_text_of(row, "reason")));
    ctl_table_add_number(table, ctl_whole_of(row, "count"));
    ctl_table_add(table, ctl_time(text, ctl, json_object_get(row, "last")));
    ctl_table_add(table, ctl_text_of(row, "example"));
}

/* What to do about a reason. */
static const struct ctl_word advices[] = {
    {"malformed", PAGE_ADVICE_MALFORMED},
    {"value-missing", PAGE_ADVICE_VALUE_MISSING},
    {"not-a-number", PAGE_ADVICE_NOT_A_NUMBER},
    {"out-of-range", PAGE_ADVICE_OUT_OF_RANGE},
    {"unknown-unit", PAGE_ADVICE_UNKNOWN_UNIT},
    {"wrong-unit", PAGE_ADVICE_WRONG_UNIT},
    {"time-malformed", PAGE_ADVICE_TIME_MALFORMED},
    {"time-ambiguous", PAGE_ADVICE_TIME_AMBIGUOUS},
    {"time-in-future", PAGE_ADVICE_TIME_IN_FUTURE},
    {"too-old", PAGE_ADVICE_TOO_OLD},
    {"conflict", PAGE_ADVICE_CONFLICT},
};

static void print_advice(const struct ctl *ctl, const json_t *list) {
    const json_t *row;
    size_t i;
    for (size_t a = 0; a < sizeof advices / sizeof advices[0]; a++) {
        json_array_foreach(list, i, row) {
            if (strcmp(ctl_text_of(row, "reason"), advices[a].word) != 0)
                continue;
            ctl_text_say(stdout, "", "    ", "%s: %s", ctl_words_of(ctl, advices[a].word),
                         ctl_words(ctl, advices[a].text));
            break;
        }
    }
}

/* A list of the daemon's that is shown as a table. */
struct listed_topics {
    const char *path;
    bool with_reason;
    enum page_text nothing;
};

static void print_topics(const struct ctl *ctl, const struct listed_topics *topics,
                         const json_t *list) {
    const struct ctl_column columns[] = {
        {ctl_words(ctl, PAGE_HEAD_TOPIC), false,
         topics->with_reason ? CTL_KEEP_WHOLE : CTL_KEEP_NOTHING},
        {ctl_words(ctl, PAGE_HEAD_REASON), false, CTL_KEEP_WHOLE},
        {ctl_words(ctl, PAGE_HEAD_COUNT), true, CTL_KEEP_WHOLE},
        {ctl_words(ctl, PAGE_HEAD_LAST), false, CTL_KEEP_WHOLE},
        {ctl_words(ctl, PAGE_HEAD_EXAMPLE), false, CTL_KEEP_NOTHING}};
    struct ctl_column shown[5];
    size_t count = 0, i;
    for (size_t c = 0; c < 5; c++) {
        if (c != 1 || topics->with_reason)
            shown[count++] = columns[c];
    }
    struct ctl_table *table = ctl_table_create(shown, count);
    const json_t *row;
    json_array_foreach(list, i, row) add_topic(ctl, table, row, topics->with_reason);
    ctl_table_print(table, stdout);
    ctl_table_destroy(table);
    if (topics->with_reason)
        print_advice(ctl, list);
}

static enum ctl_status list_topics(struct ctl *ctl, const struct listed_topics *topics) {
    json_t *list = NULL;
    enum ctl_status status = ctl_get_json(ctl, topics->path, &list);
    if (json_array_size(list))
        print_topics(ctl, topics, list);
    else if (list)
        ctl_tell(ctl, topics->nothing, NULL);
    json_decref(list);
    return status;
}

static enum ctl_status unclaimed(struct ctl *ctl, const struct ctl_arguments *given) {
    static const struct listed_topics topics = {"/api/unclaimed", false, PAGE_TOOL_NO_UNCLAIMED};
    (void)given;
    return list_topics(ctl, &topics);
}

static enum ctl_status refused(struct ctl *ctl, const struct ctl_arguments *given) {
    static const struct listed_topics topics = {"/api/refused", true, PAGE_TOOL_NO_REFUSED};
    (void)given;
    return list_topics(ctl, &topics);
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
