/*
 * ctl_show: the page about one system, for a person in front of a terminal.
 */
#ifndef DAEMON_TOOL_SHOW_H
#define DAEMON_TOOL_SHOW_H

#include "tool/ctl.h"
#include "words/page_text_names.h"

#include <jansson.h>
#include <stdio.h>

struct text_buffer;

#define CTL_SHOW_LINES 60

/** Prints a show object in CTL_SHOW_LINES lines at most: what is wrong and what to do first. */
void ctl_show_brief(const struct ctl *ctl, const json_t *system);
/** Prints all of it. */
void ctl_show_full(const struct ctl *ctl, const json_t *system);

/** Name, address, status, out of service. */
void ctl_show_head(FILE *to, const struct ctl *ctl, const json_t *system);
/**
 * What is wrong: open alarms by their likely cause, each cause once with its evidence, what to
 * check and to bring, at most `most` of each list, and with what it explains besides.
 */
void ctl_show_wrong(FILE *to, const struct ctl *ctl, const json_t *system, size_t most);
/** One visit: when and why; with `lists` also what to check and to bring. */
void ctl_show_visit(FILE *to, const struct ctl *ctl, const json_t *visit, bool lists);
/** A ratio to commissioning: its value with its interval, or why there is none. */
void ctl_show_ratio(FILE *to, const struct ctl *ctl, const json_t *object, const char *key,
                    enum page_text title, enum page_text meaning);
/** That a point sends too often, where it does. */
void ctl_show_busy(FILE *to, const struct ctl *ctl, const json_t *point, const char *indent);
/** What the readings of a radon point say of a year; nothing for another point. */
void ctl_show_year(FILE *to, const struct ctl *ctl, const json_t *point);
/** Last visit, last radon test. */
void ctl_show_past(FILE *to, const struct ctl *ctl, const json_t *system);
/** The visits, radon tests and reports of the household there have been, all of them. */
void ctl_show_history(const struct ctl *ctl, const json_t *system);
/** A further part of a line with its label; nothing for an empty one. */
void ctl_add_part(const struct ctl *ctl, struct text_buffer *line, enum page_text text,
                  const char *value);
/** What the monitors read in the days of a test: "1.2 pCi/L agrees". Returns text. */
char *ctl_test_monitors(char *text, size_t size, const struct ctl *ctl, const json_t *test);

#endif
