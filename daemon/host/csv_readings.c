#include "host/csv_readings.h"

#include "host/csv_reader.h"
#include "measure/hash.h"
#include "measure/timestamp.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

enum csv_column {
    COLUMN_TIME,
    COLUMN_SYSTEM,
    COLUMN_POINT,
    COLUMN_VALUE,
    COLUMN_UNIT,
    COLUMN_COUNT
};
static const char *const column_names[COLUMN_COUNT] = {"time", "system", "point", "value", "unit"};

enum { FIELDS_MAX = 64, UNIT_TEXT_MAX = 15, ID_BYTES = 512 };
static const char line_name[] = "line";

/* What the last row of a point said of its unit: files repeat it millions of times. */
struct seen_unit {
    char text[UNIT_TEXT_MAX + 1];
    size_t length;
    const struct unit *unit; /* NULL: nothing yet */
};

struct csv_readings {
    const struct fleet *fleet;
    size_t columns[COLUMN_COUNT], field_count;
    bool has_line;           /* as the first column */
    struct seen_unit *units; /* per point */
    size_t *slots;           /* point + 1 by (system, point); 0: empty */
    size_t mask;
};

/* ---- points by the text of a row ---- */

static uint64_t hash_of(struct csv_field system, struct csv_field point) {
    uint64_t hash = hash_bytes(HASH_START, system.text, system.length);
    hash = hash_bytes(hash * 31, point.text, point.length);
    return hash ^ hash >> 29;
}

static bool same_text(const char *text, struct csv_field field) {
    return strncmp(text, field.text, field.length) == 0 && text[field.length] == '\0';
}

static size_t *slot_of(const struct csv_readings *rows, struct csv_field system,
                       struct csv_field point) {
    size_t slot = (size_t)hash_of(system, point) & rows->mask;
    for (; rows->slots[slot]; slot = (slot + 1) & rows->mask) {
        size_t known = rows->slots[slot] - 1;
        if (same_text(fleet_point_id(rows->fleet, known), point) &&
            same_text(fleet_system_id(rows->fleet, rows->fleet->points[known].system), system))
            break;
    }
    return &rows->slots[slot];
}

static bool copy_id(char id[ID_BYTES], struct csv_field field) {
    if (field.length >= ID_BYTES)
        return false;
    memcpy(id, field.text, field.length);
    id[field.length] = '\0';
    return true;
}

/* FLEET_NONE: no such point. It gets a slot when it is first met: a part of an import meets few. */
static size_t find_point(struct csv_readings *rows, struct csv_field system,
                         struct csv_field point) {
    char system_id[ID_BYTES], point_id[ID_BYTES];
    size_t *slot = slot_of(rows, system, point);
    if (*slot)
        return *slot - 1;
    if (!copy_id(system_id, system) || !copy_id(point_id, point))
        return FLEET_NONE;
    size_t owner = fleet_find_system(rows->fleet, system_id);
    size_t found =
        owner == FLEET_NONE ? FLEET_NONE : fleet_find_point(rows->fleet, owner, point_id);
    if (found != FLEET_NONE)
        *slot = found + 1;
    return found;
}

struct csv_readings *csv_readings_create(const struct fleet *fleet) {
    struct csv_readings *rows = calloc(1, sizeof *rows);
    size_t size = 16;
    while (size < 2 * fleet->point_count)
        size *= 2;
    if (!rows)
        return NULL;
    rows->fleet = fleet;
    rows->mask = size - 1;
    rows->slots = calloc(size, sizeof *rows->slots);
    rows->units = calloc(fleet->point_count + 1, sizeof *rows->units);
    if (!rows->slots || !rows->units) {
        csv_readings_destroy(rows);
        return NULL;
    }
    return rows;
}

void csv_readings_destroy(struct csv_readings *rows) {
    if (!rows)
        return;
    free(rows->slots);
    free(rows->units);
    free(rows);
}

/* ---- the header ---- */

static bool is_column(struct csv_field field, const char *name) {
    return field.length == strlen(name) && strncasecmp(field.text, name, field.length) == 0;
}

/* `count`: there is none. */
static size_t find_column(const struct csv_field *fields, size_t count, const char *name) {
    size_t f = 0;
    while (f < count && !is_column(fields[f], name))
        f++;
    return f;
}

bool csv_readings_header(struct csv_readings *rows, char *text, size_t length, char *why,
                         size_t why_size) {
    struct csv_field fields[FIELDS_MAX];
    size_t count = csv_split(text, length, fields, FIELDS_MAX);
    if (count == CSV_BAD_QUOTES)
        count = 0;
    rows->has_line = count > 0 && is_column(fields[0], line_name);
    rows->field_count = 0;
    for (size_t c = 0; c < COLUMN_COUNT; c++) {
        size_t f = find_column(fields, count, column_names[c]);
        if (f == count) {
            snprintf(why, why_size,
                     "the header names no column \"%s\"; the first line must name "
                     "time,system,point,value,unit in any order",
                     column_names[c]);
            return false;
        }
        rows->columns[c] = f;
        if (f + 1 > rows->field_count)
            rows->field_count = f + 1;
    }
    return true;
}

/* ---- a row ---- */

struct row_reader {
    struct csv_readings *rows;
    struct csv_field fields[FIELDS_MAX];
    char *why;
    size_t why_size;
};

static struct csv_field field_at(const struct row_reader *reader, enum csv_column column) {
    return reader->fields[reader->rows->columns[column]];
}

static int shown_length(struct csv_field field) {
    return field.length > 40 ? 40 : (int)field.length;
}

#define SHOWN(field) shown_length(field), (field).text

static enum refusal read_point(const struct row_reader *reader, struct csv_reading *row) {
    struct csv_field system = field_at(reader, COLUMN_SYSTEM);
    struct csv_field point = field_at(reader, COLUMN_POINT);
    row->point = find_point(reader->rows, system, point);
    if (row->point != FLEET_NONE)
        return REFUSAL_NONE;
    const struct fleet *fleet = reader->rows->fleet;
    for (size_t s = 0; s < fleet->system_count; s++) {
        if (same_text(fleet_system_id(fleet, s), system)) {
            snprintf(reader->why, reader->why_size, "system %.*s has no point \"%.*s\"",
                     SHOWN(system), SHOWN(point));
            return REFUSAL_VALUE_MISSING;
        }
    }
    snprintf(reader->why, reader->why_size, "there is no system \"%.*s\"", SHOWN(system));
    return REFUSAL_VALUE_MISSING;
}

static enum refusal read_unit(const struct row_reader *reader, size_t point,
                              const struct unit **unit) {
    const struct point_description *description = reader->rows->fleet->points[point].description;
    struct csv_field text = field_at(reader, COLUMN_UNIT);
    struct seen_unit *seen = &reader->rows->units[point];
    if (text.length == 0) {
        *unit = description->binding.unit;
        return REFUSAL_NONE;
    }
    if (seen->unit && seen->length == text.length &&
        memcmp(seen->text, text.text, text.length) == 0) {
        *unit = seen->unit;
        return REFUSAL_NONE;
    }
    *unit = unit_find(text.text, text.length);
    if (!*unit) {
        snprintf(reader->why, reader->why_size, "unit \"%.*s\" is not known", SHOWN(text));
        return REFUSAL_UNKNOWN_UNIT;
    }
    if ((*unit)->dimension != description->binding.unit->dimension) {
        snprintf(reader->why, reader->why_size, "unit \"%.*s\" is not for %s; use %s or its like",
                 SHOWN(text), quantity_info(description->quantity)->name,
                 unit_si_word(description->binding.unit->dimension));
        return REFUSAL_WRONG_UNIT;
    }
    if (text.length <= UNIT_TEXT_MAX) {
        memcpy(seen->text, text.text, text.length);
        seen->length = text.length;
        seen->unit = *unit;
    }
    return REFUSAL_NONE;
}

static enum refusal read_value(const struct row_reader *reader, struct csv_reading *row) {
    struct csv_field text = field_at(reader, COLUMN_VALUE);
    const struct point_description *point = reader->rows->fleet->points[row->point].description;
    const struct unit *unit = NULL;
    const char *end = NULL;
    enum refusal refusal = read_unit(reader, row->point, &unit);
    if (refusal != REFUSAL_NONE)
        return refusal;
    enum unit_status status = unit_parse_number(text.text, text.length, &row->value, &end);
    if (status == UNIT_NOT_A_NUMBER || end != text.text + text.length) {
        snprintf(reader->why, reader->why_size, "value \"%.*s\" is not a number", SHOWN(text));
        return REFUSAL_NOT_A_NUMBER;
    }
    row->value = unit_to_si(unit, row->value);
    if (status == UNIT_NOT_FINITE || !isfinite(row->value) ||
        !quantity_plausible(point->quantity, unit->dimension, row->value)) {
        snprintf(reader->why, reader->why_size,
                 "value \"%.*s\" is outside what is physically possible for %s", SHOWN(text),
                 quantity_info(point->quantity)->name);
        return REFUSAL_OUT_OF_RANGE;
    }
    return REFUSAL_NONE;
}

static int64_t number_of(const char *text, size_t length) {
    int64_t number = 0;
    for (size_t i = 0; i < length && i < 18 && text[i] >= '0' && text[i] <= '9'; i++)
        number = number * 10 + (text[i] - '0');
    return number;
}

enum refusal csv_readings_read(struct csv_readings *rows, char *text, size_t length,
                               struct csv_reading *row, char *why, size_t why_size) {
    struct row_reader reader; /* its fields are not cleared: this runs millions of times */
    reader.rows = rows;
    reader.why = why;
    reader.why_size = why_size;
    row->line = rows->has_line ? number_of(text, length) : 0;
    size_t count = csv_split(text, length, reader.fields, rows->field_count);
    if (count == CSV_BAD_QUOTES) {
        snprintf(why, why_size, "a quote is not closed, or stands inside a field");
        return REFUSAL_MALFORMED;
    }
    if (count < rows->field_count) {
        snprintf(why, why_size, "has %zu fields; the header asks for %zu", count,
                 rows->field_count);
        return REFUSAL_MALFORMED;
    }
    struct csv_field time = field_at(&reader, COLUMN_TIME);
    if (!timestamp_parse(time.text, time.length, &row->time_ms)) {
        snprintf(why, why_size,
                 "time \"%.*s\" is not RFC 3339, such as 2026-03-12T08:15:00Z or "
                 "2026-03-12T01:15:00-07:00",
                 SHOWN(time));
        return REFUSAL_TIME_MALFORMED;
    }
    enum refusal refusal = read_point(&reader, row);
    return refusal == REFUSAL_NONE ? read_value(&reader, row) : refusal;
}
