/*
 * One system on one screen of CTL_SHOW_LINES lines. The parts are written to memory first. What is
 * wrong gets all the lines that the others leave over; a part that needs more than it gets ends
 * with how many lines it lacks.
 */
#include "tool/show.h"
#include "tool/table.h"
#include "tool/text.h"
#include "tool/values.h"
#include "tool/words.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { LIST_MOST = 6, NUMBERS_LEAST = 14, END_LINES = 2 };

struct brief_part {
    char *text;
    size_t size;
    size_t lines;
};

static size_t count_lines(const char *text) {
    size_t lines = 0;
    for (const char *at = text; (at = strchr(at, '\n')); at++)
        lines++;
    return lines;
}

static struct brief_part write_part(void (*write)(FILE *to, const struct ctl *ctl,
                                                  const json_t *system),
                                    const struct ctl *ctl, const json_t *system) {
    struct brief_part part = {0};
    FILE *to = open_memstream(&part.text, &part.size);
    if (!to)
        return part;
    write(to, ctl, system);
    if (fclose(to) == 0)
        part.lines = count_lines(part.text);
    return part;
}

/* At most so many lines; returns how many were printed. */
static size_t print_part(const struct ctl *ctl, struct brief_part *part, size_t most) {
    const char *at = part->text;
    size_t lines = part->lines > most ? most - 1 : part->lines;
    if (!at || most == 0)
        lines = 0;
    for (size_t i = 0; i < lines; i++)
        at = strchr(at, '\n') + 1;
    if (lines)
        fwrite(part->text, 1, (size_t)(at - part->text), stdout);
    if (lines < part->lines && most > 0) {
        char *text = ctl_filled(ctl, PAGE_SHOW_FURTHER_LINES, CTL_COUNT(part->lines - lines), NULL);
        printf("  %s\n", text ? text : "");
        free(text);
    }
    size_t printed = lines + (lines < part->lines && most > 0);
    free(part->text);
    return printed;
}

/* ---- the parts ---- */

static void write_wrong(FILE *to, const struct ctl *ctl, const json_t *system) {
    const json_t *visits = json_object_get(system, "visits");
    ctl_show_head(to, ctl, system);
    ctl_show_wrong(to, ctl, system, LIST_MOST);
    fprintf(to, "\n%s\n",
            ctl_words(ctl, json_array_size(visits) ? PAGE_SHOW_VISIT : PAGE_SHOW_NO_VISIT));
    /* Where alarms call for it, they have said above what to check and to bring. */
    if (json_array_size(visits))
        ctl_show_visit(to, ctl, json_array_get(visits, 0),
                       json_array_size(json_object_get(system, "alarms")) == 0);
}

static const json_t *average_of(const json_t *point, const char *window) {
    const json_t *averages = json_object_get(point, "averages"), *average;
    size_t i;
    json_array_foreach(averages, i, average) {
        if (strcmp(ctl_text_of(average, "window"), window) == 0)
            return average;
    }
    return NULL;
}

static void add_point(struct ctl_table *table, const struct ctl *asked, const json_t *point) {
    char text[CTL_VALUE_SIZE];
    const struct ctl ctl = ctl_for_quantity(asked, point);
    const char *unit = ctl_text_of(point, "unit");
    const json_t *last = json_object_get(point, "last"), *week = average_of(point, "7 d");
    double now = ctl_number_of(last, "value");
    double before = ctl_number_of(json_object_get(point, "baseline"), "value");
    ctl_table_add(table, ctl_text_of(point, "id"));
    ctl_table_add(table, ctl_value_of(text, &ctl, now, unit));
    ctl_table_add(table, ctl_value_of(text, &ctl, ctl_number_of(week, "mean"), unit));
    ctl_table_add(table, ctl_value_of(text, &ctl, before, unit));
    ctl_table_add(
        table, ctl_percent(text, before > 0.0 && strcmp(unit, "degC") != 0 ? now / before : NAN));
    ctl_table_add(table, ctl_words_of(&ctl, ctl_age(text, json_object_get(last, "time"))));
}

static void write_points(FILE *to, const struct ctl *ctl, const json_t *points) {
    const struct ctl_column columns[] = {
        {ctl_words(ctl, PAGE_SHOW_POINT), false, CTL_KEEP_WHOLE},
        {ctl_words(ctl, PAGE_SHOW_COLUMN_NOW), true, CTL_KEEP_WORDS},
        {ctl_words(ctl, PAGE_SHOW_COLUMN_WEEK), true, CTL_KEEP_WORDS},
        {ctl_words(ctl, PAGE_SHOW_COLUMN_THEN), true, CTL_KEEP_WORDS},
        {ctl_words(ctl, PAGE_SHOW_COLUMN_SHARE), true, CTL_KEEP_WHOLE},
        {ctl_words(ctl, PAGE_SHOW_COLUMN_AGE), true, CTL_KEEP_WHOLE}};
    struct ctl_table *table = ctl_table_create(columns, 6);
    const json_t *point;
    size_t i;
    fprintf(to, "\n%s\n", ctl_words(ctl, PAGE_SHOW_COLUMNS));
    json_array_foreach((json_t *)points, i, point) add_point(table, ctl, point);
    ctl_table_print(table, to);
    ctl_table_destroy(table);
    json_array_foreach((json_t *)points, i, point) ctl_show_busy(to, ctl, point, "");
}

static void write_branch(FILE *to, const struct ctl *ctl, const json_t *branch, bool named) {
    if (named)
        ctl_text_say(to, "", "  ", "%s", ctl_text_of(branch, "id"));
    ctl_show_ratio(to, ctl, json_object_get(branch, "fan"), "speed_ratio", PAGE_SHOW_FAN,
                   PAGE_SHOW_SPEED_WEEK);
    ctl_show_ratio(to, ctl, json_object_get(branch, "ground"), "resistance_ratio", PAGE_SHOW_GROUND,
                   PAGE_SHOW_RESISTANCE_WEEK);
}

static void write_numbers(FILE *to, const struct ctl *ctl, const json_t *system) {
    json_t *points = json_object_get(system, "points"), *item;
    json_t *branches = json_object_get(system, "branches");
    size_t i;
    write_points(to, ctl, points);
    fprintf(to, "\n");
    json_array_foreach(branches, i, item)
        write_branch(to, ctl, item, json_array_size(branches) > 1);
    if (json_array_size(branches) == 0)
        write_branch(to, ctl, system, false);
    json_array_foreach(points, i, item) ctl_show_year(to, ctl, item);
    ctl_show_past(to, ctl, system);
}

void ctl_show_brief(const struct ctl *ctl, const json_t *system) {
    struct brief_part wrong = write_part(write_wrong, ctl, system);
    struct brief_part numbers = write_part(write_numbers, ctl, system);
    size_t most = CTL_SHOW_LINES - END_LINES;
    size_t left = numbers.lines < NUMBERS_LEAST ? numbers.lines : NUMBERS_LEAST;
    size_t used = print_part(ctl, &wrong, most - left);
    print_part(ctl, &numbers, most - used);
    char *rest = ctl_filled(ctl, PAGE_SHOW_REST, ctl_text_of(system, "id"), NULL);
    printf("\n%s\n", rest ? rest : "");
    free(rest);
}
