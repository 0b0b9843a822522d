/*
 * import: rows of CSV to the daemon in parts that it can commit one by one.
 *
 * Rows go out by system, for files are mostly by time: what lies together in the store is written
 * together, and a fleet of ten thousand systems costs no more a row than one of ten. So a part has
 * a column of its own for the line of the file that a row came from.
 */
#include "host/csv_reader.h"
#include "measure/array.h"
#include "measure/hash.h"
#include "tool/ctl_client.h"
#include "tool/export.h"
#include "tool/text.h"
#include "tool/values.h"
#include "tool/words.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#define PART_BYTES ((size_t)960 * 1024) /* with one more record still below 1 MiB */
#define HELD_BYTES ((size_t)128 * 1024 * 1024)
enum { PART_ROWS = 8000, FIELDS_MAX = 64 }; /* a part is one turn of the daemon's loop */
static const char line_column[] = "line,";

/* One record of those that are held back to be put in order. */
struct held_row {
    uint64_t system; /* a hash: rows of a system stand together */
    int64_t line;
    size_t at, length; /* in the text */
};

struct import {
    struct ctl *ctl;
    const char *file;
    char *header;
    size_t system_column;
    char *text; /* HELD_BYTES and a record; */
    size_t text_length;
    struct held_row *rows; /* the records in it */
    size_t row_count;
    char *part;
    size_t length;
    int part_rows;
    double done_before, done; /* shares of the file: when it was last sent, and read by now */
    bool sent;                /* a part: the daemon has seen the header */
    json_t *errors;           /* of the rows that are held */
    json_int_t errors_left_out;
    json_int_t taken, same, bad;
};

/* ---- what was wrong with rows, in the order of the file ---- */

static long long line_of(const char *error) {
    const char *colon = strstr(error, ": ");
    while (colon && colon > error && colon[-1] >= '0' && colon[-1] <= '9')
        colon--;
    return colon ? strtoll(colon, NULL, 10) : 0;
}

static int by_line_told(const void *a, const void *b) {
    long long x = line_of(json_string_value(*(json_t *const *)a));
    long long y = line_of(json_string_value(*(json_t *const *)b));
    return (x > y) - (x < y);
}

static void print_errors(struct import *import) {
    size_t count = json_array_size(import->errors);
    json_t **lines = calloc(count + 1, sizeof(json_t *));
    for (size_t i = 0; lines && i < count; i++)
        lines[i] = json_array_get(import->errors, i);
    if (lines)
        qsort(lines, count, sizeof(json_t *), by_line_told);
    if (count)
        ctl_progress("", -1.0);
    for (size_t i = 0; lines && i < count; i++)
        ctl_text_put(stderr, json_string_value(lines[i]));
    if (import->errors_left_out)
        fprintf(stderr, "%s: and %lld more bad lines\n", import->file,
                (long long)import->errors_left_out);
    free(lines);
    json_array_clear(import->errors);
    import->errors_left_out = 0;
}

static void note_bad(struct import *import, int64_t line, const char *why) {
    char *text = NULL;
    import->bad++;
    if (asprintf(&text, "%s:%lld: %s", import->file, (long long)line, why) < 0)
        return;
    json_array_append_new(import->errors, json_string(text));
    free(text);
}

static void add_counts(struct import *import, const json_t *answer) {
    json_t *errors = json_object_get(answer, "errors"), *line;
    json_int_t bad = ctl_whole_of(answer, "bad");
    size_t i;
    import->taken += ctl_whole_of(answer, "taken");
    import->same += ctl_whole_of(answer, "same");
    import->bad += bad;
    json_array_foreach(errors, i, line) {
        if (json_is_string(line))
            json_array_append(import->errors, line);
    }
    import->errors_left_out += bad - (json_int_t)json_array_size(errors);
}

/* ---- one part ---- */

static void begin_part(struct import *import) {
    import->length = (size_t)sprintf(import->part, "%s%s\n", line_column, import->header);
    import->part_rows = 0;
}

static bool send_part(struct import *import) {
    struct ctl_path path = ctl_path("/api/import");
    struct ctl_answer answer;
    if (import->part_rows == 0 && import->sent)
        return true;
    import->sent = true;
    ctl_path_query(&path, "file", import->file);
    const struct ctl_body body = {"text/csv", import->part, import->length};
    if (!ctl_request(import->ctl, path.text, &body, &answer))
        return false;
    json_t *counts = ctl_json_of(&answer);
    add_counts(import, counts);
    json_decref(counts);
    begin_part(import);
    return true;
}

static bool add_to_part(struct import *import, const struct held_row *row) {
    if ((import->part_rows == PART_ROWS || import->length + row->length + 24 > PART_BYTES) &&
        !send_part(import))
        return false;
    char *to = import->part + import->length;
    to += sprintf(to, "%lld,", (long long)row->line);
    memcpy(to, import->text + row->at, row->length);
    for (char *c = to; (c = memchr(c, '\n', (size_t)(to + row->length - c))) != NULL;)
        *c = ' ';
    to[row->length] = '\n';
    import->length = (size_t)(to + row->length + 1 - import->part);
    import->part_rows++;
    return true;
}

/* ---- rows that are held ---- */

static int by_system(const void *a, const void *b) {
    const struct held_row *x = a, *y = b;
    if (x->system != y->system)
        return x->system < y->system ? -1 : 1;
    return (x->line > y->line) - (x->line < y->line);
}

static bool send_held(struct import *import) {
    bool good = true;
    if (import->row_count)
        qsort(import->rows, import->row_count, sizeof *import->rows, by_system);
    for (size_t i = 0; good && i < import->row_count; i++) {
        good = add_to_part(import, &import->rows[i]);
        if (i % PART_ROWS == 0 && import->done > 0.0)
            ctl_progress("importing", import->done_before + (import->done - import->done_before) *
                                                                (double)i /
                                                                (double)import->row_count);
    }
    import->done_before = import->done;
    good = good && send_part(import);
    import->row_count = import->text_length = 0;
    print_errors(import);
    return good;
}

/* Splitting writes into the text, so it works on a copy. */
static uint64_t system_of(const struct import *import, const struct csv_record *record) {
    static char copy[CSV_RECORD_MAX + 1];
    struct csv_field fields[FIELDS_MAX];
    memcpy(copy, record->text, record->length);
    size_t count = csv_split(copy, record->length, fields, import->system_column + 1);
    if (count == CSV_BAD_QUOTES || count <= import->system_column)
        return 0;
    return hash_bytes(HASH_START, fields[import->system_column].text,
                      fields[import->system_column].length);
}

static bool hold(struct import *import, const struct csv_record *record) {
    if (import->text_length + record->length > HELD_BYTES && !send_held(import))
        return false;
    struct held_row *rows = array_room(import->rows, import->row_count, sizeof *rows);
    if (!rows) {
        ctl_error(import->ctl, CTL_FAILED, "out of memory");
        return false;
    }
    import->rows = rows;
    rows[import->row_count++] = (struct held_row){system_of(import, record), record->line,
                                                  import->text_length, record->length};
    memcpy(import->text + import->text_length, record->text, record->length);
    import->text_length += record->length;
    return true;
}

/* ---- the file ---- */

/* Whether all columns are there is the daemon's to say; without the system's, rows keep their
 * order. */
static size_t column_of_system(const char *header) {
    struct csv_field fields[FIELDS_MAX];
    char *copy = strdup(header);
    size_t count = copy ? csv_split(copy, strlen(copy), fields, FIELDS_MAX) : 0, f = 0;
    if (count == CSV_BAD_QUOTES)
        count = 0;
    while (f < count && !(fields[f].length == 6 && strncasecmp(fields[f].text, "system", 6) == 0))
        f++;
    free(copy);
    return f < count ? f : FIELDS_MAX - 1;
}

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
    import->part = malloc(sizeof line_column + record.length + PART_BYTES + CSV_RECORD_MAX + 32);
    import->text = malloc(HELD_BYTES + CSV_RECORD_MAX);
    import->errors = json_array();
    if (!import->header || !import->part || !import->text || !import->errors) {
        ctl_error(import->ctl, CTL_FAILED, "out of memory");
        return false;
    }
    import->system_column = column_of_system(import->header);
    begin_part(import);
    return true;
}

static bool read_rows(struct import *import, struct csv_reader *reader) {
    struct csv_record record;
    for (uint64_t records = 1;; records++) {
        enum csv_result result = csv_reader_next(reader, &record);
        import->done = csv_reader_done(reader);
        if (result == CSV_END)
            return send_held(import);
        if (result == CSV_FAILED) {
            ctl_error(import->ctl, CTL_FAILED, "%s: %s", import->file, strerror(errno));
            return false;
        }
        if (result == CSV_TOO_LONG)
            note_bad(import, record.line, "the line is longer than 64 KiB");
        else if (!hold(import, &record))
            return false;
    }
}

static void print_totals(const struct import *import) {
    ctl_progress("", -1.0);
    if (import->ctl->json)
        printf("{\"taken\":%lld,\"same\":%lld,\"bad\":%lld}\n", (long long)import->taken,
               (long long)import->same, (long long)import->bad);
    else
        ctl_tell(import->ctl, PAGE_TOOL_IMPORTED, CTL_COUNT(import->taken), CTL_COUNT(import->same),
                 CTL_COUNT(import->bad), NULL);
}

static enum ctl_status import_file(struct ctl *ctl, const struct ctl_arguments *given) {
    struct import import = {.ctl = ctl, .file = given->operands[0]};
    struct csv_reader *reader = csv_reader_open(import.file);
    if (!reader)
        return ctl_error(ctl, CTL_FAILED, "%s: %s", import.file, strerror(errno));
    bool good = read_header(&import, reader) && read_rows(&import, reader);
    if (import.errors)
        print_totals(&import);
    csv_reader_close(reader);
    json_decref(import.errors);
    free(import.rows);
    free(import.text);
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
