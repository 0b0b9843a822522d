#include "tool/table.h"

#include "measure/array.h"
#include "tool/text.h"

#include <stdlib.h>
#include <string.h>

enum { GAP = 2, LEAST_WIDTH = 8, WORD_MOST = 20 };

struct ctl_table {
    const struct ctl_column *columns;
    size_t column_count;
    char **cells;
    size_t count;
};

struct ctl_table *ctl_table_create(const struct ctl_column *columns, size_t count) {
    struct ctl_table *table = calloc(1, sizeof *table);
    if (!table)
        return NULL;
    table->columns = columns;
    table->column_count = count;
    return table;
}

void ctl_table_destroy(struct ctl_table *table) {
    if (!table)
        return;
    for (size_t i = 0; i < table->count; i++)
        free(table->cells[i]);
    free(table->cells);
    free(table);
}

bool ctl_table_add(struct ctl_table *table, const char *text) {
    char **cells = array_room(table->cells, table->count, sizeof(char *));
    if (!cells)
        return false;
    table->cells = cells;
    char *clean = ctl_text_clean(text ? text : "");
    if (!clean)
        return false;
    cells[table->count++] = clean;
    return true;
}

bool ctl_table_add_number(struct ctl_table *table, long long number) {
    char text[24];
    snprintf(text, sizeof text, "%lld", number);
    return ctl_table_add(table, text);
}

/* ---- widths ---- */

struct layout {
    size_t widths[CTL_TABLE_COLUMNS_MAX];
    size_t words[CTL_TABLE_COLUMNS_MAX]; /* so wide that no word of usual length is broken */
    size_t least[CTL_TABLE_COLUMNS_MAX];
};

static size_t longest(size_t a, size_t b) {
    return a > b ? a : b;
}

static size_t longest_word(const char *text) {
    size_t most = 0;
    while (*text) {
        char word[256];
        size_t length = strcspn(text, " ");
        snprintf(word, sizeof word, "%.*s", (int)length, text);
        most = longest(most, ctl_text_width(word));
        text += length + (text[length] == ' ');
    }
    return most;
}

static void natural_widths(const struct ctl_table *table, struct layout *layout) {
    for (size_t c = 0; c < table->column_count; c++) {
        size_t title = ctl_text_width(table->columns[c].title);
        layout->widths[c] = title;
        layout->words[c] = longest_word(table->columns[c].title);
        for (size_t i = c; i < table->count; i += table->column_count) {
            layout->widths[c] = longest(layout->widths[c], ctl_text_width(table->cells[i]));
            layout->words[c] = longest(layout->words[c], longest_word(table->cells[i]));
        }
        if (layout->words[c] > WORD_MOST)
            layout->words[c] = WORD_MOST;
        layout->least[c] = LEAST_WIDTH;
    }
}

static size_t total_width(const struct ctl_table *table, const struct layout *layout) {
    size_t total = GAP * (table->column_count - 1);
    for (size_t c = 0; c < table->column_count; c++)
        total += layout->widths[c];
    return total;
}

/* Takes from the widest column above its least until all fit or none can give. */
static void shrink(const struct ctl_table *table, struct layout *layout, const size_t *least) {
    while (total_width(table, layout) > CTL_TEXT_COLUMNS) {
        size_t widest = table->column_count;
        for (size_t c = 0; c < table->column_count; c++) {
            if (layout->widths[c] > least[c] &&
                (widest == table->column_count || layout->widths[c] > layout->widths[widest]))
                widest = c;
        }
        if (widest == table->column_count)
            return;
        layout->widths[widest]--;
    }
}

/* ---- printing ---- */

static void pad(FILE *to, size_t columns) {
    for (; columns > 0; columns--)
        fputc(' ', to);
}

/* Prints one line of a row; moves each text on. True when something is left. */
static bool print_line(const struct ctl_table *table, const struct layout *layout,
                       const char **texts, FILE *to) {
    size_t owed = 0; /* blanks are written only when something follows */
    bool more = false;
    for (size_t c = 0; c < table->column_count; c++) {
        size_t next = 0, length = ctl_text_line(texts[c], layout->widths[c], &next);
        char part[4 * 1024];
        snprintf(part, sizeof part, "%.*s", (int)length, texts[c]);
        length = strlen(part);
        while (length > 0 && part[length - 1] == ' ')
            part[--length] = '\0';
        size_t width = ctl_text_width(part), blank = layout->widths[c] - width;
        if (width > layout->widths[c])
            blank = 0;
        if (table->columns[c].right)
            owed += blank;
        if (length > 0) {
            pad(to, owed);
            fputs(part, to);
            owed = 0;
        } else {
            owed += width;
        }
        owed += (table->columns[c].right ? 0 : blank) + GAP;
        texts[c] += next;
        more |= *texts[c] != '\0';
    }
    fputc('\n', to);
    return more;
}

static void print_row(const struct ctl_table *table, const struct layout *layout,
                      const char **texts, FILE *to) {
    while (print_line(table, layout, texts, to))
        continue;
}

void ctl_table_print(const struct ctl_table *table, FILE *to) {
    struct layout layout = {{0}, {0}, {0}};
    const char *texts[CTL_TABLE_COLUMNS_MAX];
    natural_widths(table, &layout);
    shrink(table, &layout, layout.words); /* first where lines break at blanks */
    shrink(table, &layout, layout.least);
    for (size_t c = 0; c < table->column_count; c++)
        texts[c] = table->columns[c].title;
    print_row(table, &layout, texts, to);
    for (size_t i = 0; i < table->count; i += table->column_count) {
        for (size_t c = 0; c < table->column_count; c++)
            texts[c] = i + c < table->count ? table->cells[i + c] : "";
        print_row(table, &layout, texts, to);
    }
}
