/*
 * usage: what the usage of a command ("ALARM --by NAME [--note TEXT]") allows. The table of the
 * commands (ctl.h) says it once; arguments, help, errors and completion go by it.
 */
#ifndef DAEMON_TOOL_USAGE_H
#define DAEMON_TOOL_USAGE_H

#include <stdbool.h>
#include <stddef.h>

enum { USAGE_WORD_SIZE = 32, USAGE_ITEMS_MAX = 48 };

enum usage_role { USAGE_OPTION, USAGE_VALUE, USAGE_OPERAND };

/** A word of a usage: "--by", or what stands for a value or an argument: "NAME", "csv|senml". */
struct usage_item {
    enum usage_role role;
    char word[USAGE_WORD_SIZE];
    char option[USAGE_WORD_SIZE]; /* of a value: the option it is for */
    int place;                    /* of a value or an operand: the how manieth, from 0 */
    int way;                      /* of several ways to use the command, from 0 */
    bool needed;                  /* outside of brackets */
    bool repeats;                 /* "…" behind it */
};

/** All items in order; alternatives ("A | B") have the same place. Returns how many. */
size_t usage_read(const char *usage, struct usage_item items[USAGE_ITEMS_MAX]);

/** How many values an option of it takes; -1: it has no such option. */
int usage_values(const struct usage_item *items, size_t count, const char *option);
/** How many operands it needs and how many it takes, in the way that needs fewest or takes most. */
void usage_operands(const struct usage_item *items, size_t count, int *least, int *most);

#endif
