/*
 * forget: the end of a contract. The record is written, then the house goes out of the settings,
 * and then all that the store knows of it is deleted.
 */
#include "tool/forget.h"

#include "tool/ctl_client.h"
#include "tool/values.h"
#include "tool/words.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

enum { WAIT_SECONDS = 120 };

struct forgetting {
    struct ctl *ctl;
    const char *system, *by, *record;
    char default_record[300];
    bool yes;
    json_t *show;  /* NULL: it is no longer watched */
    json_t *watch; /* what became of its file; NULL: there was none */
};

static struct ctl_path path_of(const struct forgetting *forgetting, const char *start,
                               const char *end) {
    return ctl_path_of(start, forgetting->system, end);
}

/* ---- the record ---- */

static bool ends_with(const char *text, const char *end) {
    size_t length = strlen(text), behind = strlen(end);
    return length >= behind && strcmp(text + length - behind, end) == 0;
}

/* Nothing that is there is overwritten, and nobody else reads it. */
static enum ctl_status write_new(const struct ctl *ctl, const char *name,
                                 const struct ctl_answer *answer) {
    int file = open(name, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
    FILE *to = file < 0 ? NULL : fdopen(file, "wb");
    bool good = to && fwrite(answer->body, 1, answer->length, to) == answer->length &&
                fflush(to) == 0 && fsync(file) == 0;
    int error = errno;
    if (to)
        good = fclose(to) == 0 && good;
    return good ? CTL_DONE
                : ctl_error(ctl, CTL_FAILED,
                            "%s: the record can't be written (%s); name another file with --record",
                            name, strerror(error));
}

static void name_record(struct forgetting *forgetting) {
    time_t now = time(NULL);
    struct tm local = {0};
    char day[16];
    localtime_r(&now, &local);
    strftime(day, sizeof day, "%Y-%m-%d", &local);
    snprintf(forgetting->default_record, sizeof forgetting->default_record, "%.200s-record-%s.html",
             forgetting->system, day);
    forgetting->record = forgetting->default_record;
}

static enum ctl_status write_record(struct forgetting *forgetting) {
    struct ctl_answer answer;
    if (!forgetting->record)
        name_record(forgetting);
    struct ctl_path path = ends_with(forgetting->record, ".json")
                               ? path_of(forgetting, "/api/systems/", "")
                               : path_of(forgetting, "/systems/", "/record");
    if (!ctl_request(forgetting->ctl, path.text, NULL, &answer))
        return CTL_FAILED;
    enum ctl_status status = write_new(forgetting->ctl, forgetting->record, &answer);
    free(answer.body);
    return status;
}

/* ---- asking ---- */

static bool ask(const struct forgetting *forgetting) {
    const char *name = ctl_text_of(forgetting->show, "name");
    const struct ctl *ctl = forgetting->ctl;
    char line[16];
    if (forgetting->show)
        ctl_tell(ctl, PAGE_TOOL_RECORD_OF, forgetting->record, name, NULL);
    ctl_tell_all(ctl, "", forgetting->show ? PAGE_TOOL_FORGET_WHAT_FILE : PAGE_TOOL_FORGET_WHAT,
                 forgetting->system, NULL);
    printf("%s ", ctl_words(ctl, PAGE_TOOL_GO_ON));
    fflush(stdout);
    return fgets(line, sizeof line, stdin) && ctl_is_yes(ctl, line);
}

static enum ctl_status make_sure(const struct forgetting *forgetting) {
    if (forgetting->yes)
        return CTL_DONE;
    if (!isatty(STDIN_FILENO))
        return ctl_error(forgetting->ctl, CTL_WRONG_USE,
                         "it deletes for good, so it asks at a terminal; elsewhere add --yes");
    return ask(forgetting) ? CTL_DONE
                           : ctl_error(forgetting->ctl, CTL_FAILED, "nothing was deleted");
}

/* ---- out of the settings ---- */

static json_t *body_of(const struct forgetting *forgetting) {
    json_t *words = json_array();
    static const char *const keys[] = {"name", "address"};
    for (size_t i = 0; i < sizeof keys / sizeof keys[0]; i++) {
        json_t *word = json_object_get(forgetting->show, keys[i]);
        if (json_is_string(word))
            json_array_append(words, word);
    }
    return json_pack("{s:s, s:o}", "by", forgetting->by, "words", words);
}

static enum ctl_status post(const struct forgetting *forgetting, json_t **answer) {
    struct ctl tool = *forgetting->ctl;
    struct ctl_path path = path_of(forgetting, "/api/systems/", "/forget");
    tool.json = false; /* the answers are parts of ours */
    return ctl_post_json(&tool, path.text, body_of(forgetting), answer);
}

static bool is_watched(const struct forgetting *forgetting) {
    struct ctl_path path = path_of(forgetting, "/api/systems/", "");
    return ctl_status_of(forgetting->ctl, path.text) != 404;
}

static enum ctl_status wait_until_unwatched(const struct forgetting *forgetting) {
    const struct timespec pause = {.tv_nsec = 250000000};
    for (int i = 0; i < 4 * WAIT_SECONDS; i++) {
        if (!is_watched(forgetting))
            return CTL_DONE;
        nanosleep(&pause, NULL);
    }
    return ctl_error(forgetting->ctl, CTL_FAILED,
                     "the daemon still watches %s: its settings were not read again, its log says "
                     "why; mend that and run this again",
                     forgetting->system);
}

/* Where the daemon may not delete the file, we may. */
static enum ctl_status remove_file(const struct forgetting *forgetting) {
    struct ctl *ctl = forgetting->ctl;
    const char *file = ctl_text_of(forgetting->watch, "file");
    json_t *answer = NULL;
    if (json_is_true(json_object_get(forgetting->watch, "removed")))
        return CTL_DONE;
    if (json_is_true(json_object_get(forgetting->watch, "listed")))
        return ctl_error(ctl, CTL_FAILED,
                         "take %s out of `systems` in %s and delete it, then run: systemctl reload "
                         "subslabd, and this again",
                         file, ctl_text_of(forgetting->watch, "settings"));
    if (unlink(file) != 0)
        return ctl_error(ctl, CTL_FAILED,
                         "%s can't be deleted (%s); delete it, then run: systemctl reload "
                         "subslabd, and this again",
                         file, strerror(errno));
    struct ctl tool = *ctl;
    tool.json = false;
    enum ctl_status status = ctl_post_json(&tool, "/api/reload", json_object(), &answer);
    json_decref(answer);
    return status;
}

static enum ctl_status end_watch(struct forgetting *forgetting) {
    enum ctl_status status = post(forgetting, &forgetting->watch);
    if (status == CTL_DONE)
        status = remove_file(forgetting);
    return status == CTL_DONE ? wait_until_unwatched(forgetting) : status;
}

/* ---- what was done ---- */

static void print_json(const struct forgetting *forgetting, json_t *deleted) {
    json_t *contacts = json_object_get(forgetting->watch, "contacts");
    json_t *json = json_pack("{s:s, s:s?, s:s?, s:O, s:O?}", "system", forgetting->system, "record",
                             forgetting->show ? forgetting->record : NULL, "file",
                             json_string_value(json_object_get(forgetting->watch, "file")),
                             "deleted", deleted, "contacts", contacts);
    ctl_print_json(json);
}

static void print_text(const struct forgetting *forgetting, const json_t *deleted) {
    const json_t *contacts = json_object_get(forgetting->watch, "contacts"), *contact;
    const struct ctl *ctl = forgetting->ctl;
    size_t i;
    ctl_tell(
        ctl, PAGE_TOOL_DELETED, forgetting->system, CTL_COUNT(ctl_whole_of(deleted, "readings")),
        CTL_COUNT(ctl_whole_of(deleted, "alarms")), CTL_COUNT(ctl_whole_of(deleted, "records")),
        CTL_COUNT(ctl_whole_of(deleted, "messages")), NULL);
    if (forgetting->show)
        ctl_tell(ctl, PAGE_TOOL_ITS_RECORD, forgetting->record, NULL);
    json_array_foreach((json_t *)contacts, i, contact)
        ctl_tell(ctl, PAGE_TOOL_CONTACT_LEFT, json_string_value(contact),
                 ctl_text_of(forgetting->watch, "settings"), NULL);
    ctl_tell_all(ctl, "", PAGE_TOOL_STILL_STANDS_IN, NULL);
}

static enum ctl_status delete_all(struct forgetting *forgetting) {
    json_t *deleted = NULL;
    enum ctl_status status = post(forgetting, &deleted);
    if (status != CTL_DONE)
        return status;
    if (forgetting->ctl->json)
        print_json(forgetting, deleted);
    else
        print_text(forgetting, deleted);
    if (!json_is_true(json_object_get(deleted, "log_emptied")))
        status = ctl_error(forgetting->ctl, CTL_FAILED,
                           "the log of the store (its file ending in -wal) still holds what was "
                           "deleted, for another process reads the store; restart the daemon when "
                           "that is over");
    json_decref(deleted);
    return status;
}

enum ctl_status ctl_forget_moved(struct ctl *ctl, const char *system, const char *by) {
    json_t *deleted = NULL;
    struct forgetting forgetting = {.ctl = ctl, .system = system, .by = by};
    struct ctl_path path = path_of(&forgetting, "/api/systems/", "");
    forgetting.show = ctl_ask(ctl, path.text);
    enum ctl_status status = forgetting.show ? end_watch(&forgetting) : CTL_FAILED;
    if (status == CTL_DONE)
        status = post(&forgetting, &deleted);
    json_decref(deleted);
    json_decref(forgetting.show);
    json_decref(forgetting.watch);
    return status;
}

static enum ctl_status forget_it(struct forgetting *forgetting) {
    struct ctl_path path = path_of(forgetting, "/api/systems/", "");
    enum ctl_status status = CTL_DONE;
    if (is_watched(forgetting)) {
        forgetting->show = ctl_ask(forgetting->ctl, path.text);
        status = forgetting->show ? write_record(forgetting) : CTL_FAILED;
    } else if (forgetting->record) {
        return ctl_error(forgetting->ctl, CTL_FAILED,
                         "%s is not watched, so there is no record of it to write; see: subslabctl "
                         "systems. What is left of it in the store is deleted without --record",
                         forgetting->system);
    }
    if (status == CTL_DONE)
        status = make_sure(forgetting);
    if (status == CTL_DONE && forgetting->show)
        status = end_watch(forgetting);
    return status == CTL_DONE ? delete_all(forgetting) : status;
}

static enum ctl_status forget(struct ctl *ctl, const struct ctl_arguments *given) {
    struct forgetting forgetting = {.ctl = ctl,
                                    .system = given->operands[0],
                                    .by = ctl_option(given, "--by"),
                                    .record = ctl_option(given, "--record"),
                                    .yes = ctl_flag(given, "--yes")};
    if (!ctl_settings(ctl))
        return CTL_WRONG_USE;
    enum ctl_status status = forget_it(&forgetting);
    json_decref(forgetting.show);
    json_decref(forgetting.watch);
    return status;
}

const struct ctl_command ctl_forget_commands[] = {
    {"forget", "SYSTEM --by NAME [--record FILE] [--yes] [--json]",
     "deletes all that is known of a house",
     "Writes the record to FILE first (default: SYSTEM-record-DATE.html in this folder; a name in "
     ".json gets what `show --json` says), asks, takes the house out of the settings and deletes "
     "it from the store: readings, alarms, records, visits, tests, messages, the homeowner's "
     "link. --yes does not ask.",
     forget},
    {0},
};
