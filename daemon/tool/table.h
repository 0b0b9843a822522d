/*
 * ctl_table: a table for people, as wide as their terminal. Columns are as wide as they need to be;
 * when that is too much the widest give way and their texts go on below, so nothing is cut off.
 * What is to be kept whole is never broken: where it finds no room the rows have several lines.
 */
#ifndef DAEMON_TOOL_TABLE_H
#define DAEMON_TOOL_TABLE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

#define CTL_TABLE_COLUMNS_MAX 12

struct ctl_column {
    const char *title;
    bool right;                                                     /* numbers */
    enum { CTL_KEEP_NOTHING, CTL_KEEP_WORDS, CTL_KEEP_WHOLE } keep; /* on one line */
};

struct ctl_table;

/** Columns are borrowed, at most CTL_TABLE_COLUMNS_MAX. NULL when out of memory. */
struct ctl_table *ctl_table_create(const struct ctl_column *columns, size_t count);
void ctl_table_destroy(struct ctl_table *table); /* NULL does nothing */

/** Adds the next cell, row by row; made safe to print. NULL: "". False when out of memory. */
bool ctl_table_add(struct ctl_table *table, const char *text);
/** The same, kept on one line where the column breaks texts at blanks: a state, a date. */
bool ctl_table_add_whole(struct ctl_table *table, const char *text);
bool ctl_table_add_number(struct ctl_table *table, long long number);

/** Prints titles and rows; a row that is not complete is filled up. */
void ctl_table_print(const struct ctl_table *table, FILE *to);

#endif
