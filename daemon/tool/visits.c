/*
 * Visits: who needs somebody, in what order, and what was found there.
 */
#include "tool/pages.h"
#include "tool/show.h"
#include "tool/text.h"
#include "tool/values.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static enum ctl_status save_calendar(struct ctl *ctl, const char *file) {
    struct ctl_answer answer;
    if (!ctl_request(ctl, "/visits.ics", NULL, &answer))
        return CTL_FAILED;
    FILE *to = strcmp(file, "-") == 0 ? stdout : fopen(file, "wb");
    bool good = to && fwrite(answer.body, 1, answer.length, to) == answer.length;
    if (to && to != stdout)
        good = fclose(to) == 0 && good;
    free(answer.body);
    return good ? CTL_DONE : ctl_error(ctl, CTL_FAILED, "%s: %s", file, strerror(errno));
}

struct shown {
    struct ctl *ctl;
    bool any;
};

static void show_rows(void *context, const json_t *rows) {
    struct shown *shown = context;
    const json_t *visit;
    size_t i;
    json_array_foreach(rows, i, visit) {
        printf("%s", shown->any ? "\n" : "");
        ctl_show_visit(shown->ctl, visit);
        shown->any = true;
    }
}

static enum ctl_status show_visits(struct ctl *ctl, const struct ctl_path *list,
                                   const struct ctl_pages *pages) {
    struct shown shown = {.ctl = ctl};
    enum ctl_status status = ctl_pages_each(ctl, list, pages, show_rows, &shown);
    if (status == CTL_DONE && !shown.any)
        printf("no visit is due\n");
    return status;
}

static enum ctl_status visits(struct ctl *ctl, int argc, char **argv) {
    const char *ics = NULL;
    struct ctl_pages pages = {0};
    const struct ctl_option options[] = {{"--limit", "N", &pages.limit, NULL, false},
                                         {"--before", "VISIT", &pages.before, NULL, false},
                                         {"--ics", "FILE", &ics, NULL, false}};
    struct ctl_arguments arguments = {.options = options, .option_count = 3};
    if (!ctl_arguments(ctl, argc, argv, &arguments))
        return arguments.status;
    if (ctl_pages_check(ctl, &pages) != CTL_DONE)
        return CTL_WRONG_USE;
    if (ics)
        return save_calendar(ctl, ics);
    const struct ctl_path list = ctl_path("/api/visits");
    return ctl->json ? ctl_pages_print(ctl, &list, &pages) : show_visits(ctl, &list, &pages);
}

struct visit_texts {
    const char *on, *by, *found, *did, *next_calibration;
    bool new_baseline;
};

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
    printf("Measured on the visit, with unit; an empty line where nothing was measured.\n");
    json_array_foreach((json_t *)points, i, point) {
        const struct ctl shown = ctl_for_quantity(ctl, point);
        const json_t *before = json_object_get(json_object_get(point, "baseline"), "value");
        char question[CTL_VALUE_SIZE + 160], value[CTL_VALUE_SIZE], line[160];
        if (!json_is_number(before))
            continue;
        snprintf(question, sizeof question,
                 "  %.100s (%s at commissioning):", ctl_text_of(point, "id"),
                 ctl_value(value, &shown, before, ctl_text_of(point, "unit")));
        if (!ask(question, line, sizeof line))
            return;
        if (*line)
            ctl_set(values, ctl_text_of(point, "id"), line);
    }
}

static enum ctl_status ask_visit(struct ctl *ctl, const char *system, json_t *body) {
    struct ctl_path path = ctl_path("/api/systems/");
    json_t *show = NULL, *values = json_object();
    char line[16];
    ctl_path_encode(&path, system);
    enum ctl_status status = ctl_get_json(ctl, path.text, &show);
    if (status == CTL_DONE)
        ask_values(ctl, json_object_get(show, "points"), values);
    if (json_object_size(values)) {
        json_object_set(body, "values", values);
        if (!json_object_get(body, "new_baseline") &&
            ask("Did the work change fan, pipe or openings, so that this is the new normal? [y/N]",
                line, sizeof line) &&
            (*line == 'y' || *line == 'Y'))
            json_object_set_new(body, "new_baseline", json_true());
    }
    json_decref(values);
    json_decref(show);
    return status;
}

/* ---- what a visit leaves open ---- */

static void print_visit(const char *system, const json_t *answer) {
    const json_t *list = json_object_get(answer, "unmeasured"), *id;
    bool renewed = json_is_true(json_object_get(answer, "new_baseline"));
    char names[400] = "";
    size_t i, used = 0;
    printf("%s: the visit is on record%s\n", system,
           renewed ? "; its values are the baseline from that day on" : "");
    json_array_foreach((json_t *)list, i, id) {
        int length = snprintf(names + used, sizeof names - used, "%s%s", i ? ", " : "",
                              json_string_value(id));
        if (length < 0 || used + (size_t)length >= sizeof names)
            break;
        used += (size_t)length;
    }
    if (*names)
        ctl_text_print_item(stdout, "not measured: ", "  ", names);
    if (!renewed)
        ctl_text_print_item(stdout, "", "  ",
                            "If the work changed fan, pipe or openings, measure again and put the "
                            "new normal on record: --new-baseline with the values, or a "
                            "commissioning record (subslabctl commission).");
}

/* "suction=0.62 inH2O" behind the system: values measured on the visit. False after an error. */
static bool read_values(struct ctl *ctl, const struct ctl_arguments *arguments, json_t *body) {
    json_t *values = json_object();
    for (int i = 1; i < arguments->count; i++) {
        char *equals = strchr(arguments->operands[i], '=');
        if (!equals) {
            json_decref(values);
            ctl_error(ctl, CTL_WRONG_USE,
                      "%s is no measured value; write it as POINT=VALUE, such as "
                      "\"suction=0.62 inH2O\"",
                      arguments->operands[i]);
            return false;
        }
        *equals = '\0';
        ctl_set(values, arguments->operands[i], equals + 1);
    }
    if (json_object_size(values))
        json_object_set(body, "values", values);
    json_decref(values);
    return true;
}

static enum ctl_status send_visit(struct ctl *ctl, const struct ctl_arguments *arguments,
                                  const struct visit_texts *texts) {
    struct ctl_path path = ctl_path("/api/systems/");
    json_t *body = json_object(), *answer = NULL;
    ctl_path_encode(&path, arguments->operands[0]);
    ctl_path_add(&path, "/visit-done");
    ctl_set(body, "on", texts->on);
    ctl_set(body, "by", texts->by);
    ctl_set(body, "found", texts->found);
    ctl_set(body, "did", texts->did);
    ctl_set(body, "next_calibration", texts->next_calibration);
    if (texts->new_baseline)
        json_object_set_new(body, "new_baseline", json_true());
    enum ctl_status status = read_values(ctl, arguments, body) ? CTL_DONE : CTL_WRONG_USE;
    bool person = isatty(STDIN_FILENO) && isatty(STDOUT_FILENO) && !ctl->json;
    if (status == CTL_DONE && person && arguments->count == 1)
        status = ask_visit(ctl, arguments->operands[0], body);
    if (status != CTL_DONE) {
        json_decref(body);
        return status;
    }
    status = ctl_post_json(ctl, path.text, body, &answer);
    if (answer)
        print_visit(arguments->operands[0], answer);
    json_decref(answer);
    return status;
}

static enum ctl_status visit_done(struct ctl *ctl, int argc, char **argv) {
    struct visit_texts texts = {0};
    const struct ctl_option options[] = {
        {"--on", "DATE", &texts.on, NULL, true},
        {"--by", "NAME", &texts.by, NULL, true},
        {"--found", "TEXT", &texts.found, NULL, true},
        {"--did", "TEXT", &texts.did, NULL, true},
        {"--new-baseline", NULL, NULL, &texts.new_baseline, false},
        {"--next-calibration", "DATE", &texts.next_calibration, NULL, false}};
    struct ctl_arguments arguments = {
        .options = options, .option_count = 6, .least = 1, .most = 64};
    if (!ctl_arguments(ctl, argc, argv, &arguments))
        return arguments.status;
    return send_visit(ctl, &arguments, &texts);
}

const struct ctl_command ctl_visit_commands[] = {
    {"visits", "[--limit N] [--before VISIT] [--json] | --ics FILE",
     "who needs a visit, most urgent first",
     "With reasons, what to check first and what to bring. \"due\" is the best day, in "
     "brackets the first and the last that make sense. N shows so many, VISIT (an id of --json) "
     "those behind it. --ics writes a calendar of all instead (\"-\": standard output).",
     visits},
    {"visit-done",
     "SYSTEM [POINT=VALUE …] --on DATE --by NAME --found TEXT --did TEXT "
     "[--new-baseline] [--next-calibration DATE]",
     "puts a visit on record",
     "POINT=VALUE are values measured there, such as \"suction=0.62 inH2O\"; at a terminal they "
     "are "
     "asked for. --new-baseline makes them the commissioning values from that day on, for work "
     "that "
     "changed fan, pipe or openings. A radon test has a command of its own: radon-test. After any "
     "change to fan or openings a back-draft test "
     "of the combustion appliances belongs to the visit.",
     visit_done},
    {0},
};
