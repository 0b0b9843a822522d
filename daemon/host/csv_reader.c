#include "host/csv_reader.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define BUFFER_BYTES ((size_t)1 << 20)

struct csv_reader {
    int file;
    char *buffer;
    size_t begin, end; /* what is read and not yet handed out */
    int64_t line;      /* of `begin` */
    int64_t read_bytes, all_bytes;
    bool at_end, started;
};

struct csv_reader *csv_reader_open(const char *path) {
    struct stat about;
    struct csv_reader *reader = calloc(1, sizeof *reader);
    if (!reader)
        return NULL;
    reader->line = 1;
    reader->file = strcmp(path, "-") == 0 ? dup(STDIN_FILENO) : open(path, O_RDONLY | O_CLOEXEC);
    reader->buffer = malloc(BUFFER_BYTES);
    if (reader->file >= 0 && reader->buffer && fstat(reader->file, &about) == 0) {
        if (!S_ISDIR(about.st_mode)) {
            reader->all_bytes = S_ISREG(about.st_mode) ? about.st_size : 0;
            return reader;
        }
        errno = EISDIR;
    }
    int reason = errno;
    csv_reader_close(reader);
    errno = reason;
    return NULL;
}

void csv_reader_close(struct csv_reader *reader) {
    if (!reader)
        return;
    if (reader->file >= 0)
        close(reader->file);
    free(reader->buffer);
    free(reader);
}

double csv_reader_done(const struct csv_reader *reader) {
    if (reader->all_bytes <= 0)
        return -1.0;
    int64_t handed_out = reader->read_bytes - (int64_t)(reader->end - reader->begin);
    return (double)handed_out / (double)reader->all_bytes;
}

/* Makes room and reads on; false on an error. */
static bool fill(struct csv_reader *reader) {
    memmove(reader->buffer, reader->buffer + reader->begin, reader->end - reader->begin);
    reader->end -= reader->begin;
    reader->begin = 0;
    while (reader->end < BUFFER_BYTES && !reader->at_end) {
        ssize_t got = read(reader->file, reader->buffer + reader->end, BUFFER_BYTES - reader->end);
        if (got < 0 && errno == EINTR)
            continue;
        if (got < 0)
            return false;
        reader->at_end = got == 0;
        reader->end += (size_t)got;
        reader->read_bytes += got;
    }
    return true;
}

static void pass_mark(struct csv_reader *reader) {
    reader->started = true;
    if (reader->end >= 3 && memcmp(reader->buffer, "\xEF\xBB\xBF", 3) == 0)
        reader->begin = 3;
}

/* The same for a record with quotes: a line break inside a quoted field does not end it. */
static char *quoted_record_end(char *text, char *end, char *first_break) {
    bool open = false, field_starts = true;
    for (char *c = text; c < end; c++) {
        if (*c == '\n' && !open)
            return c;
        if ((size_t)(c - text) > CSV_RECORD_MAX)
            return first_break; /* never closed: the line alone is bad */
        if (*c == '"' && (open || field_starts || c[-1] == '"'))
            open = !open; /* a doubled quote closes and opens again */
        field_starts = !open && *c == ',';
    }
    return NULL;
}

/* End of the record that begins at `text`: its line break, or NULL when it is not complete. */
static char *record_end(char *text, char *end) {
    char *line_break = memchr(text, '\n', (size_t)(end - text));
    if (!line_break || !memchr(text, '"', (size_t)(line_break - text)))
        return line_break;
    return quoted_record_end(text, end, line_break);
}

/* At the end of the file: the rest, or its first line when a quote was never closed. */
static char *last_record_end(char *text, char *end) {
    char *line_break = memchr(text, '\n', (size_t)(end - text));
    return line_break ? line_break : end;
}

static int64_t line_breaks(const char *text, const char *end) {
    int64_t count = 0;
    while ((text = memchr(text, '\n', (size_t)(end - text))) != NULL) {
        count++;
        text++;
    }
    return count;
}

/* A line that does not fit into memory: read on until it ends. */
static enum csv_result pass_long_line(struct csv_reader *reader, struct csv_record *record) {
    record->line = reader->line;
    for (;;) {
        char *text = reader->buffer + reader->begin;
        char *line_break = memchr(text, '\n', reader->end - reader->begin);
        if (line_break) {
            reader->begin = (size_t)(line_break + 1 - reader->buffer);
            reader->line++;
            return CSV_TOO_LONG;
        }
        reader->begin = reader->end;
        if (reader->at_end)
            return CSV_TOO_LONG;
        if (!fill(reader))
            return CSV_FAILED;
    }
}

/* Takes one record, also an empty one. */
static enum csv_result take(struct csv_reader *reader, struct csv_record *record) {
    char *text = reader->buffer + reader->begin, *end = reader->buffer + reader->end;
    char *stop = record_end(text, end);
    if (!stop && !reader->at_end) {
        if (!fill(reader))
            return CSV_FAILED;
        if (!reader->started)
            pass_mark(reader);
        text = reader->buffer + reader->begin;
        end = reader->buffer + reader->end;
        stop = record_end(text, end);
        if (!stop && !reader->at_end)
            return pass_long_line(reader, record);
    }
    if (text == end)
        return CSV_END;
    if (!stop)
        stop = last_record_end(text, end);
    *record = (struct csv_record){text, (size_t)(stop - text), reader->line};
    reader->begin = (size_t)(stop - reader->buffer) + (stop < end);
    reader->line += 1 + (memchr(text, '"', record->length) ? line_breaks(text, stop) : 0);
    if (record->length > 0 && text[record->length - 1] == '\r')
        record->length--;
    return record->length > CSV_RECORD_MAX ? CSV_TOO_LONG : CSV_RECORD;
}

enum csv_result csv_reader_next(struct csv_reader *reader, struct csv_record *record) {
    enum csv_result result = CSV_RECORD;
    do
        result = take(reader, record);
    while (result == CSV_RECORD && record->length == 0);
    return result;
}

/* ---- fields ---- */

static bool is_blank(char c) {
    return c == ' ' || c == '\t';
}

/* Unquotes in place from behind the opening quote; NULL when it is never closed. */
static char *unquote(char *text, char *end, struct csv_field *field) {
    char *to = text, *from = text;
    for (; from < end; from++) {
        if (*from == '"' && (from + 1 == end || from[1] != '"'))
            break;
        from += *from == '"';
        *to++ = *from;
    }
    if (from >= end)
        return NULL;
    *field = (struct csv_field){text, (size_t)(to - text)};
    return from + 1;
}

size_t csv_split(char *text, size_t length, struct csv_field *fields, size_t capacity) {
    char *end = text + length;
    size_t count = 0;
    while (count < capacity) {
        while (text < end && is_blank(*text))
            text++;
        if (text < end && *text == '"') {
            text = unquote(text + 1, end, &fields[count]);
            if (!text)
                return CSV_BAD_QUOTES;
            while (text < end && is_blank(*text))
                text++;
            if (text < end && *text != ',')
                return CSV_BAD_QUOTES;
        } else {
            char *begin = text;
            while (text < end && *text != ',')
                text++;
            char *stop = text;
            while (stop > begin && is_blank(stop[-1]))
                stop--;
            fields[count] = (struct csv_field){begin, (size_t)(stop - begin)};
        }
        count++;
        if (text >= end)
            break;
        text++;
    }
    return count;
}
