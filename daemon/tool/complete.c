#include "tool/complete.h"

#include "monitor/monitor.h"
#include "settings/change_words.h"
#include "tool/ctl_client.h"
#include "tool/usage.h"
#include "tool/usage_words.h"
#include "words/wording_texts.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- the line so far ---- */

struct line {
    struct ctl *ctl;
    const char *current; /* the word that is to be completed */
    const struct ctl_command *command;
    struct usage_item items[USAGE_ITEMS_MAX];
    size_t count;
    int operands;       /* behind the command, before the current word */
    const char *system; /* the first of them */
    const char *option; /* whose value the current word is, or NULL; */
    int value;          /* its how manieth */
};

static void offer(const struct line *line, const char *text, const char *about) {
    if (strncmp(text, line->current, strlen(line->current)) == 0)
        printf("%s\t%s\n", text, about ? about : "");
}

/* An option takes the words behind it; what is left of it when the line ends is to be completed. */
static int take_option(struct line *line, int argc, char **argv) {
    bool common = strcmp(argv[0], "--settings") == 0 || strcmp(argv[0], "--language") == 0;
    int values = common ? 1 : usage_values(line->items, line->count, argv[0]);
    if (common && argc > 1)
        ctl_common_option(line->ctl, argc, argv);
    if (values > argc - 1) {
        line->option = argv[0];
        line->value = argc - 1;
    }
    return 1 + (values > 0 ? values : 0);
}

static void take_argument(struct line *line, const char *word) {
    if (!line->command) {
        line->command = ctl_find(word);
        line->count = line->command ? usage_read(line->command->usage, line->items) : 0;
        return;
    }
    if (line->operands++ == 0)
        line->system = word;
}

static void read_line(struct line *line, int argc, char **argv) {
    for (int i = 0; i < argc;) {
        if (strncmp(argv[i], "--", 2) == 0)
            i += take_option(line, argc - i, argv + i);
        else
            take_argument(line, argv[i++]);
    }
}

/* ---- what may come ---- */

static void offer_of(const struct line *line, const json_t *item,
                     const struct usage_meaning *meaning) {
    const json_t *id = json_object_get(item, meaning->key);
    const json_t *about = meaning->about ? json_object_get(item, meaning->about) : NULL;
    char number[24];
    if (json_is_integer(id))
        snprintf(number, sizeof number, "%lld", (long long)json_integer_value(id));
    if (id)
        offer(line, json_is_integer(id) ? number : json_string_value(id), json_string_value(about));
}

static void offer_ids(const struct line *line, const struct usage_meaning *meaning) {
    struct ctl_path path = ctl_path("");
    size_t before = strcspn(meaning->path, "*"), i;
    json_t *item;
    ctl_path_add(&path, meaning->path);
    if (meaning->path[before] == '*') {
        path.length = before;
        ctl_path_encode(&path, line->system ? line->system : "");
    }
    json_t *root = ctl_ask(line->ctl, path.text);
    const json_t *list = meaning->within ? json_object_get(root, meaning->within) : root;
    json_array_foreach(list, i, item) offer_of(line, item, meaning);
    json_decref(root);
}

static void offer_statuses(const struct line *line) {
    for (int i = 0; i < MONITOR_STATUSES; i++)
        offer(line, monitor_status_word((enum monitor_status)i), NULL);
}

static void offer_changes(const struct line *line) {
    for (unsigned i = 0; change_word(i); i++)
        offer(line, change_word(i), NULL);
}

static void offer_parts(const struct line *line, const char *alternatives) {
    char text[USAGE_WORD_SIZE], *save;
    snprintf(text, sizeof text, "%s", alternatives);
    for (char *part = strtok_r(text, "|", &save); part; part = strtok_r(NULL, "|", &save))
        offer(line, part, NULL);
}

static void offer_word(const struct line *line, const char *word) {
    const struct usage_meaning *meaning = usage_meaning(word);
    if (strchr(word, '|'))
        offer_parts(line, word);
    else if (!meaning || meaning->kind == USAGE_FREE)
        return;
    else if (meaning->kind == USAGE_FILES)
        puts(COMPLETE_FILES);
    else if (meaning->kind == USAGE_STATUSES)
        offer_statuses(line);
    else if (meaning->kind == USAGE_CHANGES)
        offer_changes(line);
    else
        offer_ids(line, meaning);
}

static void offer_languages(const struct line *line) {
    for (size_t i = 0; i < wording_language_count; i++)
        offer(line, wording_language_code(i), NULL);
}

static void offer_values(const struct line *line) {
    if (strcmp(line->option, "--settings") == 0)
        puts(COMPLETE_FILES);
    if (strcmp(line->option, "--language") == 0)
        offer_languages(line);
    for (size_t i = 0; i < line->count; i++)
        if (line->items[i].role == USAGE_VALUE && line->items[i].place == line->value &&
            strcmp(line->items[i].option, line->option) == 0)
            offer_word(line, line->items[i].word);
}

static void offer_options(const struct line *line) {
    for (size_t i = 0; i < line->count; i++)
        if (line->items[i].role == USAGE_OPTION)
            offer(line, line->items[i].word, NULL);
    offer(line, "--settings", "the settings of the daemon that is meant");
    if (usage_values(line->items, line->count, "--language") < 0)
        offer(line, "--language", "the language of what is printed");
    if (!line->command)
        offer(line, "--json", "print JSON");
    offer(line, "--help", NULL);
    if (!line->command)
        offer(line, "--version", NULL);
}

static void offer_commands(const struct line *line) {
    for (size_t i = 0; ctl_command_at(i); i++)
        offer(line, ctl_command_at(i)->name, ctl_command_at(i)->summary);
}

/* Alternatives at the same place are all offered. */
static void offer_operands(const struct line *line) {
    const char *done = "";
    for (size_t i = 0; i < line->count; i++) {
        const struct usage_item *item = &line->items[i];
        bool here =
            item->place == line->operands || (item->repeats && line->operands > item->place);
        if (item->role != USAGE_OPERAND || !here || strcmp(item->word, done) == 0)
            continue;
        offer_word(line, item->word);
        done = item->word;
    }
}

enum ctl_status ctl_complete(struct ctl *ctl, int argc, char **argv) {
    struct line line = {.ctl = ctl, .current = argc > 0 ? argv[argc - 1] : ""};
    read_line(&line, argc - 1, argv);
    if (line.option)
        offer_values(&line);
    else if (line.current[0] == '-')
        offer_options(&line);
    else if (!line.command)
        offer_commands(&line);
    else
        offer_operands(&line);
    return CTL_DONE;
}
