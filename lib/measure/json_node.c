/*
 * A grammar of eight lines (RFC 8259), read once. All values of a document and the texts in it lie
 * in one piece of memory: a first look counts how many values there can be.
 */
#include "measure/json_node.h"

#include "measure/decimal.h"
#include "measure/utf8.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

struct json_node {
    enum json_node_kind kind;
    size_t length;           /* of a text in bytes; of an array or object: how many are in it */
    const char *text, *name; /* name: of a member */
    const struct json_node *first, *next;
    double number;
};

struct parser {
    const char *at, *end;
    struct json_node *free_node;
    char *free_text;
};

/* ---- a first look ---- */

/* How deep it goes, and how many values it has at most: but for the root, each stands behind one of
   these marks. What is not JSON fails later. */
static size_t look_over(const char *bytes, size_t length, size_t *values_most) {
    size_t depth = 0, deepest = 0;
    bool in_text = false;
    *values_most = 1;
    for (size_t i = 0; i < length; i++) {
        char c = bytes[i];
        if (c == '"')
            in_text = !in_text;
        else if (in_text)
            i += c == '\\';
        else if (c == '[' || c == '{')
            depth++;
        else if ((c == ']' || c == '}') && depth > 0)
            depth--;
        *values_most += !in_text && (c == '[' || c == '{' || c == ',' || c == ':');
        deepest = depth > deepest ? depth : deepest;
    }
    return deepest;
}

/* ---- texts ---- */

static void put_character(char **to, unsigned code) {
    unsigned char *bytes = (unsigned char *)*to;
    size_t more = code < 0x80 ? 0 : code < 0x800 ? 1 : code < 0x10000 ? 2 : 3;
    static const unsigned char heads[] = {0x00, 0xC0, 0xE0, 0xF0};
    bytes[0] = (unsigned char)(heads[more] | code >> (6 * more));
    for (size_t i = 1; i <= more; i++)
        bytes[i] = (unsigned char)(0x80 | (code >> (6 * (more - i)) & 0x3F));
    *to += more + 1;
}

/* The four digits behind \u; beyond 16 bit: they are not there. */
static unsigned take_hexadecimal(struct parser *parser) {
    unsigned code = 0;
    for (int i = 0; i < 4; i++, parser->at++) {
        char c = parser->at < parser->end ? *parser->at : '\0';
        unsigned digit = c >= '0' && c <= '9'   ? (unsigned)(c - '0')
                         : c >= 'a' && c <= 'f' ? (unsigned)(c - 'a' + 10)
                         : c >= 'A' && c <= 'F' ? (unsigned)(c - 'A' + 10)
                                                : 0x10000;
        if (digit > 0xF)
            return 0x10000;
        code = code << 4 | digit;
    }
    return code;
}

/* Behind \u. Characters beyond 16 bit are two, the surrogates. */
static bool take_code(struct parser *parser) {
    unsigned code = take_hexadecimal(parser);
    if (code >= 0xD800 && code <= 0xDBFF) {
        if (parser->end - parser->at < 2 || parser->at[0] != '\\' || parser->at[1] != 'u')
            return false;
        parser->at += 2;
        unsigned low = take_hexadecimal(parser);
        if (low < 0xDC00 || low > 0xDFFF)
            return false;
        code = 0x10000 + ((code - 0xD800) << 10) + (low - 0xDC00);
    } else if ((code >= 0xDC00 && code <= 0xDFFF) || code > 0xFFFF) {
        return false;
    }
    put_character(&parser->free_text, code);
    return true;
}

static bool take_escape(struct parser *parser) {
    static const char letters[] = "\"\\/bfnrt", meant[] = "\"\\/\b\f\n\r\t";
    if (parser->at == parser->end)
        return false;
    char c = *parser->at++;
    if (c == 'u')
        return take_code(parser);
    const char *letter = c ? strchr(letters, c) : NULL;
    if (letter)
        *parser->free_text++ = meant[letter - letters];
    return letter != NULL;
}

/* Behind its first quote; NULL: malformed. It ends in a null byte. */
static const char *take_text(struct parser *parser, size_t *length) {
    char *begin = parser->free_text;
    while (parser->at < parser->end) {
        char c = *parser->at++;
        if (c == '"') {
            *length = (size_t)(parser->free_text - begin);
            *parser->free_text++ = '\0';
            return begin;
        }
        if ((unsigned char)c < ' ' || (c == '\\' && !take_escape(parser)))
            return NULL;
        if (c != '\\')
            *parser->free_text++ = c;
    }
    return NULL;
}

/* ---- values ---- */

static void skip_blanks(struct parser *parser) {
    while (parser->at < parser->end && (*parser->at == ' ' || *parser->at == '\t' ||
                                        *parser->at == '\n' || *parser->at == '\r'))
        parser->at++;
}

/* The next mark, '\0' at the end. */
static char peek(struct parser *parser) {
    skip_blanks(parser);
    return parser->at < parser->end ? *parser->at : '\0';
}

static bool take_digits(const char **at, const char *end) {
    const char *begin = *at;
    while (*at < end && **at >= '0' && **at <= '9')
        ++*at;
    return *at > begin;
}

/* Stricter than what decimal_read takes. */
static enum refusal take_number(struct parser *parser, struct json_node *node) {
    const char *begin = parser->at, *at = begin + (*begin == '-'), *end = parser->end;
    const char *first = at;
    if (!take_digits(&at, end) || (*first == '0' && at - first > 1))
        return REFUSAL_MALFORMED;
    if (at < end && *at == '.' && (++at, !take_digits(&at, end)))
        return REFUSAL_MALFORMED;
    if (at < end && (*at == 'e' || *at == 'E')) {
        at++;
        at += at < end && (*at == '+' || *at == '-');
        if (!take_digits(&at, end))
            return REFUSAL_MALFORMED;
    }
    parser->at = at;
    node->kind = JSON_NODE_NUMBER;
    decimal_read(begin, (size_t)(at - begin), &node->number);
    return isfinite(node->number) ? REFUSAL_NONE : REFUSAL_NOT_FINITE;
}

static enum refusal take_word(struct parser *parser, struct json_node *node) {
    static const struct {
        const char *word;
        enum json_node_kind kind;
    } words[] = {
        {"true", JSON_NODE_BOOLEAN}, {"false", JSON_NODE_BOOLEAN}, {"null", JSON_NODE_NULL}};
    for (size_t i = 0; i < 3; i++) {
        size_t length = strlen(words[i].word);
        if ((size_t)(parser->end - parser->at) < length ||
            memcmp(parser->at, words[i].word, length) != 0)
            continue;
        parser->at += length;
        node->kind = words[i].kind;
        return REFUSAL_NONE;
    }
    return REFUSAL_MALFORMED;
}

static enum refusal take_name(struct parser *parser, const char **name) {
    size_t length = 0;
    if (peek(parser) != '"')
        return REFUSAL_MALFORMED;
    parser->at++;
    *name = take_text(parser, &length);
    if (!*name || memchr(*name, '\0', length) || peek(parser) != ':')
        return REFUSAL_MALFORMED;
    parser->at++;
    return REFUSAL_NONE;
}

static enum refusal take_value(struct parser *parser, const char *name,
                               const struct json_node **value);

/* Behind its first bracket. */
static enum refusal take_inside(struct parser *parser, struct json_node *node, char end) {
    const struct json_node **next = &node->first;
    bool more = peek(parser) != end;
    while (more) {
        const char *name = NULL;
        enum refusal refusal =
            node->kind == JSON_NODE_OBJECT ? take_name(parser, &name) : REFUSAL_NONE;
        if (refusal == REFUSAL_NONE)
            refusal = take_value(parser, name, next);
        if (refusal != REFUSAL_NONE)
            return refusal;
        next = &((struct json_node *)*next)->next;
        node->length++;
        more = peek(parser) == ',';
        parser->at += more;
    }
    if (peek(parser) != end)
        return REFUSAL_MALFORMED;
    parser->at++;
    return REFUSAL_NONE;
}

static enum refusal take_value(struct parser *parser, const char *name,
                               const struct json_node **value) {
    struct json_node *node = parser->free_node++;
    char c = peek(parser);
    *value = node;
    *node = (struct json_node){.name = name};
    if (c == '-' || (c >= '0' && c <= '9'))
        return take_number(parser, node);
    if (c != '"' && c != '[' && c != '{')
        return take_word(parser, node);
    parser->at++;
    if (c == '"') {
        node->kind = JSON_NODE_TEXT;
        node->text = take_text(parser, &node->length);
        return node->text ? REFUSAL_NONE : REFUSAL_MALFORMED;
    }
    node->kind = c == '[' ? JSON_NODE_ARRAY : JSON_NODE_OBJECT;
    return take_inside(parser, node, c == '[' ? ']' : '}');
}

enum refusal json_node_parse(const char *bytes, size_t length, size_t depth_max,
                             struct json_node **root) {
    size_t values_most;
    if (!utf8_valid(bytes, length))
        return REFUSAL_INVALID_UTF8;
    if (length == 0 || memchr(bytes, '\0', length))
        return REFUSAL_MALFORMED;
    if (look_over(bytes, length, &values_most) > depth_max)
        return REFUSAL_TOO_DEEP;
    struct json_node *nodes = malloc(values_most * sizeof *nodes + length);
    if (!nodes)
        return REFUSAL_MALFORMED;
    struct parser parser = {bytes, bytes + length, nodes, (char *)(nodes + values_most)};
    const struct json_node *value;
    enum refusal refusal = take_value(&parser, NULL, &value);
    if (refusal == REFUSAL_NONE && peek(&parser) != '\0')
        refusal = REFUSAL_MALFORMED;
    if (refusal == REFUSAL_NONE)
        *root = nodes;
    else
        free(nodes);
    return refusal;
}

void json_node_destroy(struct json_node *root) {
    free(root);
}

/* ---- reading it ---- */

enum json_node_kind json_node_kind(const struct json_node *node) {
    return node->kind;
}

bool json_node_number(const struct json_node *node, double *value) {
    if (node->kind != JSON_NODE_NUMBER)
        return false;
    *value = node->number;
    return true;
}

const char *json_node_text(const struct json_node *node, size_t *length) {
    if (node->text)
        *length = node->length;
    return node->text;
}

size_t json_node_count(const struct json_node *node) {
    return node->kind == JSON_NODE_TEXT ? 0 : node->length;
}

const struct json_node *json_node_first(const struct json_node *node) {
    return node->first;
}

const struct json_node *json_node_next(const struct json_node *node) {
    return node->next;
}

const char *json_node_name(const struct json_node *node) {
    return node->name;
}

const struct json_node *json_node_member(const struct json_node *node, const char *name) {
    const struct json_node *found = NULL;
    for (node = node->first; node; node = node->next)
        if (node->name && strcmp(node->name, name) == 0)
            found = node;
    return found;
}
