#include "scenario_script.h"

#include "measure/duration.h"
#include "measure/timestamp.h"
#include "test_support.h"

#include <ctype.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void script_open(struct script *script, const char *file, const char *text) {
    *script = (struct script){.file = file, .text = strdup(text)};
    script->rest = script->text;
    script->next_line = 1;
}

void script_close(struct script *script) {
    free(script->text);
    free(script->block);
}

void script_fail(const struct script *script, const char *format, ...) {
    char text[4000];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    ck_abort_msg("%s:%d: %s", script->file, script->line, text);
    abort();
}

/* ---- lines ---- */

static char *next_line(struct script *script) {
    char *line = script->rest;
    if (!line || !*line)
        return NULL;
    char *end = strchr(line, '\n');
    script->rest = end ? end + 1 : NULL;
    if (end)
        *end = '\0';
    script->next_line++;
    return line;
}

static void split(struct script *script, char *line) {
    script->count = script->at = 0;
    while (*line && script->count < SCRIPT_WORDS) {
        line += strspn(line, " \t");
        if (!*line || *line == '#')
            return;
        bool quoted = *line == '"' || *line == '\'';
        const char quote[] = {*line, '\0'};
        char *word = line + quoted, *end = word + strcspn(word, quoted ? quote : " \t");
        script->words[script->count++] = word;
        line = *end ? end + 1 : end;
        *end = '\0';
    }
}

/* Lines deeper than the command; a blank line inside belongs to it. */
static void read_block(struct script *script) {
    size_t size = 0, indent = 0;
    FILE *block = open_memstream(&script->block, &size);
    while (script->rest && (*script->rest == ' ' || *script->rest == '\n')) {
        char *line = next_line(script);
        size_t depth = strspn(line, " ");
        if (indent == 0 && line[depth])
            indent = depth;
        fprintf(block, "%s\n", depth >= indent ? line + indent : "");
    }
    fclose(block);
}

bool script_next(struct script *script) {
    free(script->block);
    script->block = NULL;
    for (char *line; (line = next_line(script));) {
        script->line = script->next_line - 1;
        split(script, line);
        if (script->count == 0)
            continue;
        char *last = script->words[script->count - 1];
        size_t length = strlen(last);
        if (length && last[length - 1] == ':') {
            last[length - 1] = '\0';
            read_block(script);
        }
        return true;
    }
    return false;
}

/* ---- words ---- */

bool script_more(const struct script *script) {
    return script->at < script->count;
}

const char *script_word(struct script *script, const char *what) {
    if (!script_more(script))
        script_fail(script, "%s is missing", what);
    return script->words[script->at++];
}

bool script_accept(struct script *script, const char *word) {
    if (!script_more(script) || strcmp(script->words[script->at], word) != 0)
        return false;
    script->at++;
    return true;
}

double script_number(struct script *script, const char *what) {
    char *end = NULL;
    const char *word = script_word(script, what);
    double number = strtod(word, &end);
    if (end == word || (*end && strcmp(end, ",") != 0))
        script_fail(script, "\"%s\" is no number for %s", word, what);
    return number;
}

/* The longest run of words that makes a span. */
int64_t script_span(struct script *script, const char *what) {
    char text[200] = "";
    int64_t span_ms = -1, longer_ms;
    size_t end = script->at;
    for (size_t i = script->at; i < script->count && i < script->at + 8; i++) {
        const char *word = script->words[i];
        size_t used = strlen(text);
        snprintf(text + used, sizeof text - used, "%s%s", used ? " " : "",
                 word + (i == script->at && *word == '+'));
        if (duration_parse(text, &longer_ms)) {
            span_ms = longer_ms;
            end = i + 1;
        }
    }
    if (span_ms < 0)
        script_fail(script, "a span for %s is missing", what);
    script->at = end;
    return span_ms;
}

int64_t script_time(struct script *script, const char *what) {
    int64_t time_ms = 0;
    if (!script_more(script))
        script_fail(script, "%s is missing", what);
    const char *word = script->words[script->at];
    if (*word == '+')
        return script->mark_ms + script_span(script, what);
    if (!timestamp_parse(word, strlen(word), &time_ms))
        script_fail(script, "\"%s\" is no time for %s", word, what);
    script->at++;
    return time_ms;
}

char *script_rest(struct script *script) {
    char *text = NULL;
    size_t size = 0;
    FILE *stream = open_memstream(&text, &size);
    for (bool first = true; script_more(script); first = false)
        fprintf(stream, "%s%s", first ? "" : " ", script_word(script, "a word"));
    fclose(stream);
    return text;
}
