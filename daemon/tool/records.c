/*
 * commission: a commissioning record, or a baseline learned from a period. record: a reading taken
 * by hand.
 */
#include "host/fleet_files.h"
#include "tool/ctl_client.h"
#include "tool/table.h"
#include "tool/values.h"
#include "tool/words.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define RECORD_BYTES_MAX ((size_t)1 << 20)

static void print_points(const struct ctl *ctl, const json_t *points) {
    const struct ctl_column columns[] = {
        {ctl_words(ctl, PAGE_SHOW_POINT), false, CTL_KEEP_WHOLE},
        {ctl_words(ctl, PAGE_HEAD_BASELINE), true, CTL_KEEP_WHOLE}};
    struct ctl_table *table = ctl_table_create(columns, 2);
    char text[CTL_VALUE_SIZE];
    const char *id;
    json_t *value;
    json_object_foreach((json_t *)points, id, value) {
        const struct ctl shown = ctl_for_quantity(ctl, value);
        ctl_table_add(table, id);
        ctl_table_add(table, ctl_value(text, &shown, json_object_get(value, "value"),
                                       ctl_text_of(value, "unit")));
    }
    ctl_table_print(table, stdout);
    ctl_table_destroy(table);
}

/* Points that could not be learned; each is an answer of "no". */
static enum ctl_status print_refused(const struct ctl *ctl, json_t *refused) {
    const char *id;
    json_t *why;
    json_object_foreach(refused, id, why) {
        ctl_error(ctl, CTL_FAILED, "%s: %s", id,
                  json_is_string(why) ? json_string_value(why) : "not learned");
    }
    return json_object_size(refused) ? CTL_FAILED : CTL_DONE;
}

static enum ctl_status print_baseline(struct ctl *ctl, const char *system, const json_t *answer) {
    char from[CTL_VALUE_SIZE];
    const json_t *points = json_object_get(answer, "points");
    ctl_use_zone(ctl, ctl_text_of(answer, "time_zone"));
    if (json_object_size(points)) {
        if (json_is_string(json_object_get(answer, "from")))
            ctl_tell(ctl, PAGE_TOOL_BASELINE_FROM, system,
                     ctl_time(from, ctl, json_object_get(answer, "from")), NULL);
        else
            ctl_tell(ctl, PAGE_TOOL_BASELINE_LEARNED, system, NULL);
        print_points(ctl, points);
    }
    return print_refused(ctl, json_object_get(answer, "refused"));
}

static enum ctl_status send_record(struct ctl *ctl, const char *system, const char *file) {
    size_t length = 0;
    char *text = fleet_files_read(file, RECORD_BYTES_MAX, &length);
    if (!text)
        return ctl_error(ctl, CTL_FAILED, "%s: %s; name a commissioning record", file,
                         strerror(errno));
    struct ctl_path path = ctl_path_of("/api/systems/", system, "/commission");
    ctl_path_query(&path, "file", file);
    const struct ctl_body body = {"application/yaml", text, length};
    struct ctl_answer answer;
    enum ctl_status status = CTL_FAILED;
    if (ctl_request(ctl, path.text, &body, &answer)) {
        json_t *root = json_loadb(answer.body, answer.length, 0, NULL);
        if (ctl->json)
            ctl_print_answer(&answer);
        status = ctl->json ? CTL_DONE : print_baseline(ctl, system, root);
        json_decref(root);
        free(answer.body);
    }
    free(text);
    return status;
}

static enum ctl_status learn(struct ctl *ctl, const char *system,
                             const struct ctl_arguments *given) {
    struct ctl_path path = ctl_path_of("/api/systems/", system, "/learn");
    json_t *body = ctl_body(given, "--by", NULL), *answer = NULL;
    ctl_set(body, "from", ctl_option_at(given, "--learn", 0));
    ctl_set(body, "to", ctl_option_at(given, "--learn", 1));
    enum ctl_status status = ctl_post_json(ctl, path.text, body, &answer);
    if (answer)
        status = print_baseline(ctl, system, answer);
    json_decref(answer);
    return status;
}

static enum ctl_status commission(struct ctl *ctl, const struct ctl_arguments *given) {
    bool learning = ctl_flag(given, "--learn");
    if (given->count != (learning ? 1 : 2) || (learning && !ctl_flag(given, "--by")))
        return ctl_wrong_use(ctl);
    if (learning)
        return learn(ctl, given->operands[0], given);
    return send_record(ctl, given->operands[0], given->operands[1]);
}

static enum ctl_status record(struct ctl *ctl, const struct ctl_arguments *given) {
    char text[CTL_VALUE_SIZE], time[CTL_VALUE_SIZE];
    char **operands = given->operands;
    struct ctl_path path = ctl_path_of("/api/systems/", operands[0], "/points/");
    ctl_path_encode(&path, operands[1]);
    ctl_path_add(&path, "/record");
    json_t *body = ctl_body(given, "--at", "--by", NULL), *answer = NULL;
    ctl_set(body, "value", operands[2]);
    enum ctl_status status = ctl_post_json(ctl, path.text, body, &answer);
    ctl_use_zone(ctl, ctl_text_of(answer, "time_zone"));
    const struct ctl shown = ctl_for_quantity(ctl, answer);
    if (answer)
        ctl_tell(
            ctl, PAGE_TOOL_RECORDED, operands[0], operands[1],
            ctl_value(text, &shown, json_object_get(answer, "value"), ctl_text_of(answer, "unit")),
            ctl_time(time, ctl, json_object_get(answer, "time")), NULL);
    json_decref(answer);
    return status;
}

const struct ctl_command ctl_record_commands[] = {
    {"commission", "SYSTEM FILE | SYSTEM --learn FROM TO --by NAME",
     "stores a commissioning record, or learns a baseline",
     "FILE is a YAML record: date, by, instruments, measured values per point, radon before and "
     "after. Its values are the baseline from that date on. --learn takes the baseline from the "
     "readings between FROM and TO (RFC 3339 or dates) instead; it says less than a measurement "
     "with the pressure field proved, so do that on the next visit.",
     commission},
    {"record", "SYSTEM POINT VALUE [--at TIME] --by NAME", "a reading taken by hand",
     "VALUE has its unit: \"0.62 inH2O\" read off the U-tube. TIME is RFC 3339, within "
     "keep_readings; default: now.",
     record},
    {0},
};
