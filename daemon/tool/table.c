#include "tool/table.h"

#include "measure/array.h"
#include "tool/text.h"
#include "words/text_buffer.h"

#include <stdlib.h>
#include <string.h>

enum { GAP = 2, LEAST_WIDTH = 8, WORD_MOST = 20, WHOLE_MOST = 24, INDENT = 4 };

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
    array_free_texts(table->cells, table->count);
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

/* A blank that is no place to break at stands as U+00A0 until it is printed. */
static const char bound_blank[] = "\xC2\xA0";

bool ctl_table_add_whole(struct ctl_table *table, const char *text) {
    struct text_buffer bound = {0};
    for (; *text; text++)
        text_buffer_add_bytes(&bound, *text == ' ' ? bound_blank : text, *text == ' ' ? 2 : 1);
    char *all = text_buffer_take(&bound);
    bool added = ctl_table_add(table, all);
    free(all);
    return added;
}

static void print_text(FILE *to, const char *text) {
    for (const char *bound; (bound = strstr(text, bound_blank)); text = bound + 2)
        fprintf(to, "%.*s ", (int)(bound - text), text);
    fputs(text, to);
}

bool ctl_table_add_number(struct ctl_table *table, long long number) {
    char text[24];
    snprintf(text, sizeof text, "%lld", number);
    return ctl_table_add(table, text);
}

/* ---- widths ---- */

struct layout {
    size_t columns; /* of the terminal */
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

static void natural_width(const struct ctl_table *table, struct layout *layout, size_t c) {
    const struct ctl_column *column = &table->columns[c];
    size_t width = ctl_text_width(column->title), word = longest_word(column->title);
    for (size_t i = c; i < table->count; i += table->column_count) {
        size_t cell = ctl_text_width(table->cells[i]);
        if (column->keep == CTL_KEEP_WHOLE && cell > WHOLE_MOST)
            continue; /* it has a line of its own */
        width = longest(width, cell);
        word = longest(word, longest_word(table->cells[i]));
    }
    if (column->keep == CTL_KEEP_NOTHING && word > WORD_MOST)
        word = WORD_MOST;
    layout->widths[c] = width;
    layout->words[c] = column->keep == CTL_KEEP_WHOLE ? width : word;
    layout->least[c] = column->keep == CTL_KEEP_NOTHING ? LEAST_WIDTH : layout->words[c];
}

static void natural_widths(const struct ctl_table *table, struct layout *layout) {
    for (size_t c = 0; c < table->column_count; c++)
        natural_width(table, layout, c);
}

static size_t total_width(const struct ctl_table *table, const struct layout *layout) {
    size_t total = GAP * (table->column_count - 1);
    for (size_t c = 0; c < table->column_count; c++)
        total += layout->widths[c];
    return total;
}

/* Takes from the widest column above its least until all fit or none can give. True: they fit. */
static bool shrink(const struct ctl_table *table, struct layout *layout, const size_t *least) {
    while (total_width(table, layout) > layout->columns) {
        size_t widest = table->column_count;
        for (size_t c = 0; c < table->column_count; c++) {
            if (layout->widths[c] > least[c] &&
                (widest == table->column_count || layout->widths[c] > layout->widths[widest]))
                widest = c;
        }
        if (widest == table->column_count)
            return false;
        layout->widths[widest]--;
    }
    return true;
}

/* Where not even that is enough, rows have several lines, and each column its full width again. */
static void stack(const struct ctl_table *table, struct layout *layout) {
    natural_widths(table, layout);
    for (size_t c = 0; c < table->column_count; c++) {
        size_t most = longest(layout->words[c], layout->columns - INDENT);
        if (layout->widths[c] > most)
            layout->widths[c] = most;
    }
}

/* The column behind the last one that fits on a line beginning with `first`. */
static size_t line_end(const struct ctl_table *table, const struct layout *layout, size_t first) {
    size_t end = first + 1, used = layout->widths[first] + (first ? INDENT : 0);
    while (end < table->column_count && used + GAP + layout->widths[end] <= layout->columns)
        used += GAP + layout->widths[end++];
    return end;
}

/* ---- printing ---- */

static void pad(FILE *to, size_t columns) {
    for (; columns > 0; columns--)
        fputc(' ', to);
}

/* The columns of a row that stand beside each other. */
struct part {
    size_t first, end;
};

/* Where a column begins. */
static size_t begin_of(const struct layout *layout, const struct part *of, size_t c) {
    size_t at = of->first ? INDENT : 0;
    for (size_t i = of->first; i < c; i++)
        at += layout->widths[i] + GAP;
    return at;
}

/* A cell that is kept whole and wider than its column has the rest of the line, or a line of its
   own; the row goes on below. Returns the blanks owed before the next column. */
static size_t print_alone(const struct layout *layout, const struct part *of, size_t c, size_t owed,
                          const char **text, FILE *to) {
    size_t begin = begin_of(layout, of, c);
    if (begin > INDENT && begin + ctl_text_width(*text) > layout->columns) {
        fputc('\n', to);
        owed = INDENT;
    }
    pad(to, owed);
    print_text(to, *text);
    *text += strlen(*text);
    if (c + 1 == of->end)
        return 0;
    fputc('\n', to);
    return begin_of(layout, of, c + 1);
}

/* What of a text stands on one line; moves the text on. */
static void cut_line(char *line, size_t size, const char **text, size_t columns) {
    size_t next = 0, length = ctl_text_line(*text, columns, &next);
    snprintf(line, size, "%.*s", (int)length, *text);
    length = strlen(line);
    while (length > 0 && line[length - 1] == ' ')
        line[--length] = '\0';
    *text += next;
}

/* Prints one line of them; moves each text on. True when something is left. */
static bool print_line(const struct ctl_table *table, const struct layout *layout,
                       const struct part *of, const char **texts, FILE *to) {
    size_t owed = of->first ? INDENT : 0; /* blanks are written only when something follows */
    bool more = false;
    for (size_t c = of->first; c < of->end; c++) {
        char line[4 * 1024];
        if (table->columns[c].keep == CTL_KEEP_WHOLE &&
            ctl_text_width(texts[c]) > layout->widths[c]) {
            owed = print_alone(layout, of, c, owed, &texts[c], to);
            continue;
        }
        cut_line(line, sizeof line, &texts[c], layout->widths[c]);
        size_t width = ctl_text_width(line);
        size_t blank = width > layout->widths[c] ? 0 : layout->widths[c] - width;
        if (table->columns[c].right)
            owed += blank;
        if (width > 0) {
            pad(to, owed);
            print_text(to, line);
            owed = 0;
        }
        owed += (table->columns[c].right ? 0 : blank) + GAP;
        more |= *texts[c] != '\0';
    }
    fputc('\n', to);
    return more;
}

static void print_row(const struct ctl_table *table, const struct layout *layout,
                      const char **texts, FILE *to) {
    for (struct part part = {0}; part.first < table->column_count; part.first = part.end) {
        part.end = line_end(table, layout, part.first);
        while (print_line(table, layout, &part, texts, to))
            continue;
    }
}

void ctl_table_print(const struct ctl_table *table, FILE *to) {
    struct layout layout = {.columns = ctl_text_columns()};
    const char *texts[CTL_TABLE_COLUMNS_MAX];
    natural_widths(table, &layout);
    /* First where lines break at blanks. */
    if (!shrink(table, &layout, layout.words) && !shrink(table, &layout, layout.least))
        stack(table, &layout);
    for (size_t c = 0; c < table->column_count; c++)
        texts[c] = table->columns[c].title;
    print_row(table, &layout, texts, to);
    for (size_t i = 0; i < table->count; i += table->column_count) {
        for (size_t c = 0; c < table->column_count; c++)
            texts[c] = i + c < table->count ? table->cells[i + c] : "";
        print_row(table, &layout, texts, to);
    }
}
