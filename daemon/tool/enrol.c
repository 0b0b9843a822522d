/*
 * enrol: a new system from topics that nobody claims, asked for at a terminal, or from a file. The
 * daemon checks, writes and reads its settings again; here it is waited for.
 */
#include "tool/enrol.h"

#include "host/fleet_files.h"
#include "measure/array.h"
#include "settings/checked_text.h"
#include "settings/yaml_tree.h"
#include "tool/ctl_client.h"
#include "tool/values.h"
#include "tool/words.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <time.h>
#include <unistd.h>

#define FILE_BYTES_MAX ((size_t)1 << 20)
enum { WAIT_TRIES = 600, BUSY_TRIES = 40 };
static const struct timespec wait_a_little = {.tv_nsec = 100000000};

/* ---- houses ---- */

struct enrol_house *enrol_add(struct enrol_houses *houses, char *label, char *text) {
    struct enrol_house *items = array_room(houses->items, houses->count, sizeof *items);
    if (items)
        houses->items = items;
    if (!items || !label || !text) {
        free(label);
        free(text);
        return NULL;
    }
    items[houses->count] = (struct enrol_house){.label = label, .text = text};
    return &items[houses->count++];
}

static void enrol_clear(struct enrol_houses *houses) {
    for (size_t i = 0; i < houses->count; i++) {
        for (size_t k = 0; k < houses->items[i].line_count; k++)
            free(houses->items[i].lines[k].id);
        free(houses->items[i].lines);
        free(houses->items[i].label);
        free(houses->items[i].text);
    }
    free(houses->items);
    *houses = (struct enrol_houses){0};
}

/* ---- what the daemon refuses ---- */

/* An error of a text made from a table, as one of the table. */
static void print_refusal(const struct enrol_houses *houses, const char *file, const char *line) {
    struct settings_errors one = {0};
    for (size_t i = 0; i < houses->count; i++) {
        const struct enrol_house *house = &houses->items[i];
        size_t length = strlen(house->label);
        const char *rest = line + length + 1;
        if (house->line_count == 0 || strncmp(line, house->label, length) != 0 ||
            line[length] != ':')
            continue;
        rest += strspn(rest, "0123456789");
        rest += strspn(rest, ": ");
        settings_errors_add(&one, "%s:%lld: %s", file, (long long)enrol_table_line(house, rest),
                            rest);
        break;
    }
    if (one.count == 0)
        settings_errors_add(&one, "%s", line);
    ctl_error_lines(&one);
    settings_errors_free(&one);
}

static enum ctl_status print_refusals(const struct ctl *ctl, const struct enrol_houses *houses,
                                      const char *file, const struct ctl_answer *answer) {
    json_t *root = json_loadb(answer->body, answer->length, 0, NULL), *line;
    size_t i;
    json_t *lines = json_object_get(root, "errors");
    json_array_foreach(lines, i, line) {
        if (json_is_string(line))
            print_refusal(houses, file, json_string_value(line));
    }
    const char *why = json_array_size(lines) ? "see above" : ctl_text_of(root, "error");
    enum ctl_status status = ctl_error(ctl, CTL_FAILED, "nothing was written: %s", why);
    json_decref(root);
    return status;
}

/* ---- sending ---- */

static char *request_body(const struct enrol_houses *houses, const char *by) {
    json_t *list = json_array(), *body = json_pack("{s:s,s:o}", "by", by, "systems", list);
    bool good = body != NULL;
    for (size_t i = 0; i < houses->count && good; i++)
        good = json_array_append_new(list, json_pack("{s:s,s:s}", "file", houses->items[i].label,
                                                     "text", houses->items[i].text)) == 0;
    char *text = good ? json_dumps(body, JSON_COMPACT) : NULL;
    json_decref(body);
    return text;
}

/* While the daemon reads its settings it takes nothing: that is over in a moment. */
static bool send_until_taken(struct ctl *ctl, const char *text, struct ctl_answer *answer) {
    const struct ctl_body body = {"application/json", text, strlen(text)};
    for (int i = 0; i < BUSY_TRIES; i++) {
        if (!ctl_request_any(ctl, "/api/enrol", &body, answer))
            return false;
        if (answer->status != 503 || i + 1 == BUSY_TRIES)
            return true;
        free(answer->body);
        nanosleep(&wait_a_little, NULL);
    }
    return false;
}

static bool is_in_force(struct ctl *ctl, const char *id) {
    struct ctl_path path = ctl_path_of("/api/systems/", id, "");
    return ctl_status_of(ctl, path.text) == 200;
}

static bool are_refused(struct ctl *ctl) {
    struct ctl_answer answer;
    if (!ctl_request_any(ctl, "/health", NULL, &answer))
        return true;
    json_t *health = ctl_json_of(&answer);
    bool refused = json_is_true(json_object_get(health, "settings_refused"));
    json_decref(health);
    return refused;
}

/* Until the last of them is watched. */
static enum ctl_status wait_until_in_force(struct ctl *ctl, const json_t *enrolled) {
    const json_t *last = json_array_get(enrolled, json_array_size(enrolled) - 1);
    const char *id = ctl_text_of(last, "id");
    for (int i = 0; i < WAIT_TRIES; i++) {
        if (is_in_force(ctl, id))
            return CTL_DONE;
        if (are_refused(ctl))
            return ctl_error(ctl, CTL_FAILED,
                             "the files are written, but the settings on disk are refused; see "
                             "what is wrong with: subslabctl check");
        nanosleep(&wait_a_little, NULL);
    }
    return ctl_error(ctl, CTL_FAILED,
                     "the files are written, but %s is not watched yet; see the daemon's log", id);
}

static void print_enrolled(const struct ctl *ctl, const json_t *enrolled) {
    const json_t *one;
    char path[128];
    size_t i;
    json_array_foreach(enrolled, i, one) {
        ctl_tell(ctl, PAGE_TOOL_ENROLLED, ctl_text_of(one, "id"),
                 CTL_COUNT(ctl_whole_of(one, "points")), NULL);
        printf("  %s\n", ctl_text_of(one, "file"));
    }
    const char *id = ctl_text_of(json_array_get(enrolled, 0), "id");
    bool many = json_array_size(enrolled) > 1;
    snprintf(path, sizeof path, "/systems/%.64s/commission", id);
    ctl_tell(ctl, many ? PAGE_TOOL_NEXT_MEASURE_EACH : PAGE_TOOL_NEXT_MEASURE, NULL);
    printf("  subslabctl commission %s RECORD.yaml\n", id);
    ctl_tell(ctl, PAGE_TOOL_OR_ON_PAGE, path, NULL);
    ctl_tell_all(ctl, "", PAGE_TOOL_BACK_DRAFT, NULL);
}

static enum ctl_status send_houses(struct ctl *ctl, const struct enrol_houses *houses,
                                   const char *file, const char *by) {
    char *text = request_body(houses, by);
    struct ctl_answer answer;
    if (!text)
        return ctl_error(ctl, CTL_FAILED, "the texts are not UTF-8; save the file as UTF-8");
    bool answered = send_until_taken(ctl, text, &answer);
    free(text);
    if (!answered)
        return CTL_FAILED;
    enum ctl_status status;
    if (answer.status == 200) {
        json_t *root = json_loadb(answer.body, answer.length, 0, NULL);
        const json_t *enrolled = json_object_get(root, "enrolled");
        status = wait_until_in_force(ctl, enrolled);
        if (ctl->json)
            ctl_print_answer(&answer);
        else if (status == CTL_DONE)
            print_enrolled(ctl, enrolled);
        json_decref(root);
    } else {
        status = print_refusals(ctl, houses, file, &answer);
    }
    free(answer.body);
    return status;
}

/* ---- from a file ---- */

static bool is_table(const char *file) {
    size_t length = strlen(file);
    return length > 4 && strcasecmp(file + length - 4, ".csv") == 0;
}

/* The file of one system; with an id on the command line it must be that one. */
static void read_system_file(const char *file, const char *only, struct enrol_houses *houses,
                             struct settings_errors *errors) {
    size_t length = 0;
    char *text = fleet_files_read(file, FILE_BYTES_MAX, &length);
    if (!text) {
        settings_errors_add(errors, "%s:0: %s; allowed: a file that can be read", file,
                            strerror(errno));
        return;
    }
    struct yaml_tree_node *root = yaml_tree_parse(file, text, length, errors);
    const struct yaml_tree_entry *id = yaml_tree_find(root, "id");
    const char *written = id && id->value.text ? id->value.text : "";
    if (root && only && strcmp(written, only) != 0)
        settings_errors_add(errors, "%s:%d: id: \"%.64s\" is not %s; allowed: the same", file,
                            id ? id->line : 1, written, only);
    yaml_tree_free(root);
    if (!enrol_add(houses, strdup(file), text))
        settings_errors_add(errors, "%s:0: out of memory", file);
}

static enum ctl_status enrol_file(struct ctl *ctl, const char *file, const char *only,
                                  const char *by) {
    struct enrol_houses houses = {0};
    struct settings_errors errors = {0};
    if (is_table(file))
        enrol_table_read(file, only, &houses, &errors);
    else
        read_system_file(file, only, &houses, &errors);
    ctl_error_lines(&errors);
    enum ctl_status status = errors.count
                                 ? ctl_error(ctl, CTL_FAILED, "nothing was written: see above")
                                 : send_houses(ctl, &houses, file, by);
    settings_errors_free(&errors);
    enrol_clear(&houses);
    return status;
}

/* ---- the command ---- */

static enum ctl_status enrol_by_asking(struct ctl *ctl, const char *system, const char *filter,
                                       const char *by) {
    struct enrol_houses houses = {0};
    if (!isatty(STDIN_FILENO))
        return ctl_error(ctl, CTL_WRONG_USE,
                         "it asks at a terminal; name a file instead: --file FILE");
    enum ctl_status status = enrol_ask(ctl, system, filter, &houses);
    if (status == CTL_DONE)
        status = send_houses(ctl, &houses, "", by);
    enrol_clear(&houses);
    return status;
}

static enum ctl_status enrol(struct ctl *ctl, const struct ctl_arguments *given) {
    const char *file = ctl_option(given, "--file"), *filter = ctl_option(given, "--topic");
    const char *by = ctl_option(given, "--by");
    const char *system = given->count ? given->operands[0] : NULL;
    const char *problem = system ? checked_text_id(system) : NULL;
    if (problem)
        return ctl_error(ctl, CTL_WRONG_USE, "\"%s\" %s", system, problem);
    problem = filter ? checked_text_topic_filter(filter) : NULL;
    if (problem)
        return ctl_error(ctl, CTL_WRONG_USE, "--topic: \"%s\" %s", filter, problem);
    if (file && filter)
        return ctl_error(ctl, CTL_WRONG_USE, "--topic is for asking; a file names its topics");
    if (!by)
        by = "the operator";
    return file ? enrol_file(ctl, file, system, by) : enrol_by_asking(ctl, system, filter, by);
}

const struct ctl_command ctl_enrol_commands[] = {
    {"enrol", "[SYSTEM] [--file FILE] [--topic FILTER] [--by NAME]",
     "a new system, from topics that nobody claims or from a file",
     "Asks at a terminal: which topics are of the house, and what it is. With --file takes a "
     "system file, or for many houses a table FILE.csv with a row a point and a header: system, "
     "point, quantity, and of topic, unit, every, branch, name, address, time_zone, region, "
     "contacts, pipe, fan and so on what is known. All is checked first: either all are written "
     "into the folder enrolled_systems of the settings and watched at once, or nothing is.",
     enrol},
    {0},
};
