/*
 * csv_reader: the records of a CSV file (RFC 4180) one after the other, read in large pieces.
 *
 * A line break inside quotes belongs to the record; a quote that is never closed spoils only the
 * line it stands in. Lines end in LF or CRLF, a byte order mark at the start is passed over, empty
 * lines are no records.
 */
#ifndef DAEMON_HOST_CSV_READER_H
#define DAEMON_HOST_CSV_READER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define CSV_RECORD_MAX ((size_t)64 * 1024)

struct csv_reader;

struct csv_record {
    char *text;    /* within the reader's memory, valid until the next call; may be written to */
    size_t length; /* without the line ending */
    int64_t line;  /* of the file, from 1, where the record begins */
};

enum csv_result {
    CSV_RECORD,
    CSV_END,
    CSV_TOO_LONG, /* the record (its line is told) is longer than CSV_RECORD_MAX; passed over */
    CSV_FAILED    /* the file can't be read on: errno */
};

/** Opens a file, "-" for standard input. NULL with errno. */
struct csv_reader *csv_reader_open(const char *path);
void csv_reader_close(struct csv_reader *reader); /* NULL does nothing */
enum csv_result csv_reader_next(struct csv_reader *reader, struct csv_record *record);
/** Share of the file that has been read, 0 to 1; -1 when its length is not known. */
double csv_reader_done(const struct csv_reader *reader);

struct csv_field {
    const char *text;
    size_t length;
};

#define CSV_BAD_QUOTES SIZE_MAX
/**
 * Splits a record into at most `capacity` fields (what follows is left unread); quoted fields are
 * unquoted in place, blanks around others are left out. Returns how many, or CSV_BAD_QUOTES.
 */
size_t csv_split(char *text, size_t length, struct csv_field *fields, size_t capacity);

#endif
