#include "tool/usage.h"

#include <limits.h>
#include <string.h>

static const char dots[] = "…";

/* A sign ("[", "]", "|", "…") or a word with brackets within ("SYSTEM[/POINT]"). */
static bool next_token(const char **at, char token[USAGE_WORD_SIZE]) {
    const char *from = *at + strspn(*at, " ");
    size_t length = strcspn(from, " []");
    if (strncmp(from, dots, strlen(dots)) == 0)
        length = strlen(dots);
    else if (length > 0 && from[length] == '[')
        length += strcspn(from + length, "]") + 1;
    else if (length == 0 && *from)
        length = 1;
    *at = from + length;
    length = length < USAGE_WORD_SIZE ? length : USAGE_WORD_SIZE - 1;
    memcpy(token, from, length);
    token[length] = '\0';
    return length > 0;
}

struct walk {
    struct usage_item *items;
    size_t count;
    char option[USAGE_WORD_SIZE]; /* whose values may follow; empty: none */
    int values, operands, depth, way;
};

static void take_sign(struct walk *walk, char sign) {
    if (sign == '|' && walk->depth > 0) { /* the next word stands for the last one */
        walk->values -= walk->values > 0;
        return;
    }
    if (sign == '|') { /* another way to use the command */
        walk->operands = 0;
        walk->way++;
    }
    walk->depth += sign == '[' ? 1 : sign == ']' ? -1 : 0;
    walk->option[0] = '\0';
}

static void take_word(struct walk *walk, const char *word) {
    if (walk->count == USAGE_ITEMS_MAX)
        return;
    struct usage_item *item = &walk->items[walk->count++];
    *item =
        (struct usage_item){.role = USAGE_OPERAND, .way = walk->way, .needed = walk->depth == 0};
    memcpy(item->word, word, strlen(word) + 1);
    if (strncmp(word, "--", 2) == 0) {
        item->role = USAGE_OPTION;
        memcpy(walk->option, item->word, sizeof item->word);
        walk->values = 0;
    } else if (walk->option[0]) {
        item->role = USAGE_VALUE;
        memcpy(item->option, walk->option, sizeof item->option);
        item->place = walk->values++;
    } else {
        item->place = walk->operands++;
    }
}

size_t usage_read(const char *usage, struct usage_item items[USAGE_ITEMS_MAX]) {
    struct walk walk = {.items = items};
    char token[USAGE_WORD_SIZE];
    while (next_token(&usage, token)) {
        if (strcmp(token, dots) == 0)
            items[walk.count ? walk.count - 1 : 0].repeats = walk.count > 0;
        else if (token[1] == '\0' && strchr("[]|", token[0]))
            take_sign(&walk, token[0]);
        else
            take_word(&walk, token);
    }
    return walk.count;
}

int usage_values(const struct usage_item *items, size_t count, const char *option) {
    int values = -1;
    for (size_t i = 0; i < count; i++) {
        if (items[i].role == USAGE_OPTION && strcmp(items[i].word, option) == 0 && values < 0)
            values = 0;
        if (items[i].role == USAGE_VALUE && strcmp(items[i].option, option) == 0 &&
            items[i].place + 1 > values)
            values = items[i].place + 1;
    }
    return values;
}

void usage_operands(const struct usage_item *items, size_t count, int *least, int *most) {
    int ways = count ? items[count - 1].way + 1 : 1;
    *least = INT_MAX;
    *most = 0;
    for (int way = 0; way < ways; way++) {
        int needed = 0, all = 0;
        for (size_t i = 0; i < count; i++) {
            if (items[i].role != USAGE_OPERAND || items[i].way != way)
                continue;
            needed += items[i].needed;
            all = items[i].repeats ? INT_MAX : all + 1;
        }
        *least = needed < *least ? needed : *least;
        *most = all > *most ? all : *most;
    }
}
