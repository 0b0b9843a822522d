/*
 * radon-test: the result of a radon test. radon-tests: the list, beside what the monitors read.
 */
#include "tool/ctl_client.h"
#include "tool/show.h"
#include "tool/table.h"
#include "tool/values.h"
#include "tool/words.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* "1.2 pCi/L agrees": what a monitor read in the days of a test; named where there are several. */
static void monitor_text(char *text, size_t size, const struct ctl *ctl, const json_t *monitor,
                         bool named) {
    char mean[CTL_VALUE_SIZE];
    const json_t *agrees = json_object_get(monitor, "agrees");
    int length =
        snprintf(text, size, "%s%s", named ? ctl_text_of(monitor, "point") : "", named ? ": " : "");
    if (json_is_null(agrees))
        snprintf(text + length, size - (size_t)length, "%s",
                 ctl_words_of(ctl, ctl_text_of(monitor, "why")));
    else {
        char *words =
            ctl_filled(ctl, json_is_true(agrees) ? PAGE_SHOW_AGREES : PAGE_SHOW_DISAGREES,
                       ctl_value(mean, ctl, json_object_get(monitor, "mean"), "Bq/m3"), NULL);
        snprintf(text + length, size - (size_t)length, "%s", words ? words : "");
        free(words);
    }
}

char *ctl_test_monitors(char *text, size_t size, const struct ctl *ctl, const json_t *test) {
    char one[200];
    const json_t *list = json_object_get(test, "monitors"), *monitor;
    size_t i;
    *text = '\0';
    json_array_foreach(list, i, monitor) {
        monitor_text(one, sizeof one, ctl, monitor, json_array_size(list) > 1);
        snprintf(text + strlen(text), size - strlen(text), "%s%s", i ? "; " : "", one);
    }
    return text;
}

static void add_monitors(struct ctl_table *table, const struct ctl *ctl, const json_t *test) {
    char all[600];
    ctl_table_add(table, *ctl_test_monitors(all, sizeof all, ctl, test) ? all : "–");
}

static void add_test(struct ctl_table *table, struct ctl *ctl, const json_t *test) {
    ctl_use_zone(ctl, ctl_text_of(test, "time_zone"));
    const struct ctl shown = ctl_for_quantity(ctl, test);
    char text[CTL_VALUE_SIZE], value[CTL_VALUE_SIZE + 40], what[600];
    snprintf(value, sizeof value, "%s ± %.0f %%",
             ctl_value(text, &shown, json_object_get(test, "value"), "Bq/m3"),
             100.0 * ctl_number_of(test, "uncertainty"));
    snprintf(what, sizeof what, "%s, %s, %s", ctl_words_of(ctl, ctl_text_of(test, "kind")),
             ctl_text_of(test, "place"), ctl_text_of(test, "device"));
    ctl_table_add(table, ctl_text_of(test, "system"));
    ctl_table_add(table, ctl_date(text, ctl, json_object_get(test, "to")));
    ctl_table_add(table, value);
    add_monitors(table, &shown, test);
    ctl_table_add(table, what);
    ctl_table_add_number(table, ctl_whole_of(test, "id"));
}

static void print_tests(struct ctl *ctl, const json_t *list) {
    const struct ctl_column columns[] = {
        {ctl_words(ctl, PAGE_HEAD_SYSTEM), false, CTL_KEEP_WHOLE},
        {ctl_words(ctl, PAGE_HEAD_ENDED), false, CTL_KEEP_WHOLE},
        {ctl_words(ctl, PAGE_HEAD_RESULT), true, CTL_KEEP_WHOLE},
        {ctl_words(ctl, PAGE_HEAD_MONITOR), false, CTL_KEEP_NOTHING},
        {ctl_words(ctl, PAGE_HEAD_TEST), false, CTL_KEEP_NOTHING},
        {ctl_words(ctl, PAGE_HEAD_ID), true, CTL_KEEP_WHOLE}};
    struct ctl_table *table = ctl_table_create(columns, 6);
    const json_t *test;
    size_t i;
    json_array_foreach(list, i, test) add_test(table, ctl, test);
    if (json_array_size(list) == 0)
        ctl_tell(ctl, PAGE_TOOL_NO_TESTS, NULL);
    else
        ctl_table_print(table, stdout);
    ctl_table_destroy(table);
}

static enum ctl_status take_back(struct ctl *ctl, const char *id,
                                 const struct ctl_arguments *given) {
    struct ctl_path path = ctl_path_of("/api/radon-tests/", id, "/take-back");
    json_t *answer = NULL;
    enum ctl_status status =
        ctl_post_json(ctl, path.text, ctl_body(given, "--by", "--why", NULL), &answer);
    if (answer)
        ctl_tell(ctl, PAGE_TOOL_TAKEN_BACK, id, ctl_text_of(answer, "system"), NULL);
    json_decref(answer);
    return status;
}

static enum ctl_status radon_tests(struct ctl *ctl, const struct ctl_arguments *given) {
    const char *wrong = ctl_option(given, "--take-back");
    bool by = ctl_flag(given, "--by"), why = ctl_flag(given, "--why");
    json_t *list = NULL;
    if (wrong ? !by || !why || given->count : by || why)
        return ctl_wrong_use(ctl);
    if (wrong)
        return take_back(ctl, wrong, given);
    struct ctl_path path = given->count
                               ? ctl_path_of("/api/systems/", given->operands[0], "/radon-tests")
                               : ctl_path("/api/radon-tests");
    enum ctl_status status = ctl_get_json(ctl, path.text, &list);
    if (list)
        print_tests(ctl, list);
    json_decref(list);
    return status;
}

static enum ctl_status radon_test(struct ctl *ctl, const struct ctl_arguments *given) {
    struct ctl_path path = ctl_path_of("/api/systems/", given->operands[0], "/radon-test");
    bool closed = ctl_flag(given, "--closed-house"), open = ctl_flag(given, "--open-house");
    if (closed && open)
        return ctl_error(ctl, CTL_WRONG_USE, "--closed-house and --open-house exclude each other");
    json_t *body = ctl_body(given, "--from", "--to", "--place", "--device", "--by", "--uncertainty",
                            "--kind", NULL);
    json_t *answer = NULL;
    ctl_set(body, "value", given->operands[1]);
    if (closed || open)
        json_object_set_new(body, "closed_house", json_boolean(closed));
    enum ctl_status status = ctl_post_json(ctl, path.text, body, &answer);
    if (answer) {
        json_t *list = json_pack("[O]", answer);
        print_tests(ctl, list);
        json_decref(list);
    }
    json_decref(answer);
    return status;
}

const struct ctl_command ctl_radon_test_commands[] = {
    {"radon-test",
     "SYSTEM VALUE --from DATE --to DATE --place TEXT --device TEXT --by NAME "
     "[--uncertainty PERCENT] [--kind short|long] [--closed-house | --open-house]",
     "puts the result of a radon test on record",
     "VALUE has its unit: \"1.2 pCi/L\". A test sets the date of the next one; it stands beside "
     "what the monitors read in its days. --uncertainty is the device's (standard uncertainty, "
     "default \"10 %\"); 2 to 90 days make a short test, more a long one. --closed-house: doors "
     "and windows were kept closed, as short tests ask for.",
     radon_test},
    {"radon-tests", "[SYSTEM] [--json] | --take-back ID --by NAME --why TEXT",
     "results of radon tests, beside the monitors",
     "A monitor agrees with a test when they differ by no more than both say of their own "
     "uncertainty (E_n of ISO 13528 up to 1). --take-back: a test that was written down wrongly "
     "stands no more in the record and sets no date; the log keeps what it said, who took it back "
     "and why.",
     radon_tests},
    {0},
};
