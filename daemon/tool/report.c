/*
 * report: the year's letter to an owner, the record of a house and the sheet at its fan, as text or
 * as a page that needs no other file; of one house to standard output, of all houses into a folder.
 */
#include "tool/ctl_client.h"
#include "tool/text.h"
#include "tool/values.h"
#include "tool/words.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

struct report {
    struct ctl *ctl;
    bool sheet, record; /* the one at the fan, the record; else the letter */
    const char *year, *as, *into, *language;
    bool html; /* else text, or of the letter JSON */
};

/* The daemon makes all papers as pages and their text; of the letter it also gives the parts. */
static bool is_of_parts(const struct report *report) {
    return report->year && !report->html;
}

static struct ctl_path path_of(const struct report *report, const char *system) {
    struct ctl_path path = ctl_path(is_of_parts(report) ? "/api/systems/" : "/systems/");
    ctl_path_encode(&path, system);
    ctl_path_add(&path, report->sheet ? "/fan-sheet" : report->record ? "/record" : "/report");
    ctl_path_query(&path, "year", report->year);
    ctl_path_query(&path, "as", report->html ? NULL : "text");
    ctl_path_query(&path, "language", report->language);
    ctl_path_query(&path, "units", report->ctl->units == UNIT_SYSTEM_SI ? "si" : "us");
    return path;
}

static void print_letter(FILE *to, const json_t *letter) {
    const json_t *sections = json_object_get(letter, "sections"), *section, *paragraph;
    const char *address = ctl_text_of(letter, "address");
    size_t i, n;
    ctl_text_print(to, "", ctl_text_of(letter, "title"));
    fprintf(to, "\n");
    ctl_text_print(to, "", ctl_text_of(letter, "name"));
    if (*address)
        ctl_text_print(to, "", address);
    json_array_foreach((json_t *)sections, i, section) {
        fprintf(to, "\n");
        ctl_text_print(to, "", ctl_text_of(section, "heading"));
        json_array_foreach(json_object_get(section, "paragraphs"), n, paragraph)
            ctl_text_print(to, "  ", json_string_value(paragraph));
    }
}

/* Plain text in the columns there are; what an item says goes on below its beginning. */
static void print_text(FILE *to, char *text) {
    char *save, first[16], indent[16];
    for (char *line = text; line; line = save) {
        if ((save = strchr(line, '\n')))
            *save++ = '\0';
        size_t start = strspn(line, " ");
        size_t width = start + (strncmp(line + start, "- ", 2) == 0 ? 2 : 0);
        width = width < sizeof first ? width : 0;
        snprintf(first, sizeof first, "%.*s", (int)width, line);
        snprintf(indent, sizeof indent, "%*s", (int)width, "");
        if (line[width])
            ctl_text_print_item(to, first, indent, line + width);
        else if (save)
            fputc('\n', to);
    }
}

/* True when it is written. */
static bool write_one(const struct report *report, const char *system, FILE *to) {
    struct ctl_answer answer;
    struct ctl_path path = path_of(report, system);
    if (!ctl_request(report->ctl, path.text, NULL, &answer))
        return false;
    if (!report->html && report->year && !report->ctl->json) {
        json_t *letter = ctl_json_of(&answer);
        print_letter(to, letter);
        json_decref(letter);
        return true;
    }
    if (!report->html && !report->year) {
        print_text(to, answer.body);
    } else {
        fwrite(answer.body, 1, answer.length, to);
        if (answer.length && answer.body[answer.length - 1] != '\n')
            fputc('\n', to);
    }
    free(answer.body);
    return true;
}

static enum ctl_status write_file(const struct report *report, const char *system) {
    char *name = NULL;
    const char *ending = report->html ? "html" : report->year && report->ctl->json ? "json" : "txt";
    const char *what = report->sheet ? "fan-sheet" : report->record ? "record" : report->year;
    if (asprintf(&name, "%s/%s-%s.%s", report->into, system, what, ending) < 0)
        return ctl_error(report->ctl, CTL_FAILED, "out of memory");
    FILE *to = fopen(name, "wb");
    bool opened = to != NULL, written = opened && write_one(report, system, to);
    bool closed = opened && fclose(to) == 0;
    enum ctl_status status = CTL_DONE;
    if (!opened || (written && !closed))
        status = ctl_error(report->ctl, CTL_FAILED, "%s: %s", name, strerror(errno));
    else if (!written)
        status = CTL_FAILED;
    if (opened && !written)
        remove(name);
    free(name);
    return status;
}

static enum ctl_status write_all(const struct report *report) {
    json_t *systems = ctl_ask(report->ctl, "/api/systems"), *system;
    size_t i, written = 0;
    enum ctl_status status = systems ? CTL_DONE : CTL_FAILED;
    json_array_foreach(systems, i, system) {
        enum ctl_status one = write_file(report, ctl_text_of(system, "id"));
        written += one == CTL_DONE;
        status = one == CTL_DONE ? status : one;
    }
    if (systems)
        ctl_tell(report->ctl,
                 report->sheet    ? PAGE_TOOL_SHEETS_IN
                 : report->record ? PAGE_TOOL_RECORDS_IN
                                  : PAGE_TOOL_LETTERS_IN,
                 CTL_COUNT(written), report->into, NULL);
    json_decref(systems);
    return status;
}

static enum ctl_status report_command(struct ctl *ctl, const struct ctl_arguments *given) {
    struct report report = {.ctl = ctl,
                            .year = ctl_option(given, "--year"),
                            .as = ctl_option(given, "--as"),
                            .language = ctl_option(given, "--language"),
                            .into = ctl_option(given, "--into"),
                            .record = ctl_flag(given, "--record"),
                            .sheet = ctl_flag(given, "--fan-sheet")};
    if (!report.language)
        report.language = ctl->language_asked;
    if (report.as && strcmp(report.as, "text") != 0 && strcmp(report.as, "html") != 0)
        return ctl_error(ctl, CTL_WRONG_USE, "--as: \"%s\" is not allowed; allowed: text, html",
                         report.as);
    if ((report.year != NULL) + report.record + report.sheet != 1)
        return ctl_error(ctl, CTL_WRONG_USE, "give one of --year YEAR, --record and --fan-sheet");
    if (report.year && (strspn(report.year, "0123456789") != 4 || report.year[4] != '\0'))
        return ctl_error(ctl, CTL_WRONG_USE, "--year: \"%s\" is not allowed; allowed: such as 2026",
                         report.year);
    if (!given->count && !report.into)
        return ctl_error(ctl, CTL_WRONG_USE,
                         "name a system, or for all of them a folder: --into FOLDER");
    if (!ctl_settings(ctl))
        return CTL_WRONG_USE;
    if (report.into && mkdir(report.into, 0700) != 0 && errno != EEXIST)
        return ctl_error(ctl, CTL_FAILED, "%s: %s", report.into, strerror(errno));
    report.html = strcmp(report.as ? report.as : report.year ? "text" : "html", "html") == 0;
    if (!given->count)
        return write_all(&report);
    if (report.into)
        return write_file(&report, given->operands[0]);
    return write_one(&report, given->operands[0], stdout) ? CTL_DONE : CTL_FAILED;
}

const struct ctl_command ctl_report_commands[] = {
    {"report",
     "[SYSTEM] --year YEAR [--as text|html] [--language CODE] [--into FOLDER] [--json] | "
     "[SYSTEM] --record [--as text|html] [--language CODE] [--into FOLDER] | "
     "[SYSTEM] --fan-sheet [--as text|html] [--language CODE] [--into FOLDER]",
     "the year's letter to an owner, and the other papers",
     "Averages, how much of the time it was as it should be, what happened, what was done, tests, "
     "what comes next, cautions, and what it does not prove; in the language of the system's "
     "homeowner, or CODE, such as es. Without SYSTEM: of all houses, into a folder. --record gives "
     "the record of the house instead, for the files; --fan-sheet the page that stays at the fan: "
     "start-up values, what the U-tube should read, whom to call. Both are pages, or with --as "
     "text plain text of the same.",
     report_command},
    {0},
};
