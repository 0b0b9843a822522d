/*
 * The name tells the quantity: the words of the value's place in the message, then those of the
 * topic's levels from the last to the first. Then a unit stated with the value, or named in those
 * words; else what values of that quantity usually are.
 */
#include "measure/proposal.h"

#include "measure/duration.h"
#include "measure/json_node.h"
#include "measure/payload.h"
#include "measure/payload_value.h"
#include "measure/senml.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* ---- words ---- */

static const struct {
    const char *begins;
    enum quantity quantity;
} word_rows[] = {
    {"suction", QUANTITY_SUCTION},
    {"riser", QUANTITY_SUCTION},
    {"utube", QUANTITY_SUCTION},
    {"tube", QUANTITY_SUCTION},
    {"manometer", QUANTITY_SUCTION},
    {"field", QUANTITY_FIELD},
    {"hole", QUANTITY_FIELD},
    {"pfe", QUANTITY_FIELD},
    {"pitot", QUANTITY_VELOCITY_PRESSURE},
    {"velocity", QUANTITY_VELOCITY_PRESSURE},
    {"airflow", QUANTITY_AIRFLOW},
    {"flow", QUANTITY_AIRFLOW},
    {"cfm", QUANTITY_AIRFLOW},
    {"power", QUANTITY_FAN_POWER},
    {"fanpower", QUANTITY_FAN_POWER},
    {"watt", QUANTITY_FAN_POWER},
    {"current", QUANTITY_FAN_CURRENT},
    {"fancurrent", QUANTITY_FAN_CURRENT},
    {"amp", QUANTITY_FAN_CURRENT},
    {"radon", QUANTITY_RADON},
    {"outdoor", QUANTITY_OUTDOOR_TEMPERATURE},
    {"outside", QUANTITY_OUTDOOR_TEMPERATURE},
    {"indoor", QUANTITY_INDOOR_TEMPERATURE},
    {"temp", QUANTITY_INDOOR_TEMPERATURE},
    {"baro", QUANTITY_BAROMETRIC_PRESSURE},
    {"humid", QUANTITY_HUMIDITY},
    {"water", QUANTITY_WATER_LEVEL},
    {"sump", QUANTITY_WATER_LEVEL},
    {"level", QUANTITY_WATER_LEVEL},
    {"batt", QUANTITY_BATTERY},
};

static const struct {
    const char *word, *unit;
} unit_words[] = {{"inwc", "inH2O"}, {"inwg", "inH2O"},   {"inh2o", "inH2O"},     {"pa", "Pa"},
                  {"hpa", "hPa"},    {"kpa", "kPa"},      {"mbar", "mbar"},       {"inhg", "inHg"},
                  {"pci", "pCi/L"},  {"pcil", "pCi/L"},   {"bq", "Bq/m3"},        {"bqm3", "Bq/m3"},
                  {"cfm", "cfm"},    {"lps", "L/s"},      {"m3h", "m3/h"},        {"watts", "W"},
                  {"w", "W"},        {"ma", "mA"},        {"amps", "A"},          {"degf", "degF"},
                  {"degc", "degC"},  {"celsius", "degC"}, {"fahrenheit", "degF"}, {"volts", "V"},
                  {"mv", "mV"},      {"percent", "%"},    {"cm", "cm"},           {"mm", "mm"}};

#define COUNT(list) (sizeof(list) / sizeof((list)[0]))

/* What is no reading: times, counters and what radios say of themselves. */
static bool is_no_reading(const char *name) {
    static const char *const names[] = {"time", "timestamp", "ts",   "t",   "date",    "epoch",
                                        "id",   "seq",       "rssi", "snr", "counter", "uptime"};
    for (size_t i = 0; i < COUNT(names); i++)
        if (strcmp(names[i], name) == 0)
            return true;
    return false;
}

/* The next word of [*at, end) in small letters; false after the last. "fanPower" is two words. */
static bool next_word(const char **at, const char *end, char word[32]) {
    size_t length = 0;
    const char *from = *at;
    while (from < end && !((*from >= 'a' && *from <= 'z') || (*from >= 'A' && *from <= 'Z') ||
                           (*from >= '0' && *from <= '9')))
        from++;
    bool small_before = false;
    for (; from < end; from++) {
        bool large = *from >= 'A' && *from <= 'Z', small = *from >= 'a' && *from <= 'z';
        if ((!large && !small && !(*from >= '0' && *from <= '9')) || (large && small_before))
            break;
        if (length < 31)
            word[length++] = large ? (char)(*from - 'A' + 'a') : *from;
        small_before = small;
    }
    word[length] = '\0';
    *at = from;
    return length > 0;
}

static bool quantity_of_words(const char *from, const char *end, enum quantity *quantity) {
    char word[32];
    while (next_word(&from, end, word)) {
        for (size_t i = 0; i < COUNT(word_rows); i++) {
            if (strncmp(word, word_rows[i].begins, strlen(word_rows[i].begins)) != 0)
                continue;
            *quantity = word_rows[i].quantity;
            return true;
        }
    }
    return false;
}

static const struct unit *unit_of_words(const char *text, enum quantity quantity) {
    const char *end = text + strlen(text);
    char word[32];
    while (next_word(&text, end, word)) {
        for (size_t i = 0; i < COUNT(unit_words); i++) {
            const struct unit *unit =
                strcmp(word, unit_words[i].word) == 0
                    ? unit_find(unit_words[i].unit, strlen(unit_words[i].unit))
                    : NULL;
            if (unit && quantity_allows(quantity, unit->dimension))
                return unit;
        }
    }
    return NULL;
}

/* ---- quantity ---- */

static bool has_word(const char *text, const char *begins) {
    const char *end = text + strlen(text);
    char word[32];
    while (next_word(&text, end, word))
        if (strncmp(word, begins, strlen(begins)) == 0)
            return true;
    return false;
}

/* The value's own name first, then the topic's levels from the last to the first. */
static bool quantity_of_names(const char *topic, const char *name, enum quantity *quantity) {
    bool found = quantity_of_words(name, name + strlen(name), quantity);
    for (const char *end = topic + strlen(topic); !found && end > topic;) {
        const char *level = end;
        while (level > topic && level[-1] != '/')
            level--;
        found = quantity_of_words(level, end, quantity);
        end = level > topic ? level - 1 : topic;
    }
    if (found && *quantity == QUANTITY_INDOOR_TEMPERATURE &&
        (has_word(topic, "outdoor") || has_word(topic, "outside")))
        *quantity = QUANTITY_OUTDOOR_TEMPERATURE;
    return found;
}

static bool quantity_of_unit(const struct unit *unit, double si, enum quantity *quantity) {
    static const struct {
        enum dimension dimension;
        enum quantity quantity;
    } rows[] = {{DIMENSION_RADON, QUANTITY_RADON},
                {DIMENSION_FLOW, QUANTITY_AIRFLOW},
                {DIMENSION_POWER, QUANTITY_FAN_POWER},
                {DIMENSION_CURRENT, QUANTITY_FAN_CURRENT},
                {DIMENSION_TEMPERATURE, QUANTITY_INDOOR_TEMPERATURE},
                {DIMENSION_VOLTAGE, QUANTITY_BATTERY},
                {DIMENSION_LENGTH, QUANTITY_WATER_LEVEL}};
    for (size_t i = 0; i < COUNT(rows); i++) {
        *quantity = rows[i].quantity;
        if (rows[i].dimension == unit->dimension)
            return true;
    }
    /* A riser is below the room by tens to hundreds of pascals, a test hole by some. */
    *quantity = si > 50000.0 ? QUANTITY_BAROMETRIC_PRESSURE
                : si >= 30.0 ? QUANTITY_SUCTION
                             : QUANTITY_FIELD;
    return unit->dimension == DIMENSION_PRESSURE;
}

/* ---- unit ---- */

static const char *usual_unit(enum quantity quantity, double value, enum unit_system units) {
    bool us = units == UNIT_SYSTEM_US;
    switch (quantity) {
    case QUANTITY_SUCTION:
        return us && fabs(value) < 10.0 ? "inH2O" : "Pa";
    case QUANTITY_AIRFLOW:
        return fabs(value) < 0.5 ? "m3/s" : us ? "cfm" : "L/s";
    case QUANTITY_FAN_CURRENT:
        return value > 20.0 ? "mA" : "A";
    case QUANTITY_RADON:
        return us && value < 200.0 ? "pCi/L" : "Bq/m3";
    case QUANTITY_INDOOR_TEMPERATURE:
        return value > 45.0 ? "degF" : "degC";
    case QUANTITY_OUTDOOR_TEMPERATURE:
        return us || value > 50.0 ? "degF" : "degC";
    case QUANTITY_BAROMETRIC_PRESSURE:
        return value > 2000.0 ? "Pa" : value > 200.0 ? "hPa" : value > 40.0 ? "kPa" : "inHg";
    case QUANTITY_WATER_LEVEL:
        return us ? "in" : fabs(value) < 2.0 ? "m" : "cm";
    case QUANTITY_BATTERY:
        return value <= 5.0 ? "V" : "%";
    default:
        return unit_si_word(quantity_info(quantity)->dimension);
    }
}

/* `name`: the words of its place in the message; `stated`: its unit, or NULL. */
static void propose(struct proposal *one, const char *topic, const char *name,
                    const struct unit *stated, enum unit_system units) {
    const char *level = strrchr(topic, '/');
    bool named = quantity_of_names(topic, name, &one->quantity);
    if (stated && !(named && quantity_allows(one->quantity, stated->dimension)))
        named = quantity_of_unit(stated, unit_to_si(stated, one->value), &one->quantity);
    if (!named)
        return;
    one->unit = stated ? stated : unit_of_words(name, one->quantity);
    if (!one->unit)
        one->unit = unit_of_words(level ? level : topic, one->quantity);
    if (!one->unit) {
        const char *usual = usual_unit(one->quantity, one->value, units);
        one->unit = unit_find(usual, strlen(usual));
    }
    one->known =
        quantity_plausible(one->quantity, one->unit->dimension, unit_to_si(one->unit, one->value));
}

/* ---- numbers in a message ---- */

struct search {
    const char *topic;
    enum unit_system units;
    struct proposal *list;
    size_t count, capacity;
    char time_pointer[PROPOSAL_TEXT];
};

static void add_number(struct search *search, const char *pointer, const char *senml_name,
                       double value, const struct unit *stated) {
    if (search->count == search->capacity)
        return;
    struct proposal *one = &search->list[search->count++];
    *one = (struct proposal){.value = value};
    snprintf(one->value_pointer, sizeof one->value_pointer, "%s", pointer);
    snprintf(one->senml_name, sizeof one->senml_name, "%s", senml_name);
    if (*pointer)
        snprintf(one->time_pointer, sizeof one->time_pointer, "%s", search->time_pointer);
    propose(one, search->topic, *senml_name ? senml_name : pointer, stated, search->units);
}

/* One more part behind a pointer (RFC 6901 section 3); false when there is no room for it. */
static bool add_part(char pointer[PROPOSAL_TEXT], const char *name) {
    size_t used = strlen(pointer);
    if (used + 2 * strlen(name) + 2 > PROPOSAL_TEXT)
        return false;
    pointer[used++] = '/';
    for (; *name; name++) {
        if (*name == '~' || *name == '/')
            pointer[used++] = '~';
        pointer[used++] = (char)(*name == '~' ? '0' : *name == '/' ? '1' : *name);
    }
    pointer[used] = '\0';
    return true;
}

static bool node_number(const struct json_node *node, double *value) {
    size_t length = 0;
    const char *text = json_node_text(node, &length);
    return text ? payload_value_parse(text, length, value) == REFUSAL_NONE
                : json_node_number(node, value);
}

/* Depth of the recursion: as deep as messages may be nested. */
static void search_node(struct search *search, const struct json_node *node,
                        char pointer[PROPOSAL_TEXT]) {
    size_t used = strlen(pointer);
    const char *name;
    void *cursor = NULL;
    const struct json_node *member;
    double value = 0.0;
    if (node_number(node, &value))
        add_number(search, pointer, "", value, NULL);
    if (json_node_kind(node) == JSON_NODE_ARRAY) {
        for (size_t i = 0; i < json_node_count(node) && search->count < search->capacity; i++) {
            char index[24];
            snprintf(index, sizeof index, "%zu", i);
            if (add_part(pointer, index))
                search_node(search, json_node_item(node, i), pointer);
            pointer[used] = '\0';
        }
    } else if (json_node_kind(node) == JSON_NODE_OBJECT) {
        while ((member = json_node_next_member(node, &cursor, &name))) {
            if (!is_no_reading(name) && add_part(pointer, name))
                search_node(search, member, pointer);
            pointer[used] = '\0';
        }
    }
}

static void search_senml(struct search *search, const struct json_node *records) {
    struct senml_pack pack;
    struct senml_record record;
    if (senml_open(&pack, records) != REFUSAL_NONE)
        return;
    while (senml_next(&pack, &record)) {
        char name[PROPOSAL_TEXT] = "";
        const struct unit *unit = NULL;
        if (record.refusal != REFUSAL_NONE || record.base_fields_only)
            continue;
        if (record.name.bytes && record.name.length < sizeof name)
            memcpy(name, record.name.bytes, record.name.length);
        if (record.unit.bytes)
            unit = unit_find(record.unit.bytes, record.unit.length);
        add_number(search, "", name, record.value, unit);
    }
}

/* A time beside the values, as a member of the whole. */
static void find_time(struct search *search, const struct json_node *root) {
    static const char *const names[] = {"time", "timestamp", "ts"};
    for (size_t i = 0; i < COUNT(names) && json_node_kind(root) == JSON_NODE_OBJECT; i++) {
        if (!json_node_member(root, names[i]))
            continue;
        snprintf(search->time_pointer, sizeof search->time_pointer, "/%s", names[i]);
        return;
    }
}

static void search_document(struct search *search, const char *text, size_t length) {
    struct json_node *root;
    char pointer[PROPOSAL_TEXT] = "";
    if (json_node_parse(text, length, PAYLOAD_DEPTH_MAX, &root) != REFUSAL_NONE)
        return;
    find_time(search, root);
    if (json_node_kind(root) == JSON_NODE_ARRAY)
        search_senml(search, root);
    if (search->count == 0)
        search_node(search, root, pointer);
    json_node_destroy(root);
}

size_t proposal_list(const char *topic, const void *payload, size_t length, enum unit_system units,
                     struct proposal *list, size_t capacity) {
    struct search search = {.topic = topic, .units = units, .list = list, .capacity = capacity};
    const char *text = payload, *end = text + length, *rest = text;
    double value = 0.0;
    while (text < end && payload_is_blank(*text))
        text++;
    while (end > text && payload_is_blank(end[-1]))
        end--;
    if (text == end || memchr(text, '\0', (size_t)(end - text)))
        return 0;
    if (unit_parse_number(text, (size_t)(end - text), &value, &rest) != UNIT_OK) {
        search_document(&search, text, (size_t)(end - text));
        return search.count;
    }
    while (rest < end && payload_is_blank(*rest))
        rest++;
    const struct unit *stated = rest < end ? unit_find(rest, (size_t)(end - rest)) : NULL;
    if (rest == end || stated)
        add_number(&search, "", "", value, stated);
    return search.count;
}

const char *proposal_every(int64_t message_count, int64_t first_ms, int64_t last_ms) {
    static const struct {
        int64_t every_ms;
        const char *text;
    } usual[] = {{DURATION_MINUTE_MS, "1 min"},       {2 * DURATION_MINUTE_MS, "2 min"},
                 {5 * DURATION_MINUTE_MS, "5 min"},   {10 * DURATION_MINUTE_MS, "10 min"},
                 {15 * DURATION_MINUTE_MS, "15 min"}, {30 * DURATION_MINUTE_MS, "30 min"},
                 {DURATION_HOUR_MS, "1 h"},           {2 * DURATION_HOUR_MS, "2 h"},
                 {4 * DURATION_HOUR_MS, "4 h"},       {6 * DURATION_HOUR_MS, "6 h"},
                 {12 * DURATION_HOUR_MS, "12 h"},     {DURATION_DAY_MS, "24 h"}};
    if (message_count < 2 || last_ms - first_ms < 10 * DURATION_MINUTE_MS)
        return "10 min";
    double mean_ms = (double)(last_ms - first_ms) / (double)(message_count - 1);
    size_t i = 0;
    /* The border between two is their geometric mean. */
    while (i + 1 < sizeof usual / sizeof usual[0] &&
           mean_ms * mean_ms > (double)usual[i].every_ms * (double)usual[i + 1].every_ms)
        i++;
    return usual[i].text;
}
