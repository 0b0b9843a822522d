#include "measure/senml.h"

#include <math.h>
#include <string.h>

#define YEAR_0_MS (-62167219200000.0)   /* 0000-01-01T00:00:00Z */
#define YEAR_10000_MS 253402300800000.0 /* 10000-01-01T00:00:00Z */

static const char *const understood_labels[] = {"bn", "bt", "bu", "bv", "bs", "bver", "n", "u",
                                                "v",  "vs", "vb", "vd", "s",  "t",    "ut"};

/* Both are per cent, but not of the same thing (RFC 8428 section 12.1). */
static const struct {
    const char *spelling;
    enum quantity quantity;
} units_of_one_quantity[] = {{"%RH", QUANTITY_HUMIDITY}, {"%EL", QUANTITY_BATTERY}};

static bool version_understood(double version) {
    return (version >= 1 && version <= 10 && version == floor(version)) || version == 26;
}

enum refusal senml_open(struct senml_pack *pack, const struct json_node *records) {
    *pack = (struct senml_pack){.records = records};
    double version = 10;
    for (size_t i = 0; i < json_node_count(records); i++) {
        const struct json_node *stated = json_node_member(json_node_item(records, i), "bver");
        if (!stated)
            continue;
        double number;
        if (!json_node_number(stated, &number) || !version_understood(number) ||
            (i > 0 && number != version))
            return REFUSAL_UNKNOWN_SENML;
        version = number;
    }
    return REFUSAL_NONE;
}

static void read_text(const struct json_node *node, const char *label, struct senml_text *text) {
    const struct json_node *member = json_node_member(node, label);
    if (!member)
        return;
    *text = (struct senml_text){0};
    text->bytes = json_node_text(member, &text->length);
    text->wrong_type = text->bytes == NULL;
}

static void read_number(const struct json_node *node, const char *label, double *number) {
    const struct json_node *member = json_node_member(node, label);
    if (member && !json_node_number(member, number))
        *number = NAN;
}

static bool label_understood(const char *label) {
    for (size_t i = 0; i < sizeof understood_labels / sizeof understood_labels[0]; i++)
        if (strcmp(label, understood_labels[i]) == 0)
            return true;
    return label[0] == '\0' || label[strlen(label) - 1] != '_';
}

/*
 * Looks at every label: an unknown one that ends in "_" must be understood and is not (section
 * 4.4). A base field like that may change the meaning of all records after it.
 */
static void check_labels(struct senml_pack *pack, const struct json_node *node,
                         struct senml_record *record) {
    void *cursor = NULL;
    const char *label;
    record->base_fields_only = true;
    while (json_node_next_member(node, &cursor, &label) != NULL) {
        if (label[0] != 'b')
            record->base_fields_only = false;
        if (label_understood(label))
            continue;
        record->refusal = REFUSAL_UNKNOWN_SENML;
        if (label[0] == 'b')
            pack->base_not_understood = true;
    }
    if (pack->base_not_understood)
        record->refusal = REFUSAL_UNKNOWN_SENML;
}

static bool is_letter_or_digit(char c) {
    return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9');
}

/* Section 4.5.1. Without any name the topic says whose record it is. */
static bool name_valid(const struct senml_record *record) {
    const struct senml_text *parts[] = {&record->base_name, &record->name};
    bool first = true;
    for (size_t part = 0; part < 2; part++) {
        if (parts[part]->wrong_type)
            return false;
        for (size_t i = 0; i < parts[part]->length; i++, first = false) {
            char c = parts[part]->bytes[i];
            bool mark = c != '\0' && strchr("-:./_", c) != NULL;
            if (!is_letter_or_digit(c) && (first || !mark))
                return false;
        }
    }
    return true;
}

/* "Exactly one Value field MUST appear unless there is a Sum field" (section 4.2); ours is "v". */
static enum refusal read_value(const struct senml_pack *pack, const struct json_node *node,
                               double *value) {
    static const char *const other_kinds[] = {"vs", "vb", "vd"};
    bool other = false;
    for (size_t i = 0; i < 3; i++)
        other = other || json_node_member(node, other_kinds[i]) != NULL;
    const struct json_node *number = json_node_member(node, "v");
    if (!number)
        return other || json_node_member(node, "s") ? REFUSAL_NOT_A_NUMBER : REFUSAL_VALUE_MISSING;
    if (other)
        return REFUSAL_MALFORMED;
    if (!json_node_number(number, value) || isnan(pack->base_value))
        return REFUSAL_NOT_A_NUMBER;
    *value += pack->base_value;
    return REFUSAL_NONE;
}

static void resolve(const struct senml_pack *pack, const struct json_node *node,
                    struct senml_record *record) {
    read_text(node, "n", &record->name);
    read_text(node, "u", &record->unit);
    double time_s = 0;
    read_number(node, "t", &time_s);
    record->time_s = pack->base_time_s + time_s;
    if (record->refusal != REFUSAL_NONE || record->base_fields_only)
        return;
    if (!name_valid(record))
        record->refusal = REFUSAL_MALFORMED;
    else
        record->refusal = read_value(pack, node, &record->value);
    if (record->refusal == REFUSAL_NONE && record->unit.wrong_type)
        record->refusal = REFUSAL_UNKNOWN_UNIT;
    if (record->refusal == REFUSAL_NONE && isnan(record->time_s))
        record->refusal = REFUSAL_TIME_MALFORMED;
}

bool senml_next(struct senml_pack *pack, struct senml_record *record) {
    const struct json_node *node = json_node_item(pack->records, pack->next);
    if (!node)
        return false;
    pack->next++;
    *record = (struct senml_record){.refusal = REFUSAL_MALFORMED};
    record->name.wrong_type = true;
    if (json_node_kind(node) != JSON_NODE_OBJECT || json_node_count(node) == 0)
        return true;
    read_text(node, "bn", &pack->base_name);
    read_text(node, "bu", &pack->base_unit);
    read_number(node, "bt", &pack->base_time_s);
    read_number(node, "bv", &pack->base_value);
    *record = (struct senml_record){.base_name = pack->base_name, .unit = pack->base_unit};
    check_labels(pack, node, record);
    resolve(pack, node, record);
    return true;
}

bool senml_name_ends_in(const struct senml_record *record, const char *ending) {
    const struct senml_text *base = &record->base_name, *name = &record->name;
    if (base->wrong_type || name->wrong_type)
        return true;
    size_t wanted = strlen(ending);
    if (wanted > base->length + name->length)
        return false;
    size_t in_name = wanted < name->length ? wanted : name->length;
    size_t in_base = wanted - in_name;
    return (in_name == 0 ||
            memcmp(name->bytes + name->length - in_name, ending + in_base, in_name) == 0) &&
           (in_base == 0 || memcmp(base->bytes + base->length - in_base, ending, in_base) == 0);
}

bool senml_time(const struct senml_record *record, int64_t arrival_ms, int64_t *time_ms,
                bool *relative) {
    bool from_now = record->time_s < SENML_RELATIVE_BELOW_S;
    double instant_ms = record->time_s * 1000.0 + (from_now ? (double)arrival_ms : 0.0);
    if (!(instant_ms >= YEAR_0_MS && instant_ms < YEAR_10000_MS))
        return false;
    *time_ms = llround(record->time_s * 1000.0) + (from_now ? arrival_ms : 0);
    *relative = from_now;
    return true;
}

enum refusal senml_unit(const char *spelling, size_t length, enum quantity quantity,
                        const struct unit **unit) {
    for (size_t i = 0; i < 2; i++)
        if (strlen(units_of_one_quantity[i].spelling) == length &&
            memcmp(units_of_one_quantity[i].spelling, spelling, length) == 0 &&
            units_of_one_quantity[i].quantity != quantity)
            return REFUSAL_WRONG_UNIT;
    const struct unit *found = memchr(spelling, '\0', length) ? NULL : unit_find(spelling, length);
    if (!found)
        return REFUSAL_UNKNOWN_UNIT;
    *unit = found;
    return REFUSAL_NONE;
}
