/*
 * Visits: who needs somebody, in what order, and what was found there.
 */
#include "ctl_client.h"
#include "ctl_show.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

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

static enum ctl_status visits(struct ctl *ctl, int argc, char **argv) {
    const char *ics = NULL;
    const struct ctl_option options[] = {{"--ics", "FILE", &ics, NULL, false}};
    struct ctl_arguments arguments = {.options = options, .option_count = 1};
    if (!ctl_arguments(ctl, argc, argv, &arguments))
        return arguments.status;
    if (ics)
        return save_calendar(ctl, ics);
    json_t *list = NULL, *visit;
    enum ctl_status status = ctl_get_json(ctl, "/api/visits", &list);
    size_t i;
    json_array_foreach(list, i, visit) {
        if (i > 0)
            printf("\n");
        ctl_show_visit(ctl, visit);
    }
    if (list && json_array_size(list) == 0)
        printf("no visit is due\n");
    json_decref(list);
    return status;
}

struct visit_texts {
    const char *on, *by, *found, *did, *next_calibration;
    bool radon_tested;
};

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
    if (texts->radon_tested)
        json_object_set_new(body, "radon_tested", json_true());
    if (!read_values(ctl, arguments, body)) {
        json_decref(body);
        return CTL_WRONG_USE;
    }
    enum ctl_status status = ctl_post_json(ctl, path.text, body, &answer);
    if (answer)
        printf("%s: the visit is on record\n", arguments->operands[0]);
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
        {"--radon-tested", NULL, NULL, &texts.radon_tested, false},
        {"--next-calibration", "DATE", &texts.next_calibration, NULL, false}};
    struct ctl_arguments arguments = {
        .options = options, .option_count = 6, .least = 1, .most = 64};
    if (!ctl_arguments(ctl, argc, argv, &arguments))
        return arguments.status;
    return send_visit(ctl, &arguments, &texts);
}

const struct ctl_command ctl_visit_commands[] = {
    {"visits", "[--ics FILE] [--json]", "who needs a visit, most urgent first",
     "With reasons, what to check first and what to bring. \"due\" is the best day, in "
     "brackets the first and the last that make sense. --ics writes a calendar instead "
     "(\"-\": standard output).",
     visits},
    {"visit-done",
     "SYSTEM [POINT=VALUE …] --on DATE --by NAME --found TEXT --did TEXT [--radon-tested] "
     "[--next-calibration DATE]",
     "puts a visit on record",
     "POINT=VALUE are values measured there, such as \"suction=0.62 inH2O\". --radon-tested starts "
     "the time to the next radon test anew. After any change to fan or openings a back-draft test "
     "of the combustion appliances belongs to the visit.",
     visit_done},
    {0},
};
