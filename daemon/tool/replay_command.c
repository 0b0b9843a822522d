/*
 * replay: history through the judgement, from files alone (replay.h does the work).
 */
#include "host/fleet_files.h"
#include "measure/timestamp.h"
#include "monitor/proved_field.h"
#include "tool/ctl_client.h"
#include "tool/replay.h"
#include "tool/table.h"
#include "tool/text.h"
#include "tool/values.h"
#include "tool/words.h"

#include <dirent.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#define RECORD_BYTES_MAX ((size_t)1 << 20)
enum { BAD_LINES_SHOWN = 1000 };

struct replay_command {
    struct ctl *ctl;
    const struct ctl_arguments *given;
    const char *readings, *alarms;
    int64_t bad_shown;
};

/* ---- commissioning records ---- */

static enum ctl_status load_record(const struct replay_command *command, struct replay *replay,
                                   const char *id, const char *file) {
    const struct fleet *fleet = monitor_fleet(replay_monitor(replay));
    size_t system = fleet_find_system(fleet, id), length = 0;
    if (system == FLEET_NONE)
        return ctl_error(command->ctl, CTL_WRONG_USE, "--commission: there is no system \"%s\"",
                         id);
    char *text = fleet_files_read(file, RECORD_BYTES_MAX, &length);
    if (!text)
        return ctl_error(command->ctl, CTL_FAILED, "%s: %s", file, strerror(errno));
    struct settings_errors errors = {0};
    struct commissioning *record =
        proved_field_record(file, text, length, fleet->systems[system].description,
                            fleet->systems[system].zone, INT64_MAX, &errors);
    free(text);
    ctl_error_lines(&errors);
    settings_errors_free(&errors);
    if (!record)
        return CTL_WRONG_USE;
    bool good = replay_commission(replay, system, record);
    commissioning_free(record);
    return good ? CTL_DONE : ctl_error(command->ctl, CTL_FAILED, "out of memory");
}

static bool ends_in_yaml(const char *name, size_t *stem) {
    const char *dot = strrchr(name, '.');
    *stem = dot ? (size_t)(dot - name) : 0;
    return name[0] != '.' && dot && (strcmp(dot, ".yaml") == 0 || strcmp(dot, ".yml") == 0);
}

static enum ctl_status load_folder(const struct replay_command *command, struct replay *replay,
                                   const char *folder) {
    struct dirent **entries = NULL;
    int count = scandir(folder, &entries, NULL, alphasort);
    enum ctl_status status = CTL_DONE;
    if (count < 0)
        return ctl_error(command->ctl, CTL_FAILED, "%s: %s", folder, strerror(errno));
    for (int i = 0; i < count; i++) {
        char file[4096], id[256];
        size_t stem = 0;
        if (status == CTL_DONE && ends_in_yaml(entries[i]->d_name, &stem)) {
            snprintf(file, sizeof file, "%s/%s", folder, entries[i]->d_name);
            snprintf(id, sizeof id, "%.*s", (int)stem, entries[i]->d_name);
            status = load_record(command, replay, id, file);
        }
        free(entries[i]);
    }
    free((void *)entries);
    return status;
}

static enum ctl_status load_commissions(const struct replay_command *command,
                                        struct replay *replay) {
    enum ctl_status status = CTL_DONE;
    const char *text;
    for (size_t i = 0;
         status == CTL_DONE && (text = ctl_option_at(command->given, "--commission", i)); i++) {
        const char *equals = strchr(text, '=');
        struct stat about;
        char id[256];
        if (stat(text, &about) == 0 && S_ISDIR(about.st_mode)) {
            status = load_folder(command, replay, text);
        } else if (equals) {
            snprintf(id, sizeof id, "%.*s", (int)(equals - text), text);
            status = load_record(command, replay, id, equals + 1);
        } else {
            status = ctl_error(command->ctl, CTL_WRONG_USE,
                               "--commission %s is neither SYSTEM=FILE nor a folder of SYSTEM.yaml",
                               text);
        }
    }
    return status;
}

/* ---- what it says ---- */

static void on_bad(void *context, int64_t line, const char *why) {
    struct replay_command *command = context;
    if (command->bad_shown++ >= BAD_LINES_SHOWN)
        return;
    char *clean = ctl_text_clean(why);
    ctl_progress("", -1.0);
    fprintf(stderr, "%s:%lld: %s\n", command->readings, (long long)line, clean ? clean : "");
    free(clean);
}

static void on_progress(void *context, double done) {
    (void)context;
    ctl_progress("replaying", done);
}

static const char *instant(char *text, int64_t time_ms) {
    if (time_ms == TIMESTAMP_NONE)
        return "";
    return timestamp_format(text, CTL_VALUE_SIZE, time_ms);
}

static bool write_csv(const struct replay *replay, const struct fleet *fleet, FILE *to) {
    char raised[CTL_VALUE_SIZE], returned[CTL_VALUE_SIZE];
    size_t count = 0;
    const struct replay_alarm *rows = replay_alarms(replay, &count);
    fprintf(to, "system,condition,point,priority,raised,returned,diagnosis,branch\n");
    for (size_t i = 0; i < count; i++)
        fprintf(to, "%s,%s,%s,%s,%s,%s,%s,%s\n", fleet_system_id(fleet, rows[i].system),
                condition_info(rows[i].condition)->name, fleet_point_id(fleet, rows[i].point),
                priority_word(rows[i].priority), instant(raised, rows[i].raised_ms),
                instant(returned, rows[i].returned_ms), rows[i].cause ? rows[i].cause : "",
                fleet_branch_id(fleet, rows[i].system, rows[i].point, rows[i].condition));
    return !ferror(to);
}

static enum ctl_status save_csv(const struct replay_command *command, const struct replay *replay,
                                const struct fleet *fleet) {
    bool standard = strcmp(command->alarms, "-") == 0;
    FILE *to = standard ? stdout : fopen(command->alarms, "w");
    bool good = to && write_csv(replay, fleet, to);
    if (to && !standard)
        good = fclose(to) == 0 && good;
    return good ? CTL_DONE
                : ctl_error(command->ctl, CTL_FAILED, "%s: %s", command->alarms, strerror(errno));
}

/* At the system; in UTC what is about the whole fleet. */
static const char *local_time(char text[CTL_VALUE_SIZE], const struct fleet *fleet, size_t system,
                              int64_t time_ms) {
    if (time_ms == TIMESTAMP_NONE)
        return "–";
    if (system != FLEET_NONE)
        return time_zone_format(text, CTL_VALUE_SIZE, fleet->systems[system].zone, time_ms);
    return instant(text, time_ms);
}

static void print_table(const struct ctl *ctl, const struct replay *replay,
                        const struct fleet *fleet) {
    const struct ctl_column columns[] = {
        {ctl_words(ctl, PAGE_HEAD_SYSTEM), false, CTL_KEEP_WHOLE},
        {ctl_words(ctl, PAGE_HEAD_CONDITION), false, CTL_KEEP_WORDS},
        {ctl_words(ctl, PAGE_SHOW_POINT), false, CTL_KEEP_WHOLE},
        {ctl_words(ctl, PAGE_HEAD_PRIORITY), false, CTL_KEEP_WHOLE},
        {ctl_words(ctl, PAGE_HEAD_RAISED), false, CTL_KEEP_WHOLE},
        {ctl_words(ctl, PAGE_HEAD_RETURNED), false, CTL_KEEP_WHOLE},
        {ctl_words(ctl, PAGE_HEAD_CAUSE), false, CTL_KEEP_NOTHING}};
    char text[CTL_VALUE_SIZE], claim[EVIDENCE_CLAIM_BYTES];
    size_t count = 0;
    const struct replay_alarm *rows = replay_alarms(replay, &count);
    struct ctl_table *table = ctl_table_create(columns, 7);
    for (size_t i = 0; i < count; i++) {
        ctl_table_add(table, fleet_system_id(fleet, rows[i].system));
        ctl_table_add(table, ctl_condition(ctl, condition_info(rows[i].condition)->name));
        ctl_table_add(table, fleet_point_id(fleet, rows[i].point));
        ctl_table_add(table, ctl_words_of(ctl, priority_word(rows[i].priority)));
        ctl_table_add(table, local_time(text, fleet, rows[i].system, rows[i].raised_ms));
        ctl_table_add(table, local_time(text, fleet, rows[i].system, rows[i].returned_ms));
        ctl_table_add(table, ctl_cause(claim, ctl, rows[i].cause ? rows[i].cause : ""));
    }
    if (count)
        ctl_table_print(table, stdout);
    ctl_table_destroy(table);
}

static void print_json(const struct replay *replay, const struct fleet *fleet) {
    char raised[CTL_VALUE_SIZE], returned[CTL_VALUE_SIZE];
    size_t count = 0;
    const struct replay_alarm *rows = replay_alarms(replay, &count);
    json_t *list = json_array();
    for (size_t i = 0; i < count; i++)
        json_array_append_new(list, json_pack("{s:s,s:s,s:s,s:s,s:s,s:s?,s:s?}", "system",
                                              fleet_system_id(fleet, rows[i].system), "condition",
                                              condition_info(rows[i].condition)->name, "point",
                                              fleet_point_id(fleet, rows[i].point), "priority",
                                              priority_word(rows[i].priority), "raised",
                                              instant(raised, rows[i].raised_ms), "returned",
                                              rows[i].returned_ms == TIMESTAMP_NONE
                                                  ? NULL
                                                  : instant(returned, rows[i].returned_ms),
                                              "diagnosis", rows[i].cause));
    ctl_print_json(list);
}

static void print_summary(const struct ctl *ctl, const struct replay *replay) {
    char first[CTL_VALUE_SIZE], last[CTL_VALUE_SIZE];
    struct replay_counts counts = replay_counts(replay);
    size_t count = 0;
    replay_alarms(replay, &count);
    if (counts.first_ms != TIMESTAMP_NONE)
        ctl_tell(ctl, PAGE_TOOL_REPLAYED_SPAN, CTL_COUNT(counts.taken),
                 instant(first, counts.first_ms), instant(last, counts.last_ms), CTL_COUNT(count),
                 NULL);
    else
        ctl_tell(ctl, PAGE_TOOL_REPLAYED, CTL_COUNT(counts.taken), CTL_COUNT(count), NULL);
    ctl_tell(ctl, PAGE_TOOL_REPLAYED_REST, CTL_COUNT(counts.same), CTL_COUNT(counts.bad), NULL);
}

/* ---- all together ---- */

static enum ctl_status report(const struct replay_command *command, const struct replay *replay,
                              const struct fleet *fleet) {
    enum ctl_status status = CTL_DONE;
    bool to_output = command->alarms && strcmp(command->alarms, "-") == 0;
    struct replay_counts counts = replay_counts(replay);
    if (command->bad_shown > BAD_LINES_SHOWN)
        fprintf(stderr, "%s: and %lld more bad lines\n", command->readings,
                (long long)command->bad_shown - BAD_LINES_SHOWN);
    if (command->alarms)
        status = save_csv(command, replay, fleet);
    else if (!command->ctl->json)
        print_table(command->ctl, replay, fleet);
    if (command->ctl->json)
        print_json(replay, fleet);
    else if (!to_output)
        print_summary(command->ctl, replay);
    return status == CTL_DONE && counts.bad > 0 ? CTL_FAILED : status;
}

static enum ctl_status run(struct replay_command *command, const struct fleet *fleet) {
    const struct replay_listener listener = {
        .context = command, .bad = on_bad, .progress = on_progress};
    char why[512];
    struct replay *replay = replay_create(fleet, &listener);
    if (!replay)
        return ctl_error(command->ctl, CTL_FAILED, "out of memory");
    if (ctl_flag(command->given, "--fleet")) /* the houses of each region */
        replay_compare_regions(replay);
    enum ctl_status status = load_commissions(command, replay);
    if (status == CTL_DONE && !replay_read(replay, command->readings, why, sizeof why)) {
        ctl_progress("", -1.0);
        status = ctl_error(command->ctl, CTL_FAILED, "%s", why);
    }
    if (status == CTL_DONE && !replay_run(replay))
        status = ctl_error(command->ctl, CTL_FAILED, "out of memory");
    ctl_progress("", -1.0);
    if (status == CTL_DONE)
        status = report(command, replay, fleet);
    replay_destroy(replay);
    return status;
}

static enum ctl_status replay(struct ctl *ctl, const struct ctl_arguments *given) {
    struct replay_command command = {.ctl = ctl, .given = given, .readings = given->operands[0]};
    command.alarms = ctl_option(given, "--alarms");
    struct settings_errors errors = {0};
    struct fleet *fleet = fleet_files_load(ctl->settings_file, NULL, &errors);
    ctl_error_lines(&errors);
    settings_errors_free(&errors);
    if (!fleet)
        return CTL_WRONG_USE;
    enum ctl_status status = run(&command, fleet);
    fleet_destroy(fleet);
    return status;
}

const struct ctl_command ctl_replay_commands[] = {
    {"replay",
     "READINGS.csv [--commission SYSTEM=FILE | FOLDER] … [--fleet] [--alarms OUT.csv] [--json]",
     "what would these limits have said?",
     "Runs readings (as for import) through the same judgement on a virtual clock, from the "
     "settings and system files alone; nothing is stored and nobody is told. --commission gives "
     "the baselines: a commissioning record per system, or a folder of SYSTEM.yaml. --fleet "
     "compares the houses of each region, as the daemon does; without it each is judged as if it "
     "stood alone. OUT.csv has the columns "
     "system,condition,point,priority,raised,returned,diagnosis,branch; without it a table "
     "is printed.",
     replay},
    {0},
};
