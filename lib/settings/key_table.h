/*
 * key_table: maps of a settings file read by tables.
 *
 * A table has one row per key: what kind of value it takes, where it goes, its range, its default.
 * key_map_read walks it, so that every key is checked the same way and every error has the same
 * form: "FILE:LINE: key: what is wrong; allowed: what is allowed". The default of a row is written
 * as a person would write it and read by the same code. Errors are gathered in the reader and
 * handed over sorted by line. Pure.
 */
#ifndef SETTINGS_KEY_TABLE_H
#define SETTINGS_KEY_TABLE_H

#include "complaints.h"
#include "measure/arena.h"
#include "measure/unit.h"
#include "settings/error_list.h"
#include "settings/yaml_tree.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define KEY_ERRORS_MAX 200 /* of one file; more are only counted */

struct key_error_line;

/** One file being read. Zero it but for file, errors and, at will, context. */
struct key_reader {
    const char *file;
    struct settings_errors *errors;
    const void *context; /* for the read functions of rows */
    struct arena memory; /* of all that is read */
    struct key_error_line *lines;
    size_t line_count, error_count;
};

/**
 * A value in its place: what is read, and what errors about it name, "a.b[c].d". A chain of frames
 * on the stack, outermost last; zero but for reader, node and line it is the document itself.
 */
struct key_at {
    struct key_reader *reader;
    const struct key_at *up; /* what it stands in; NULL: nothing */
    const char *name;        /* a key, or NULL: in brackets the index */
    bool in_brackets;
    size_t index; /* shown from 1 */
    int line;     /* of the value; where it is not given, of what it should stand in */
    int key_line; /* of its key */
    const struct yaml_tree_node *node; /* NULL: not given */
};

/** The value of a key of a map, given or not. */
struct key_at key_child(const struct key_at *at, const char *key);
/** The n-th value of a map, named by its key, or of a list. */
struct key_at key_item(const struct key_at *at, size_t n);
/** The n-th value of a list of words, named as the list is. */
struct key_at key_one_of(const struct key_at *at, size_t n);
/** The n-th value of a list of maps, named by its `id` where it has a good one. */
struct key_at key_item_with_id(const struct key_at *at, size_t n);

/** Adds one error. The text is cleaned of control characters, so it is safe in a log. */
void key_error(const struct key_at *at, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
/** The same about the key itself, which may stand in a line above its value. */
void key_refuse(const struct key_at *at, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
/** The one error that has no place. */
void key_no_memory(struct key_reader *reader);

enum key_kind {
    KEY_TEXT,      /* char *, checked by `check` */
    KEY_INTEGER,   /* int */
    KEY_UINT32,    /* uint32_t */
    KEY_SWITCH,    /* bool: yes, no, true, false, on, off */
    KEY_SPAN,      /* int64_t ms; "none" is 0 where lowest is 0 */
    KEY_SPAN_S,    /* int, whole seconds, from a span */
    KEY_VALUE,     /* double SI of `dimension` */
    KEY_NUMBER,    /* double */
    KEY_FRACTION,  /* double: "0.1" or "10 %" */
    KEY_WORD,      /* int: the value of one of `words` */
    KEY_WORD_TEXT, /* char *: one of `words` */
    KEY_DAY,       /* int64_t days since 1970, from a date */
    KEY_MAP,       /* a map by a table of its own, into the same target */
    KEY_PART       /* whatever `read` makes of it */
};

struct key_word {
    const char *word; /* NULL ends the list */
    int value;
};

/**
 * Reads a part into `field`, which is the target of its table where the row has no offset. at->node
 * is NULL when the key is not given and the row has a default: then it sets the defaults of its
 * inside.
 */
typedef void key_read_function(const struct key_at *at, void *field);

struct key_row {
    const char *key;
    size_t offset;          /* of the field in the target */
    size_t line_offset;     /* of an int for the line of the key; 0: nobody asks */
    const char *otherwise;  /* the default as written; NULL: the field stays as it is */
    const char *what;       /* "a port": completes "70000 is not …" */
    const char *allowed;    /* completes "; allowed: …" */
    double lowest, highest; /* numbers, inclusive, as stored */
    const struct key_word *words;
    const char *(*check)(const char *text); /* as in checked_text.h */
    key_read_function *read;
    const struct key_row *rows; /* of a KEY_MAP */
    size_t row_count;
    enum key_kind kind;
    enum dimension dimension;
    bool required; /* missing is an error */
    bool secret;   /* never repeat the value in an error */
};

/* What a row takes, behind its key: {.key = "port", KEY_RANGE_AT(…), .otherwise = "1883"}. `at` is
   the offset of the field. */
#define KEY_TEXT_AT(at, checked_by, what_may)                                                      \
    .kind = KEY_TEXT, .offset = (at), .check = (checked_by), .allowed = (what_may)
/* A file, and the line that names it. */
#define KEY_FILE_AT(at, line_at)                                                                   \
    KEY_TEXT_AT(at, checked_text_file_name, "a file name"), .line_offset = (line_at)
#define KEY_WORD_AT(at, one_of, what_it_is, what_may)                                              \
    .kind = KEY_WORD, .offset = (at), .words = (one_of), .what = (what_it_is), .allowed = (what_may)
#define KEY_SWITCH_AT(at)                                                                          \
    .kind = KEY_SWITCH, .offset = (at), .what = "a switch", .allowed = "yes or no"
#define KEY_DAY_AT(at, what_may)                                                                   \
    .kind = KEY_DAY, .offset = (at), .what = SAY_A_DATE, .allowed = (what_may)
#define KEY_RANGE_AT(number_kind, at, from, to, what_it_is, what_may)                              \
    .kind = (number_kind), .offset = (at), .lowest = (double)(from), .highest = (double)(to),      \
    .what = (what_it_is), .allowed = (what_may)

#define KEY_PART_AT(at, read_by) .kind = KEY_PART, .offset = (at), .read = (read_by)
#define KEY_MAP_BY(table)                                                                          \
    .kind = KEY_MAP, .rows = (table), .row_count = sizeof(table) / sizeof((table)[0])

/**
 * Reads a map by its table, in the order of the table. at->node NULL: only defaults. Unknown keys
 * name the nearest known key. The target's text fields must be NULL before.
 */
void key_map_read(const struct key_at *at, const struct key_row *rows, size_t count, void *target);
/**
 * Reads a whole file into a zeroed struct of so many bytes, whose first member is the arena of all
 * that it holds, itself included. NULL after any error; all of them stand in reader->errors then,
 * sorted by line.
 */
void *key_read_file(struct key_reader *reader, const char *text, size_t length, size_t size,
                    key_read_function *read);
/** A table and how many rows it has, as that takes them. */
#define KEY_ROWS(rows) (rows), sizeof(rows) / sizeof((rows)[0])

/** A text of a file as an error shows it: cut at a whole UTF-8 character. Returns what it holds:
    key_show(&(struct key_shown){""}, text). */
#define KEY_SHOWN_BYTES 60
struct key_shown {
    char text[KEY_SHOWN_BYTES + 8];
};
const char *key_show(struct key_shown *shown, const char *text);

/** The text of a scalar that has one, else NULL after an error. */
const char *key_scalar(const struct key_at *at, const char *allowed);

/** True when the value is of that kind, else false after an error. */
bool key_is(const struct key_at *at, enum yaml_tree_kind kind, const char *allowed);

/** A list of checked texts, at least one. */
void key_text_list(const struct key_at *at, const char *(*check)(const char *text),
                   const char *allowed, char ***list, size_t *count);

/** Zeroed room for the items of a list of `things`, 1 to `most` of them; NULL after an error. */
void *key_list_room(const struct key_at *at, const char *things, size_t most, size_t size);

/** In the reader's memory, a copy of a text; NULL after an error when memory is short. */
char *key_copy(const struct key_at *at, const char *text);
/** The same with zeroed memory for items; not NULL for none. */
void *key_allocate(const struct key_at *at, size_t count, size_t size);

/** "70 %" gives 0.70; false when it isn't a number with a percent sign. */
bool key_percent_parse(const char *text, double *fraction);
/** A number and nothing else but blanks. */
bool key_number_parse(const char *text, double *number);

/** yes, no, true, false, on, off, whatever their case. */
bool key_switch_parse(const char *text, bool *on);

/** How many letters to change, add or drop (Levenshtein distance); a word has at most 64 bytes. */
size_t key_distance(const char *wrong, const char *word);
/** The word of `words` nearest to `wrong` (Levenshtein distance), or NULL when none is near. */
const char *key_nearest(const char *wrong, const char *const *words, size_t count);
/** The words as a list in an error, "low, lost, high", cut where there is no room. Returns `text`.
 */
char *key_join(char *text, size_t size, const char *const *words, size_t count);
/** `did you mean "fan"? `, of the nearest word, or "". */
struct key_hint {
    char text[80];
};
struct key_hint key_hint(const char *wrong, const char *const *words, size_t count);
/** Refuses a key that is none of `words`: "unknown condition; did you mean …", and which there are.
 */
void key_refuse_unknown(const struct key_at *at, const char *thing, const char *const *words,
                        size_t count);

#endif
