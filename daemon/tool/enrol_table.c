/*
 * Houses out of a table: a CSV file with one row a point. What belongs to the house (name, address
 * …) may stand in any of its rows, what belongs to a riser (pipe, fan …) in any that names the same
 * branch, and must be the same wherever it is given.
 */
#include "host/csv_reader.h"
#include "measure/array.h"
#include "settings/key_table.h"
#include "settings/system_file.h"
#include "tool/enrol.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum belongs { TO_HOUSE, TO_RISER, TO_POINT };

static const struct enrol_column {
    const char *name;
    enum belongs belongs;
    size_t offset; /* of the text in its structure */
} columns[] = {
    {"system", TO_HOUSE, offsetof(struct system_file, id)},
    {"name", TO_HOUSE, offsetof(struct system_file, name)},
    {"address", TO_HOUSE, offsetof(struct system_file, address)},
    {"time_zone", TO_HOUSE, offsetof(struct system_file, time_zone)},
    {"foundation", TO_HOUSE, offsetof(struct system_file, foundation)},
    {"region", TO_HOUSE, offsetof(struct system_file, region)},
    {"elevation", TO_HOUSE, offsetof(struct system_file, elevation)},
    {"stack_height", TO_HOUSE, offsetof(struct system_file, stack_height)},
    {"contacts", TO_HOUSE, offsetof(struct system_file, contacts)},
    {"pipe", TO_RISER, offsetof(struct system_file_branch, inside_diameter)},
    {"fan", TO_RISER, offsetof(struct system_file_branch, model)},
    {"fan_power", TO_RISER, offsetof(struct system_file_branch, power)},
    {"fan_serial", TO_RISER, offsetof(struct system_file_branch, serial)},
    {"fan_installed", TO_RISER, offsetof(struct system_file_branch, installed)},
    {"discharge", TO_RISER, offsetof(struct system_file_branch, discharge)},
    {"point", TO_POINT, offsetof(struct system_file_point, id)},
    {"branch", TO_POINT, offsetof(struct system_file_point, branch)},
    {"point_name", TO_POINT, offsetof(struct system_file_point, name)},
    {"quantity", TO_POINT, offsetof(struct system_file_point, quantity)},
    {"place", TO_POINT, offsetof(struct system_file_point, place)},
    {"by", TO_POINT, offsetof(struct system_file_point, by)},
    {"topic", TO_POINT, offsetof(struct system_file_point, topic)},
    {"unit", TO_POINT, offsetof(struct system_file_point, unit)},
    {"every", TO_POINT, offsetof(struct system_file_point, every)},
    {"value", TO_POINT, offsetof(struct system_file_point, value)},
    {"time", TO_POINT, offsetof(struct system_file_point, time)},
    {"senml_name", TO_POINT, offsetof(struct system_file_point, senml_name)},
};
enum {
    COLUMNS = sizeof columns / sizeof columns[0],
    ID_COLUMN = 0,
    POINT_COLUMN = 15,
    BRANCH_COLUMN = 16
};

struct row_riser {
    struct system_file_branch file; /* id "": of rows that name no branch */
    int64_t line, given_lines[COLUMNS];
};

struct row_house {
    struct system_file file;
    struct row_riser *risers;
    size_t riser_count;
    struct system_file_point *points;
    int64_t *point_lines;
    size_t point_count;
    int64_t line, given_lines[COLUMNS]; /* where each was given first */
};

struct enrol_table {
    const char *file, *only;
    struct settings_errors *errors;
    size_t places[COLUMNS], width; /* which column stands where; COLUMNS: passed over */
    char **records;                /* copies, into which all texts point */
    size_t record_count;
    struct row_house *houses;
    size_t house_count;
};

static void no_memory(struct enrol_table *table) {
    settings_errors_add(table->errors, "%s:0: out of memory", table->file);
}

/* ---- one record ---- */

/* A copy of the record whose fields end in NUL; the number of fields, 0 after an error. */
static size_t split_copy(struct enrol_table *table, const struct csv_record *record,
                         struct csv_field *fields, size_t capacity) {
    char **records = array_room(table->records, table->record_count, sizeof *records);
    char *copy = malloc(record->length + 1);
    if (records)
        table->records = records;
    if (!records || !copy) {
        free(copy);
        no_memory(table);
        return 0;
    }
    records[table->record_count++] = copy;
    memcpy(copy, record->text, record->length);
    copy[record->length] = '\0';
    size_t count = csv_split(copy, record->length, fields, capacity);
    if (count == CSV_BAD_QUOTES) {
        settings_errors_add(table->errors,
                            "%s:%lld: quotes: a quoted field is not closed, or text stands behind "
                            "its end; allowed: \"a, b\"",
                            table->file, (long long)record->line);
        return 0;
    }
    for (size_t i = 0; i < count; i++)
        copy[(size_t)(fields[i].text - copy) + fields[i].length] = '\0';
    return count;
}

static size_t find_column(const char *name) {
    for (size_t c = 0; c < COLUMNS; c++)
        if (strcmp(columns[c].name, name) == 0)
            return c;
    return COLUMNS;
}

static void refuse_column(struct enrol_table *table, int64_t line, const char *name) {
    const char *names[COLUMNS];
    char list[400] = "";
    size_t used = 0;
    for (size_t c = 0; c < COLUMNS; c++) {
        names[c] = columns[c].name;
        used += (size_t)snprintf(list + used, sizeof list - used, "%s%s", c ? ", " : "", names[c]);
    }
    const char *nearest = key_nearest(name, names, COLUMNS);
    settings_errors_add(table->errors, "%s:%lld: %s: is no column; %s%s%sallowed: %s", table->file,
                        (long long)line, name, nearest ? "did you mean \"" : "",
                        nearest ? nearest : "", nearest ? "\"? " : "", list);
}

/* The first record names the columns. */
static bool read_header(struct enrol_table *table, const struct csv_record *record) {
    struct csv_field fields[COLUMNS + 1];
    bool seen[COLUMNS] = {false};
    table->width = split_copy(table, record, fields, COLUMNS + 1);
    for (size_t i = 0; i < table->width && i < COLUMNS; i++) {
        size_t c = table->places[i] = find_column(fields[i].text);
        if (c == COLUMNS)
            refuse_column(table, record->line, fields[i].text);
        else if (seen[c])
            settings_errors_add(table->errors, "%s:%lld: %s: stands twice; allowed: once",
                                table->file, (long long)record->line, columns[c].name);
        else
            seen[c] = true;
    }
    if (table->width > COLUMNS)
        settings_errors_add(table->errors, "%s:%lld: has too many columns; allowed: %d",
                            table->file, (long long)record->line, COLUMNS);
    static const size_t needed[] = {ID_COLUMN, POINT_COLUMN};
    for (size_t i = 0; i < 2 && table->errors->count == 0; i++)
        if (!seen[needed[i]])
            settings_errors_add(table->errors,
                                "%s:%lld: %s: is missing; allowed: a header with system, point, "
                                "quantity and what else is known",
                                table->file, (long long)record->line, columns[needed[i]].name);
    return table->errors->count == 0;
}

static struct row_house *house_of(struct enrol_table *table, const char *id, int64_t line) {
    for (size_t i = table->house_count; i-- > 0;) /* rows of a house mostly stand together */
        if (strcmp(table->houses[i].file.id, id) == 0)
            return &table->houses[i];
    struct row_house *houses = array_room(table->houses, table->house_count, sizeof *houses);
    if (!houses) {
        no_memory(table);
        return NULL;
    }
    table->houses = houses;
    houses[table->house_count] = (struct row_house){.file = {.id = id}, .line = line};
    return &houses[table->house_count++];
}

static struct system_file_point *add_point(struct enrol_table *table, struct row_house *house,
                                           int64_t line) {
    struct system_file_point *points =
        array_room(house->points, house->point_count, sizeof *points);
    if (points)
        house->points = points;
    int64_t *lines = array_room(house->point_lines, house->point_count, sizeof *lines);
    if (lines)
        house->point_lines = lines;
    if (!points || !lines) {
        no_memory(table);
        return NULL;
    }
    points[house->point_count] = (struct system_file_point){0};
    lines[house->point_count] = line;
    return &points[house->point_count++];
}

static struct row_riser *riser_of(struct enrol_table *table, struct row_house *house,
                                  const char *id, int64_t line) {
    for (size_t i = 0; i < house->riser_count; i++)
        if (strcmp(house->risers[i].file.id, id) == 0)
            return &house->risers[i];
    struct row_riser *risers = array_room(house->risers, house->riser_count, sizeof *risers);
    if (!risers) {
        no_memory(table);
        return NULL;
    }
    house->risers = risers;
    risers[house->riser_count] = (struct row_riser){.file.id = id, .line = line};
    return &risers[house->riser_count++];
}

/* `place`: where the text goes; `given`: the line in which it was given first, NULL for a point's.
 */
static void take_text(struct enrol_table *table, const struct row_house *house, size_t c,
                      const char **place, int64_t *given, const char *text, int64_t line) {
    if (given && *place && strcmp(*place, text) != 0) {
        settings_errors_add(table->errors,
                            "%s:%lld: %s: \"%.60s\" differs from \"%.60s\" in line %lld; allowed: "
                            "the same in all rows of %.64s%s, or nothing",
                            table->file, (long long)line, columns[c].name, text, *place,
                            (long long)*given, house->file.id,
                            columns[c].belongs == TO_RISER ? " and that branch" : "");
        return;
    }
    if (given && !*place)
        *given = line;
    *place = text;
}

/* A row, cut: the text of each column, "" where there is none. */
struct enrol_row {
    const char *texts[COLUMNS];
    int64_t line;
};

static const char **place_in(void *part, size_t c) {
    return (const char **)(void *)((char *)part + columns[c].offset);
}

static void take_row(struct enrol_table *table, const struct enrol_row *row) {
    struct row_house *house = house_of(table, row->texts[ID_COLUMN], row->line);
    struct system_file_point *point = house ? add_point(table, house, row->line) : NULL;
    for (size_t c = 0; point && c < COLUMNS; c++) {
        const char *text = row->texts[c];
        struct row_riser *riser = NULL;
        if (*text && (columns[c].belongs == TO_RISER || c == BRANCH_COLUMN))
            riser = riser_of(table, house, row->texts[BRANCH_COLUMN], row->line);
        if (*text && columns[c].belongs == TO_HOUSE)
            take_text(table, house, c, place_in(&house->file, c), &house->given_lines[c], text,
                      row->line);
        else if (*text && columns[c].belongs == TO_POINT)
            take_text(table, house, c, place_in(point, c), NULL, text, row->line);
        else if (riser)
            take_text(table, house, c, place_in(&riser->file, c), &riser->given_lines[c], text,
                      row->line);
    }
}

static void read_row(struct enrol_table *table, const struct csv_record *record) {
    struct csv_field fields[COLUMNS];
    struct enrol_row row = {.line = record->line};
    size_t count = split_copy(table, record, fields, COLUMNS);
    for (size_t c = 0; c < COLUMNS; c++)
        row.texts[c] = "";
    for (size_t i = 0; i < count && i < table->width; i++)
        row.texts[table->places[i]] = fields[i].text;
    const char *id = row.texts[ID_COLUMN];
    if (count == 0 || (*id && table->only && strcmp(id, table->only) != 0))
        return;
    if (*id)
        take_row(table, &row);
    else
        settings_errors_add(table->errors,
                            "%s:%lld: system: is missing; allowed: an id such as birch-lane-12",
                            table->file, (long long)record->line);
}

static void read_records(struct enrol_table *table, struct csv_reader *reader) {
    struct csv_record record;
    enum csv_result result;
    bool begun = false;
    while ((result = csv_reader_next(reader, &record)) != CSV_END) {
        if (result == CSV_FAILED) {
            settings_errors_add(table->errors, "%s:0: %s", table->file, strerror(errno));
            return;
        }
        if (result == CSV_TOO_LONG)
            settings_errors_add(table->errors, "%s:%lld: is too long; allowed: 64 KiB", table->file,
                                (long long)record.line);
        else if (begun)
            read_row(table, &record);
        else if (!read_header(table, &record))
            return;
        begun = true;
    }
    if (table->house_count == 0 && table->errors->count == 0)
        settings_errors_add(table->errors, "%s:1: has no row%s%s; allowed: a row for each point",
                            table->file, table->only ? " of " : "", table->only ? table->only : "");
}

/* ---- houses ---- */

static bool add_line(struct enrol_house *house, const char *list, const char *id, int64_t line) {
    struct enrol_line *lines = array_room(house->lines, house->line_count, sizeof *lines);
    char *copy = strdup(id ? id : "");
    if (lines)
        house->lines = lines;
    if (!lines || !copy) {
        free(copy);
        return false;
    }
    lines[house->line_count++] = (struct enrol_line){list, copy, line};
    return true;
}

static bool add_lines(struct enrol_house *house, const struct row_house *from) {
    bool good = add_line(house, "", "", from->line);
    for (size_t i = 0; good && i < from->point_count; i++)
        good = add_line(house, "points", from->points[i].id, from->point_lines[i]);
    for (size_t i = 0; good && i < from->riser_count; i++)
        good = add_line(house, "branches", from->risers[i].file.id, from->risers[i].line);
    return good;
}

/* A house has one riser without a name, or such as have one. */
static bool check_risers(struct enrol_table *table, const struct row_house *house) {
    for (size_t i = 0; i < house->riser_count && house->riser_count > 1; i++) {
        if (*house->risers[i].file.id)
            continue;
        settings_errors_add(table->errors,
                            "%s:%lld: branch: is missing, but other rows of %.64s name one; "
                            "allowed: pipe, fan and discharge in rows that name their branch",
                            table->file, (long long)house->risers[i].line, house->file.id);
        return false;
    }
    return true;
}

static void add_house(struct enrol_table *table, struct row_house *from,
                      struct enrol_houses *houses) {
    char *label = NULL;
    if (!check_risers(table, from))
        return;
    struct system_file_branch *risers = calloc(from->riser_count + 1, sizeof *risers);
    for (size_t i = 0; risers && i < from->riser_count; i++)
        risers[i] = from->risers[i].file;
    from->file.points = from->points;
    from->file.point_count = from->point_count;
    from->file.branches = risers;
    from->file.branch_count = from->riser_count;
    if (asprintf(&label, "%s (%s)", table->file, from->file.id) < 0)
        label = NULL;
    struct enrol_house *house =
        enrol_add(houses, label, risers ? system_file_write(&from->file) : NULL);
    if (!house || !add_lines(house, from))
        no_memory(table);
    free(risers);
}

static void clear_table(struct enrol_table *table) {
    for (size_t i = 0; i < table->house_count; i++) {
        free(table->houses[i].points);
        free(table->houses[i].risers);
        free(table->houses[i].point_lines);
    }
    for (size_t i = 0; i < table->record_count; i++)
        free(table->records[i]);
    free(table->houses);
    free(table->records);
}

void enrol_table_read(const char *file, const char *only, struct enrol_houses *houses,
                      struct settings_errors *errors) {
    struct enrol_table table = {.file = file, .only = only, .errors = errors};
    struct csv_reader *reader = csv_reader_open(file);
    if (!reader) {
        settings_errors_add(errors, "%s:0: %s; allowed: a file that can be read", file,
                            strerror(errno));
        return;
    }
    read_records(&table, reader);
    csv_reader_close(reader);
    for (size_t i = 0; i < table.house_count && errors->count == 0; i++)
        add_house(&table, &table.houses[i], houses);
    clear_table(&table);
}

int64_t enrol_table_line(const struct enrol_house *house, const char *key) {
    size_t list = strcspn(key, "["), number = 0, nth = 0;
    const char *id = key[list] == '[' ? key + list + 1 : "";
    size_t length = strcspn(id, "]");
    int64_t found = house->line_count ? house->lines[0].line : 0;
    number = (size_t)strtoul(id, NULL, 10); /* items without a good id are told by their number */
    for (size_t i = 0; i < house->line_count && *id; i++) {
        const struct enrol_line *line = &house->lines[i];
        if (strlen(line->list) != list || strncmp(line->list, key, list) != 0)
            continue;
        if (strlen(line->id) == length && strncmp(line->id, id, length) == 0)
            return line->line;
        if (++nth == number)
            found = line->line;
    }
    return found;
}
