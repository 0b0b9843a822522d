/*
 * import: rows of CSV to the daemon in parts that it can commit one by one. A part goes out with
 * the file's header and the line of its first row; every line of the file is a line of a part, so
 * that the daemon's errors name the right lines.
 */
#include "host/csv_reader.h"
#include "tool/ctl_client.h"
#include "tool/export.h"
#include "tool/text.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define PART_BYTES ((size_t)960 * 1024) /* with one more record still below 1 MiB */
enum { PART_ROWS = 20000 };

struct import {
    struct ctl *ctl;
    const char *file;
    char *header;
    size_t header_length;
    char *part;
    size_t length;
    int rows;
    bool sent;                     /* a part: the daemon has seen the header */
    int64_t first_line, next_line; /* of the part; the line after its last */
    json_int_t taken, same, bad;
};

static void say_bad(const struct import *import, int64_t line, const char *why) {
    ctl_progress("", -1.0);
    fprintf(stderr, "%s:%lld: %s\n", import->file, (long long)line, why);
}

/* ---- one part ---- */

static void begin_part(struct import *import) {
    memcpy(import->part, import->header, import->header_length);
    import->part[import->header_length] = '\n';
    import->length = import->header_length + 1;
    import->rows = 0;
}

static void add_counts(struct import *import, const json_t *answer) {
    const json_t *errors = json_object_get(answer, "errors"), *line;
    json_int_t bad = json_integer_value(json_object_get(answer, "bad"));
    size_t i;
    import->taken += json_integer_value(json_object_get(answer, "taken"));
    import->same += json_integer_value(json_object_get(answer, "same"));
    import->bad += bad;
    if (json_array_size(errors))
        ctl_progress("", -1.0);
    json_array_foreach(errors, i, line) {
        char *clean = ctl_text_clean(json_is_string(line) ? json_string_value(line) : "");
        fprintf(stderr, "%s\n", clean ? clean : "");
        free(clean);
    }
    if (bad > (json_int_t)json_array_size(errors))
        fprintf(stderr, "%s:%lld: and %lld more bad lines up to line %lld\n", import->file,
                (long long)import->first_line, (long long)bad - (long long)json_array_size(errors),
                (long long)import->next_line - 1);
}

static bool send_part(struct import *import) {
    char line[24];
    struct ctl_path path = ctl_path("/api/import");
    struct ctl_answer answer;
    if (import->rows == 0 && import->sent)
        return true;
    import->sent = true;
    snprintf(line, sizeof line, "%lld", (long long)import->first_line);
    ctl_path_query(&path, "file", import->file);
    ctl_path_query(&path, "line", line);
    const struct ctl_body body = {"text/csv", import->part, import->length};
    if (!ctl_request(import->ctl, path.text, &body, &answer))
        return false;
    json_t *counts = json_loadb(answer.body, answer.length, 0, NULL);
    add_counts(import, counts);
    json_decref(counts);
    free(answer.body);
    begin_part(import);
    return true;
}

/* Lines without a record (empty, too long, inside quotes) stay lines, up to a whole part of them.
 */
static bool pass_lines(struct import *import, int64_t line) {
    if (import->rows == 0)
        import->first_line = import->next_line = line;
    if ((size_t)(line - import->next_line) + import->length > PART_BYTES) {
        if (!send_part(import))
            return false;
        import->first_line = import->next_line = line;
    }
    for (; import->next_line < line; import->next_line++)
        import->part[import->length++] = '\n';
    return true;
}

static bool add_record(struct import *import, const struct csv_record *record) {
    if ((import->rows == PART_ROWS || import->length + record->length + 1 > PART_BYTES) &&
        !send_part(import))
        return false;
    if (!pass_lines(import, record->line))
        return false;
    char *to = import->part + import->length;
    memcpy(to, record->text, record->length);
    for (char *c = to; (c = memchr(c, '\n', (size_t)(to + record->length - c))) != NULL;)
        *c = ' ';
    to[record->length] = '\n';
    import->length += record->length + 1;
    import->rows++;
    import->next_line++;
    return true;
}

/* ---- the file ---- */

static bool read_header(struct import *import, struct csv_reader *reader) {
    struct csv_record record;
    enum csv_result result = csv_reader_next(reader, &record);
    if (result != CSV_RECORD) {
        ctl_error(import->ctl, CTL_FAILED, "%s:1: %s", import->file,
                  result == CSV_FAILED ? strerror(errno)
                                       : "is empty; its first line must name "
                                         "time,system,point,value,unit in any order");
        return false;
    }
    import->header = strndup(record.text, record.length);
    import->header_length = record.length;
    import->part = malloc(record.length + PART_BYTES + CSV_RECORD_MAX + 2);
    if (!import->header || !import->part)
        return false;
    begin_part(import);
    return true;
}

static bool read_rows(struct import *import, struct csv_reader *reader) {
    struct csv_record record;
    for (uint64_t records = 1;; records++) {
        enum csv_result result = csv_reader_next(reader, &record);
        if (result == CSV_END)
            return send_part(import);
        if (result == CSV_FAILED) {
            ctl_error(import->ctl, CTL_FAILED, "%s: %s", import->file, strerror(errno));
            return false;
        }
        if (result == CSV_TOO_LONG) {
            import->bad++;
            say_bad(import, record.line, "the line is longer than 64 KiB");
        } else if (!add_record(import, &record)) {
            return false;
        }
        if (records % 4096 == 0 && csv_reader_done(reader) >= 0.0)
            ctl_progress("importing", csv_reader_done(reader));
    }
}

static void print_totals(const struct import *import) {
    ctl_progress("", -1.0);
    if (import->ctl->json)
        printf("{\"taken\":%lld,\"same\":%lld,\"bad\":%lld}\n", (long long)import->taken,
               (long long)import->same, (long long)import->bad);
    else
        printf("%lld readings taken, %lld already known, %lld bad lines\n",
               (long long)import->taken, (long long)import->same, (long long)import->bad);
}

static enum ctl_status import_file(struct ctl *ctl, int argc, char **argv) {
    struct ctl_arguments arguments = {.least = 1, .most = 1};
    if (!ctl_arguments(ctl, argc, argv, &arguments))
        return arguments.status;
    struct import import = {.ctl = ctl, .file = arguments.operands[0]};
    struct csv_reader *reader = csv_reader_open(import.file);
    if (!reader)
        return ctl_error(ctl, CTL_FAILED, "%s: %s", import.file, strerror(errno));
    bool good = read_header(&import, reader) && read_rows(&import, reader);
    if (import.part)
        print_totals(&import);
    csv_reader_close(reader);
    free(import.header);
    free(import.part);
    return good && import.bad == 0 ? CTL_DONE : CTL_FAILED;
}

const struct ctl_command ctl_series_commands[] = {
    {"import", "FILE.csv", "readings from a CSV file",
     "The first line names the columns time,system,point,value,unit in any order; more are "
     "ignored. Times are RFC 3339; an empty unit is the point's own. \"-\" reads standard input. "
     "Bad lines are told as FILE:LINE and do not stop the rest. What was imported before is not "
     "taken twice. History is judged at its own time; nobody is told of what is over.",
     import_file},
    {"export", "SYSTEM[/POINT] [--from T] [--to T] [--as csv|senml]", "readings to standard output",
     "T is RFC 3339 or a date. csv has the columns time,system,point,value,unit that import reads; "
     "senml is RFC 8428. Values are SI.",
     ctl_export},
    {0},
};
