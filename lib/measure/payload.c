/*
 * Cheap first: nearly all messages are a plain number, which is read in place without allocating.
 * Only what begins like JSON, or is no number, is checked as text and given to the JSON parser.
 *
 * A number in JSON may be written as a text, "0.62"; a unit behind a number is understood in plain
 * text alone. A SenML pack has its own times, so a time pointer is not looked at there.
 */
#include "measure/payload.h"

#include "measure/json_node.h"
#include "measure/json_pointer.h"
#include "measure/payload_time.h"
#include "measure/payload_value.h"
#include "measure/senml.h"
#include "measure/utf8.h"

#include <assert.h>
#include <math.h>
#include <string.h>

struct message {
    const struct payload_binding *binding;
    int64_t arrival_ms;
    struct payload_reading *readings;
    size_t capacity;
    struct payload_result result;
};

static void refuse(struct message *message, enum refusal refusal, size_t records) {
    if (message->result.refusal == REFUSAL_NONE)
        message->result.refusal = refusal;
    message->result.refused += records;
    if (refusal == REFUSAL_TIME_IN_FUTURE)
        message->result.in_future += records;
}

/* The last step of every shape: unit and range, then one reading more. */
static void take(struct message *message, double value, const struct unit *stated, int64_t time_ms,
                 bool has_own_time) {
    struct payload_reading taken = {.has_own_time = has_own_time};
    enum refusal refusal = payload_value_to_si(message->binding, stated, value,
                                               &taken.reading.value, &taken.unit_converted);
    if (refusal == REFUSAL_OUT_OF_RANGE)
        message->result.impossible = taken.reading.value;
    if (refusal == REFUSAL_NONE && message->result.count == message->capacity)
        refusal = REFUSAL_TOO_LARGE;
    if (refusal != REFUSAL_NONE) {
        refuse(message, refusal, 1);
        return;
    }
    taken.reading.time_ms = time_ms;
    message->readings[message->result.count++] = taken;
}

/* A number that is the whole message has no members that a pointer could lead to. */
static enum refusal pointers_into_number(const struct payload_binding *binding) {
    if (binding->value_pointer && *binding->value_pointer)
        return REFUSAL_VALUE_MISSING;
    return binding->time_pointer ? REFUSAL_TIME_MALFORMED : REFUSAL_NONE;
}

static void take_plain(struct message *message, double value, const struct unit *stated) {
    enum refusal refusal = pointers_into_number(message->binding);
    if (refusal != REFUSAL_NONE)
        refuse(message, refusal, 1);
    else
        take(message, value, stated, message->arrival_ms, false);
}

/* "0.62 inH2O", read up to `rest`. What can't be a unit ("1,5", "0x1F", "1.2.3") makes it no
   number. */
static void decode_with_unit(struct message *message, double value, const char *number_end,
                             const char *end) {
    const char *rest = number_end;
    while (rest < end && payload_is_blank(*rest))
        rest++;
    size_t length = (size_t)(end - rest);
    unsigned char first = (unsigned char)*rest;
    bool letter = (first >= 'A' && first <= 'Z') || (first >= 'a' && first <= 'z');
    bool hexadecimal = rest == number_end && (first == 'x' || first == 'X');
    if ((!letter && first != '%' && first != '[' && first < 0x80) || hexadecimal ||
        memchr(rest, '\0', length) != NULL) {
        refuse(message, REFUSAL_NOT_A_NUMBER, 1);
        return;
    }
    if (!utf8_valid(rest, length)) {
        refuse(message, REFUSAL_INVALID_UTF8, 1);
        return;
    }
    const struct unit *stated = unit_find(rest, length);
    if (stated)
        take_plain(message, value, stated);
    else
        refuse(message, REFUSAL_UNKNOWN_UNIT, 1);
}

static void decode_record(struct message *message, const struct senml_record *record) {
    const struct payload_binding *binding = message->binding;
    if (record->refusal != REFUSAL_NONE) {
        refuse(message, record->refusal, 1);
        return;
    }
    const struct unit *stated = NULL;
    enum refusal refusal = REFUSAL_NONE;
    if (record->unit.bytes)
        refusal = senml_unit(record->unit.bytes, record->unit.length, binding->quantity, &stated);
    int64_t time_ms = 0;
    bool relative = false;
    if (refusal == REFUSAL_NONE)
        refusal = senml_time(record, message->arrival_ms, &time_ms, &relative)
                      ? payload_time_check(binding, time_ms, message->arrival_ms)
                      : REFUSAL_TIME_MALFORMED;
    if (refusal == REFUSAL_NONE)
        take(message, record->value, stated, time_ms, !relative);
    else
        refuse(message, refusal, 1);
}

static void decode_senml(struct message *message, const struct json_node *records) {
    size_t count = json_node_count(records);
    struct senml_pack pack;
    enum refusal refusal = count ? senml_open(&pack, records) : REFUSAL_VALUE_MISSING;
    if (refusal != REFUSAL_NONE) {
        refuse(message, refusal, count ? count : 1);
        return;
    }
    const char *wanted = message->binding->senml_name;
    struct senml_record record;
    while (senml_next(&pack, &record)) {
        if (wanted && !senml_name_ends_in(&record, wanted))
            continue;
        if (record.base_fields_only && record.refusal == REFUSAL_NONE)
            continue;
        decode_record(message, &record);
    }
}

static enum refusal node_value(const struct json_node *node, double *value) {
    if (!node)
        return REFUSAL_VALUE_MISSING;
    if (json_node_number(node, value))
        return REFUSAL_NONE;
    size_t length;
    const char *text = json_node_text(node, &length);
    return text ? payload_value_parse(text, length, value) : REFUSAL_NOT_A_NUMBER;
}

static void decode_document(struct message *message, const struct json_node *root) {
    const struct payload_binding *binding = message->binding;
    enum json_node_kind kind = json_node_kind(root);
    const char *value_pointer = binding->value_pointer, *time_pointer = binding->time_pointer;
    if (!value_pointer && kind == JSON_NODE_ARRAY) {
        decode_senml(message, root);
        return;
    }
    const struct json_node *time_node = NULL;
    if (!value_pointer)
        value_pointer = kind == JSON_NODE_OBJECT ? "/value" : "";
    if (time_pointer)
        time_node = json_pointer_resolve(root, time_pointer);
    else if (!binding->value_pointer && kind == JSON_NODE_OBJECT)
        time_node = json_node_member(root, "time");
    bool has_own_time = time_pointer || time_node;
    double value = 0;
    int64_t time_ms = message->arrival_ms;
    enum refusal refusal = node_value(json_pointer_resolve(root, value_pointer), &value);
    if (refusal == REFUSAL_NONE && has_own_time)
        refusal = payload_time_read(binding, time_node, message->arrival_ms, &time_ms);
    if (refusal == REFUSAL_NONE)
        take(message, value, NULL, time_ms, has_own_time);
    else
        refuse(message, refusal, 1);
}

static void decode_json(struct message *message, const char *text, size_t length) {
    struct json_node *root;
    enum refusal refusal = json_node_parse(text, length, PAYLOAD_DEPTH_MAX, &root);
    /* A sender of plain text never meant JSON: tell it what it should have sent. */
    if (refusal == REFUSAL_MALFORMED && *text != '{' && *text != '[' && *text != '"')
        refusal = REFUSAL_NOT_A_NUMBER;
    if (refusal != REFUSAL_NONE) {
        refuse(message, refusal, 1);
        return;
    }
    decode_document(message, root);
    json_node_destroy(root);
}

static void decode(struct message *message, const char *text, const char *end) {
    while (text < end && payload_is_blank(*text))
        text++;
    while (end > text && payload_is_blank(end[-1]))
        end--;
    size_t length = (size_t)(end - text);
    double value;
    const char *number_end = text;
    if (length == 0) {
        refuse(message, REFUSAL_EMPTY, 1);
        return;
    }
    switch (unit_parse_number(text, length, &value, &number_end)) {
    case UNIT_OK:
        if (number_end == end)
            take_plain(message, value, NULL);
        else
            decode_with_unit(message, value, number_end, end);
        return;
    case UNIT_NOT_FINITE:
        refuse(message, REFUSAL_NOT_FINITE, 1);
        return;
    default:
        if (payload_value_names_no_number(text, length))
            refuse(message, REFUSAL_NOT_FINITE, 1);
        else
            decode_json(message, text, length);
    }
}

struct payload_result payload_decode(const struct payload_binding *binding, const void *bytes,
                                     size_t length, int64_t arrival_ms,
                                     struct payload_reading *readings, size_t capacity) {
    assert(binding->unit);
    struct message message = {.binding = binding,
                              .arrival_ms = arrival_ms,
                              .readings = readings,
                              .capacity = capacity,
                              .result = {.impossible = NAN}};
    if (length > PAYLOAD_BYTES_MAX)
        refuse(&message, REFUSAL_TOO_LARGE, 1);
    else if (length == 0)
        refuse(&message, REFUSAL_EMPTY, 1);
    else
        decode(&message, bytes, (const char *)bytes + length);
    return message.result;
}
