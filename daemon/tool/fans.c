/*
 * fans: the models of the fleet, how long they last, and which are next.
 */
#include "tool/ctl_client.h"
#include "tool/table.h"
#include "tool/text.h"
#include "tool/values.h"

#include <math.h>
#include <stdio.h>

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

static const char *model_name(const json_t *model) {
    const char *name = ctl_text_of(model, "model");
    return *name ? name : "(not named)";
}

static void print_models(const json_t *list) {
    static const struct ctl_column columns[] = {
        {"MODEL", false, CTL_KEEP_WORDS}, {"RUN", true, CTL_KEEP_WORDS},
        {"YEARS", true, CTL_KEEP_WORDS},  {"FAILED", true, CTL_KEEP_WORDS},
        {"1 YEAR", true, CTL_KEEP_WORDS}, {"3", true, CTL_KEEP_WORDS},
        {"5", true, CTL_KEEP_WORDS},      {"10", true, CTL_KEEP_WORDS}};
    struct ctl_table *table = ctl_table_create(columns, sizeof columns / sizeof columns[0]);
    const json_t *model, *share;
    char text[CTL_VALUE_SIZE];
    size_t i, age;
    json_array_foreach((json_t *)list, i, model) {
        ctl_table_add(table, model_name(model));
        snprintf(text, sizeof text, "%lld", ctl_whole_of(model, "count"));
        ctl_table_add(table, text);
        snprintf(text, sizeof text, "%.0f", ctl_number_of(model, "years_in_service"));
        ctl_table_add(table, text);
        snprintf(text, sizeof text, "%lld", ctl_whole_of(model, "failures"));
        ctl_table_add(table, text);
        json_array_foreach(json_object_get(model, "survival"), age, share)
            ctl_table_add(table, share_text(text, sizeof text, share));
    }
    ctl_table_print(table, stdout);
    ctl_table_destroy(table);
}

static void add_next(struct ctl_table *table, const json_t *model, const json_t *fan) {
    char text[CTL_VALUE_SIZE], place[300];
    double chance = ctl_number_of(fan, "chance_next_year"), years = ctl_number_of(fan, "years");
    const char *condition = ctl_text_of(fan, "condition"), *branch = ctl_text_of(fan, "branch");
    snprintf(place, sizeof place, "%s %s", ctl_text_of(fan, "system"), branch);
    ctl_table_add(table, place);
    ctl_table_add(table, model_name(model));
    snprintf(text, sizeof text, "%.1f", years);
    ctl_table_add(table, isfinite(years) ? text : "–");
    ctl_table_add(table, isfinite(chance) ? ctl_percent(text, chance) : "–");
    const char *warranty = ctl_text_of(fan, "warranty_until");
    ctl_table_add(table, *warranty ? warranty : "–");
    ctl_table_add(table, condition);
}

static void print_next(const json_t *list) {
    static const struct ctl_column columns[] = {
        {"NEXT", false, CTL_KEEP_WORDS},          {"MODEL", false, CTL_KEEP_WORDS},
        {"YEARS", true, CTL_KEEP_WORDS},          {"WITHIN A YEAR", true, CTL_KEEP_WORDS},
        {"WARRANTY UNTIL", true, CTL_KEEP_WORDS}, {"BECAUSE", false, CTL_KEEP_WORDS}};
    struct ctl_table *table = ctl_table_create(columns, sizeof columns / sizeof columns[0]);
    const json_t *model, *fan;
    size_t i, n;
    json_array_foreach((json_t *)list, i, model) {
        json_array_foreach(json_object_get(model, "next"), n, fan) add_next(table, model, fan);
    }
    printf("\n");
    ctl_table_print(table, stdout);
    ctl_table_destroy(table);
}

static void print_fans(const json_t *list) {
    double undated = 0.0, unsaid = 0.0;
    const json_t *model;
    size_t i;
    if (json_array_size(list) == 0) {
        ctl_text_print(stdout, "",
                       "no fan is named: name `fan` in the system files, and `equipment` in "
                       "records and visits");
        return;
    }
    print_models(list);
    print_next(list);
    json_array_foreach((json_t *)list, i, model) {
        undated += ctl_number_of(model, "undated");
        unsaid += ctl_number_of(model, "failures_without_reason");
    }
    printf("\n");
    ctl_text_print(stdout, "",
                   "Share still running at an age, with its interval of 95 % (Kaplan-Meier). A fan "
                   "counts from the age at which its house came under watch; – is where none was "
                   "watched.");
    if (undated > 0.0)
        printf("%.0f fans without a date of installation are only counted.\n", undated);
    if (unsaid > 0.0)
        printf("%.0f replacements without a reason (`why`) count as failures.\n", unsaid);
}

static enum ctl_status fans(struct ctl *ctl, int argc, char **argv) {
    struct ctl_arguments arguments = {.options = NULL};
    json_t *list = NULL;
    if (!ctl_arguments(ctl, argc, argv, &arguments))
        return arguments.status;
    enum ctl_status status = ctl_get_json(ctl, "/api/fans", &list);
    if (list)
        print_fans(list);
    json_decref(list);
    return status;
}

const struct ctl_command ctl_fan_commands[] = {
    {"fans", "[--json]", "fan models: years, failures, share still running",
     "Fans are those of the system files, records and visits (`fan`, `equipment`). One that "
     "another "
     "took the place of has failed, unless the record says `why: other`.",
     fans},
    {0},
};
