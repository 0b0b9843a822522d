/*
 * fans: the models of the fleet, how long they last, and which are next.
 */
#include "tool/ctl_client.h"
#include "tool/table.h"
#include "tool/values.h"
#include "tool/words.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

/* "93 % (81-98)" */
static const char *share_text(char *text, size_t size, const json_t *share) {
    double part = ctl_number_of(share, "share");
    if (!isfinite(part))
        snprintf(text, size, "–");
    else
        snprintf(text, size, "%.0f %% (%.0f-%.0f)", 100.0 * part,
                 100.0 * ctl_number_of(share, "lower"), 100.0 * ctl_number_of(share, "upper"));
    return text;
}

static void add_model(struct ctl_table *table, const struct ctl *ctl, const json_t *model) {
    const char *name = ctl_text_of(model, "model");
    char unnamed[80];
    snprintf(unnamed, sizeof unnamed, "(%.70s)", ctl_words(ctl, PAGE_NOT_NAMED));
    ctl_table_add(table, *name ? name : unnamed);
}

static void print_models(const struct ctl *ctl, const json_t *list) {
    const struct ctl_column columns[] = {{ctl_words(ctl, PAGE_HEAD_MODEL), false, CTL_KEEP_WORDS},
                                         {ctl_words(ctl, PAGE_HEAD_RUNNING), true, CTL_KEEP_WORDS},
                                         {ctl_words(ctl, PAGE_HEAD_YEARS), true, CTL_KEEP_WORDS},
                                         {ctl_words(ctl, PAGE_HEAD_FAILED), true, CTL_KEEP_WORDS},
                                         {ctl_words(ctl, PAGE_HEAD_ONE_YEAR), true, CTL_KEEP_WORDS},
                                         {"3", true, CTL_KEEP_WORDS},
                                         {"5", true, CTL_KEEP_WORDS},
                                         {"10", true, CTL_KEEP_WORDS}};
    struct ctl_table *table = ctl_table_create(columns, sizeof columns / sizeof columns[0]);
    const json_t *model, *share;
    char text[CTL_VALUE_SIZE];
    size_t i, age;
    json_array_foreach((json_t *)list, i, model) {
        add_model(table, ctl, model);
        ctl_table_add_number(table, ctl_whole_of(model, "count"));
        snprintf(text, sizeof text, "%.0f", ctl_number_of(model, "years_in_service"));
        ctl_table_add(table, text);
        ctl_table_add_number(table, ctl_whole_of(model, "failures"));
        json_array_foreach(json_object_get(model, "survival"), age, share)
            ctl_table_add(table, share_text(text, sizeof text, share));
    }
    ctl_table_print(table, stdout);
    ctl_table_destroy(table);
}

/* 0 of some is no chance of 0. */
static void add_chance(struct ctl_table *table, const struct ctl *ctl, const json_t *fan) {
    char chance[CTL_VALUE_SIZE], lower[CTL_VALUE_SIZE], upper[CTL_VALUE_SIZE];
    double share = ctl_number_of(fan, "chance_next_year");
    ctl_percent(chance, share);
    ctl_percent(lower, ctl_number_of(fan, "chance_lower"));
    ctl_percent(upper, ctl_number_of(fan, "chance_upper"));
    char *text = share > 0.0 ? ctl_filled(ctl, PAGE_CHANCE_IS, chance, lower, upper, NULL)
                             : ctl_filled(ctl, PAGE_CHANCE_NONE_FAILED,
                                          CTL_COUNT(ctl_whole_of(fan, "at_risk")), upper, NULL);
    ctl_table_add(table, isfinite(share) && text ? text : "–");
    free(text);
}

static void add_next(struct ctl_table *table, const struct ctl *ctl, const json_t *model,
                     const json_t *fan) {
    char text[CTL_VALUE_SIZE], place[300];
    double years = ctl_number_of(fan, "years");
    const char *condition = ctl_text_of(fan, "condition"), *branch = ctl_text_of(fan, "branch");
    snprintf(place, sizeof place, "%s %s", ctl_text_of(fan, "system"), branch);
    ctl_table_add(table, place);
    add_model(table, ctl, model);
    snprintf(text, sizeof text, "%.1f", years);
    ctl_table_add(table, isfinite(years) ? text : "–");
    add_chance(table, ctl, fan);
    const char *warranty = ctl_text_of(fan, "warranty_until");
    ctl_table_add(table, *warranty ? warranty : "–");
    ctl_table_add(table, ctl_condition(ctl, condition));
}

static void print_next(const struct ctl *ctl, const json_t *list) {
    const struct ctl_column columns[] = {
        {ctl_words(ctl, PAGE_HEAD_NEXT), false, CTL_KEEP_WORDS},
        {ctl_words(ctl, PAGE_HEAD_MODEL), false, CTL_KEEP_WORDS},
        {ctl_words(ctl, PAGE_HEAD_YEARS), true, CTL_KEEP_WORDS},
        {ctl_words(ctl, PAGE_HEAD_WITHIN_YEAR), true, CTL_KEEP_WORDS},
        {ctl_words(ctl, PAGE_HEAD_WARRANTY), true, CTL_KEEP_WORDS},
        {ctl_words(ctl, PAGE_HEAD_BECAUSE), false, CTL_KEEP_WORDS}};
    struct ctl_table *table = ctl_table_create(columns, sizeof columns / sizeof columns[0]);
    const json_t *model, *fan;
    size_t i, n;
    json_array_foreach((json_t *)list, i, model) {
        json_array_foreach(json_object_get(model, "next"), n, fan) add_next(table, ctl, model, fan);
    }
    printf("\n");
    ctl_table_print(table, stdout);
    ctl_table_destroy(table);
}

static void print_fans(const struct ctl *ctl, const json_t *list) {
    double undated = 0.0, unsaid = 0.0;
    const json_t *model;
    size_t i;
    if (json_array_size(list) == 0) {
        ctl_tell_all(ctl, "", PAGE_TOOL_NO_FAN, NULL);
        return;
    }
    print_models(ctl, list);
    print_next(ctl, list);
    json_array_foreach((json_t *)list, i, model) {
        undated += ctl_number_of(model, "undated");
        unsaid += ctl_number_of(model, "failures_without_reason");
    }
    printf("\n");
    ctl_tell_all(ctl, "", PAGE_TOOL_FANS_WORTH, NULL);
    if (undated > 0.0)
        ctl_tell_all(ctl, "", PAGE_TOOL_FANS_UNDATED, CTL_COUNT(undated), NULL);
    if (unsaid > 0.0)
        ctl_tell_all(ctl, "", PAGE_TOOL_FANS_UNSAID, CTL_COUNT(unsaid), NULL);
}

static enum ctl_status fans(struct ctl *ctl, const struct ctl_arguments *given) {
    json_t *list = NULL;
    (void)given;
    enum ctl_status status = ctl_get_json(ctl, "/api/fans", &list);
    if (list)
        print_fans(ctl, list);
    json_decref(list);
    return status;
}

const struct ctl_command ctl_fan_commands[] = {
    {"fans", "[--json]", "fan models: years, failures, share still running",
     "Fans are those of the system files, records and visits (`fan`, `equipment`). One that "
     "another took the place of has failed, unless the record says `why: other`.",
     fans},
    {0},
};
