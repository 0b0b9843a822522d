/*
 * Visits: who needs somebody, in what order, and what was found there.
 */
#include "tool/pages.h"
#include "tool/shards.h"
#include "tool/show.h"
#include "tool/text.h"
#include "tool/values.h"
#include "tool/words.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* A calendar is in another language only when that is asked for: jobs of the night write it, too.
 */
static enum ctl_status save_calendar(struct ctl *ctl, const char *file) {
    struct ctl_path path = ctl_path("/visits.ics");
    struct ctl_answer answer;
    if (ctl->language_asked)
        ctl_path_language(&path, ctl);
    if (!ctl_request(ctl, path.text, NULL, &answer))
        return CTL_FAILED;
    FILE *to = strcmp(file, "-") == 0 ? stdout : fopen(file, "wb");
    bool good = to && fwrite(answer.body, 1, answer.length, to) == answer.length;
    if (to && to != stdout)
        good = fclose(to) == 0 && good;
    free(answer.body);
    return good ? CTL_DONE : ctl_error(ctl, CTL_FAILED, "%s: %s", file, strerror(errno));
}

/* What all visits that are shown need, as one list. */
struct needed_parts {
    json_t *visits_of; /* a part to the ids of the systems whose visits need it, in order */
    size_t visits;
};

static void take_parts(struct needed_parts *parts, const json_t *visit) {
    const json_t *part;
    size_t i;
    parts->visits++;
    json_array_foreach(json_object_get(visit, "bring"), i, part) {
        const char *text = json_string_value(part);
        json_t *ids = json_object_get(parts->visits_of, text);
        if (!ids) {
            json_object_set_new(parts->visits_of, text, json_array());
            ids = json_object_get(parts->visits_of, text);
        }
        json_array_append(ids, json_object_get(visit, "system"));
    }
}

static void print_parts(const struct ctl *ctl, const struct needed_parts *parts) {
    const char *text;
    json_t *ids;
    if (json_object_size(parts->visits_of) == 0)
        return;
    ctl_tell(ctl, PAGE_TOOL_BRING_ALL, NULL);
    json_object_foreach(parts->visits_of, text, ids) {
        char first[200], indent[40];
        char *count = ctl_filled(ctl, PAGE_TOOL_OF_VISITS, CTL_COUNT(json_array_size(ids)),
                                 CTL_COUNT(parts->visits), NULL);
        int length = (int)strlen("  ") + (int)ctl_text_width(count ? count : "") + 2;
        snprintf(first, sizeof first, "  %.190s  ", count ? count : "");
        snprintf(indent, sizeof indent, "%*s", length < 30 ? length : 30, "");
        ctl_text_print_item(stdout, first, indent, text);
        free(count);
    }
}

static void print_parts_json(const struct needed_parts *parts) {
    json_t *list = json_array(), *ids;
    const char *text;
    json_object_foreach(parts->visits_of, text, ids)
        json_array_append_new(list, json_pack("{s:s, s:I, s:O}", "text", text, "visits",
                                              (json_int_t)json_array_size(ids), "systems", ids));
    ctl_print_json(list);
}

struct shown {
    struct ctl *ctl;
    struct needed_parts parts;
    bool parts_alone;
};

static void show_one(struct shown *shown, const json_t *visit) {
    bool first = shown->parts.visits == 0;
    take_parts(&shown->parts, visit);
    if (shown->parts_alone)
        return;
    char shard[CTL_VALUE_SIZE];
    printf("%s", first ? "" : "\n");
    if (ctl_shards_many(shown->ctl))
        printf("%s: ", ctl_shards_name(visit, shard, sizeof shard));
    ctl_use_zone(shown->ctl, ctl_text_of(visit, "time_zone"));
    ctl_show_visit(stdout, shown->ctl, visit, true);
}

static void show_rows(void *context, const json_t *rows) {
    const json_t *visit;
    size_t i;
    json_array_foreach(rows, i, visit) show_one(context, visit);
}

static int sooner(const json_t *a, const json_t *b) {
    return ctl_shards_earlier(a, b, "due");
}

static enum ctl_status each_visit(struct shown *shown, const struct ctl_path *path,
                                  const struct ctl_pages *pages) {
    json_t *list = NULL;
    if (!ctl_shards_many(shown->ctl))
        return ctl_pages_each(shown->ctl, path, pages, show_rows, shown);
    enum ctl_status status = ctl_shards_get(shown->ctl, path->text, pages->limit, sooner, &list);
    show_rows(shown, list);
    json_decref(list);
    return status;
}

static enum ctl_status show_visits(struct ctl *ctl, const struct ctl_path *path,
                                   const struct ctl_pages *pages, bool parts_alone) {
    struct shown shown = {.ctl = ctl, .parts.visits_of = json_object(), .parts_alone = parts_alone};
    bool json = ctl->json;
    ctl->json = false; /* the list is asked for, also where --json prints what it comes to */
    enum ctl_status status = each_visit(&shown, path, pages);
    ctl->json = json;
    if (status == CTL_DONE && json) {
        print_parts_json(&shown.parts);
    } else if (status == CTL_DONE && shown.parts.visits == 0) {
        ctl_tell(ctl, PAGE_TOOL_NO_VISIT, NULL);
    } else if (parts_alone || shown.parts.visits > 1) {
        printf("%s", parts_alone ? "" : "\n");
        print_parts(ctl, &shown.parts);
    }
    json_decref(shown.parts.visits_of);
    return status;
}

static enum ctl_status print_visits(struct ctl *ctl, const struct ctl_path *path,
                                    const struct ctl_pages *pages) {
    json_t *none = NULL;
    if (!ctl_shards_many(ctl))
        return ctl_pages_print(ctl, path, pages);
    enum ctl_status status = ctl_shards_get(ctl, path->text, pages->limit, sooner, &none);
    json_decref(none);
    return status;
}

static enum ctl_status visits(struct ctl *ctl, const struct ctl_arguments *given) {
    const char *ics = ctl_option(given, "--ics");
    bool parts = ctl_flag(given, "--parts");
    const struct ctl_pages pages = ctl_pages_of(given);
    if (ctl_pages_check(ctl, &pages) != CTL_DONE)
        return CTL_WRONG_USE;
    if (ctl_shards_many(ctl) && (ics || pages.before))
        return ctl_error(ctl, CTL_WRONG_USE, "%s is of one daemon: give one --settings",
                         ics ? "--ics FILE" : "--before VISIT");
    if (ics)
        return save_calendar(ctl, ics);
    struct ctl_path list = ctl_path("/api/visits");
    ctl_path_language(&list, ctl);
    if (ctl->json && !parts)
        return print_visits(ctl, &list, &pages);
    return show_visits(ctl, &list, &pages, parts);
}

/* ---- asking a person at a terminal ---- */

/* One line without its end; false at the end of the input. */
static bool ask(const char *question, char *line, size_t size) {
    printf("%s ", question);
    fflush(stdout);
    if (!fgets(line, (int)size, stdin))
        return false;
    line[strcspn(line, "\r\n")] = '\0';
    return true;
}

/* What was measured, for each point that commissioning knows; an empty line: not measured. */
static void ask_values(const struct ctl *ctl, const json_t *points, json_t *values) {
    const json_t *point;
    size_t i;
    ctl_tell(ctl, PAGE_TOOL_ASK_VALUES, NULL);
    json_array_foreach((json_t *)points, i, point) {
        const struct ctl shown = ctl_for_quantity(ctl, point);
        const json_t *before = json_object_get(json_object_get(point, "baseline"), "value");
        char value[CTL_VALUE_SIZE], line[160];
        if (!json_is_number(before))
            continue;
        char *question =
            ctl_filled(ctl, PAGE_TOOL_ASK_VALUE, ctl_text_of(point, "id"),
                       ctl_value(value, &shown, before, ctl_text_of(point, "unit")), NULL);
        printf("  ");
        bool answered = ask(question ? question : "", line, sizeof line);
        free(question);
        if (!answered)
            return;
        if (*line)
            ctl_set(values, ctl_text_of(point, "id"), line);
    }
}

static enum ctl_status ask_visit(struct ctl *ctl, const char *system, json_t *body) {
    struct ctl_path path = ctl_path_of("/api/systems/", system, "");
    json_t *show = NULL, *values = json_object();
    char line[16];
    enum ctl_status status = ctl_get_json(ctl, path.text, &show);
    if (status == CTL_DONE)
        ask_values(ctl, json_object_get(show, "points"), values);
    if (json_object_size(values)) {
        json_object_set(body, "values", values);
        if (!json_object_get(body, "new_baseline") &&
            ask(ctl_words(ctl, PAGE_TOOL_ASK_NORMAL), line, sizeof line) && ctl_is_yes(ctl, line))
            json_object_set_new(body, "new_baseline", json_true());
    }
    json_decref(values);
    json_decref(show);
    return status;
}

/* ---- what a visit leaves open ---- */

static void print_visit(const struct ctl *ctl, const char *system, const json_t *answer) {
    const json_t *list = json_object_get(answer, "unmeasured"), *id;
    bool renewed = json_is_true(json_object_get(answer, "new_baseline"));
    char names[400] = "";
    size_t i, used = 0;
    ctl_tell(ctl, renewed ? PAGE_TOOL_VISIT_KEPT_NORMAL : PAGE_TOOL_VISIT_KEPT, system, NULL);
    json_array_foreach((json_t *)list, i, id) {
        int length = snprintf(names + used, sizeof names - used, "%s%s", i ? ", " : "",
                              json_string_value(id));
        if (length < 0 || used + (size_t)length >= sizeof names)
            break;
        used += (size_t)length;
    }
    if (*names)
        ctl_tell_all(ctl, "  ", PAGE_TOOL_UNMEASURED, names, NULL);
    if (!renewed)
        ctl_tell_all(ctl, "  ", PAGE_TOOL_MEASURE_AGAIN, NULL);
}

/* "suction=0.62 inH2O" behind the system: values measured on the visit. False after an error. */
static bool read_values(struct ctl *ctl, const struct ctl_arguments *given, json_t *body) {
    json_t *values = json_object();
    for (int i = 1; i < given->count; i++) {
        char *equals = strchr(given->operands[i], '=');
        if (!equals) {
            json_decref(values);
            ctl_error(ctl, CTL_WRONG_USE,
                      "%s is no measured value; write it as POINT=VALUE, such as "
                      "\"suction=0.62 inH2O\"",
                      given->operands[i]);
            return false;
        }
        *equals = '\0';
        ctl_set(values, given->operands[i], equals + 1);
    }
    if (json_object_size(values))
        json_object_set(body, "values", values);
    json_decref(values);
    return true;
}

/* "fan, ground" as a list of words. */
static json_t *words_of(const char *text) {
    json_t *list = json_array();
    while (*text) {
        size_t length = strcspn(text, ", ");
        if (length)
            json_array_append_new(list, json_stringn(text, length));
        text += length + strspn(text + length, ", ");
    }
    return list;
}

static json_t *visit_body(const struct ctl_arguments *given) {
    const char *changed = ctl_option(given, "--changed");
    json_t *body = ctl_body(given, "--on", "--by", "--found", "--did", "--next-calibration",
                            "--equipment", NULL);
    if (ctl_flag(given, "--new-baseline"))
        json_object_set_new(body, "new_baseline", json_true());
    if (changed)
        json_object_set_new(body, "changed", words_of(changed));
    return body;
}

static enum ctl_status visit_done(struct ctl *ctl, const struct ctl_arguments *given) {
    const char *system = given->operands[0];
    struct ctl_path path = ctl_path_of("/api/systems/", system, "/visit-done");
    json_t *body = visit_body(given), *answer = NULL;
    enum ctl_status status = read_values(ctl, given, body) ? CTL_DONE : CTL_WRONG_USE;
    bool person = isatty(STDIN_FILENO) && isatty(STDOUT_FILENO) && !ctl->json;
    if (status == CTL_DONE && person && given->count == 1)
        status = ask_visit(ctl, system, body);
    if (status != CTL_DONE) {
        json_decref(body);
        return status;
    }
    status = ctl_post_json(ctl, path.text, body, &answer);
    if (answer)
        print_visit(ctl, system, answer);
    json_decref(answer);
    return status;
}

const struct ctl_command ctl_visit_commands[] = {
    {"visits", "[--limit N] [--before VISIT] [--parts] [--json] | --ics FILE",
     "who needs a visit, most urgent first",
     "With reasons, what to check first and what to bring. \"due\" is the best day, in "
     "brackets the first and the last that make sense. N shows so many, VISIT (an id of --json) "
     "those behind it. --parts shows only what they need, as one list. --ics writes a calendar of "
     "all instead (\"-\": standard output). Several "
     "--settings give one list of several daemons.",
     visits},
    {"visit-done",
     "SYSTEM [POINT=VALUE …] --on DATE --by NAME --found TEXT --did TEXT [--changed WORDS] "
     "[--new-baseline] [--next-calibration DATE] [--equipment FAN]",
     "puts a visit on record",
     "POINT=VALUE are values measured there, such as \"suction=0.62 inH2O\"; at a terminal they "
     "are "
     "asked for. --new-baseline makes them the commissioning values from that day on, for work "
     "that "
     "changed fan, pipe or openings. --changed says what the work changed, so that it is judged "
     "anew "
     "from that day on: fan, ground, piping, gauge, monitor, or nothing. A radon test has a "
     "command of its own: radon-test. After any "
     "change to fan or openings a back-draft test "
     "of the combustion appliances belongs to the visit. FAN is a fan that was put in, as in a "
     "record: \"{branch: east, model: ID, serial: …, installed: DATE, warranty_until: DATE}\".",
     visit_done},
    {0},
};
