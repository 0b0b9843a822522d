/*
 * Built from libyaml's events rather than its document loader: the bounds are checked while the
 * text is read, a key keeps its own line, and nothing recurses on the input. The nodes being built
 * lie on a stack; a finished one is moved into the one below it.
 */
#include "settings/yaml_tree.h"

#include "measure/array.h"
#include "settings/error_list.h"

#include <stdlib.h>
#include <string.h>
#include <yaml.h>

struct frame {
    struct yaml_tree_node node;
    char *key; /* of a map: read, its value still to come */
    int key_line;
};

struct builder {
    const char *file;
    struct settings_errors *errors;
    struct frame frames[YAML_TREE_DEPTH_MAX];
    size_t depth;
    struct yaml_tree_node *root; /* set when the document's one value is complete */
    bool document_seen;
};

static int mark_line(yaml_mark_t mark) {
    return mark.line < 100000000 ? (int)mark.line + 1 : 0;
}

static bool refuse(const struct builder *builder, int line, const char *what) {
    settings_errors_add(builder->errors, "%s:%d: syntax: %s", builder->file, line, what);
    return false;
}

static void free_content(struct yaml_tree_node *node) {
    for (size_t i = 0; i < node->count; i++) {
        free(node->entries[i].key);
        free_content(&node->entries[i].value);
    }
    free(node->entries);
    free(node->text);
}

void yaml_tree_free(struct yaml_tree_node *root) {
    if (!root)
        return;
    free_content(root);
    free(root);
}

const struct yaml_tree_entry *yaml_tree_find(const struct yaml_tree_node *node, const char *key) {
    if (!node || node->kind != YAML_TREE_MAP)
        return NULL;
    for (size_t i = 0; i < node->count; i++)
        if (strcmp(node->entries[i].key, key) == 0)
            return &node->entries[i];
    return NULL;
}

/* Moves a finished node into the one below it, or makes it the root. Frees it on failure. */
static bool place(struct builder *builder, struct yaml_tree_node node) {
    if (builder->depth == 0) {
        if (builder->root) {
            free_content(&node);
            return refuse(builder, node.line, "a second value is not allowed");
        }
        builder->root = malloc(sizeof *builder->root);
        if (!builder->root) {
            free_content(&node);
            return refuse(builder, node.line, "out of memory");
        }
        *builder->root = node;
        return true;
    }
    struct frame *frame = &builder->frames[builder->depth - 1];
    struct yaml_tree_entry *entries =
        array_room(frame->node.entries, frame->node.count, sizeof *entries);
    if (!entries) {
        free_content(&node);
        return refuse(builder, node.line, "out of memory");
    }
    frame->node.entries = entries;
    bool in_map = frame->node.kind == YAML_TREE_MAP;
    entries[frame->node.count++] = (struct yaml_tree_entry){
        .key = frame->key, .line = in_map ? frame->key_line : node.line, .value = node};
    frame->key = NULL;
    return true;
}

static bool expects_key(const struct builder *builder) {
    if (builder->depth == 0)
        return false;
    const struct frame *frame = &builder->frames[builder->depth - 1];
    return frame->node.kind == YAML_TREE_MAP && !frame->key;
}

static bool take_scalar(struct builder *builder, const yaml_event_t *event) {
    int line = mark_line(event->start_mark);
    const char *text = (const char *)event->data.scalar.value;
    size_t length = event->data.scalar.length;
    if (event->data.scalar.anchor)
        return refuse(builder, line, "an anchor (&) is not allowed; write the value out");
    if (event->data.scalar.tag)
        return refuse(builder, line, "a tag (!) is not allowed; quote the text instead");
    if (memchr(text, '\0', length))
        return refuse(builder, line, "a NUL byte is not allowed");
    char *copy = malloc(length + 1);
    if (!copy)
        return refuse(builder, line, "out of memory");
    memcpy(copy, text, length);
    copy[length] = '\0';
    if (!expects_key(builder))
        return place(builder, (struct yaml_tree_node){.kind = YAML_TREE_SCALAR,
                                                      .line = line,
                                                      .plain = event->data.scalar.style ==
                                                               YAML_PLAIN_SCALAR_STYLE,
                                                      .text = copy});
    if (length == 0) {
        free(copy);
        return refuse(builder, line, "a key is empty");
    }
    struct frame *frame = &builder->frames[builder->depth - 1];
    frame->key = copy;
    frame->key_line = line;
    return true;
}

static bool open_node(struct builder *builder, enum yaml_tree_kind kind, yaml_mark_t mark,
                      bool anchor, bool tag) {
    int line = mark_line(mark);
    if (anchor)
        return refuse(builder, line, "an anchor (&) is not allowed; write the value out");
    if (tag)
        return refuse(builder, line, "a tag (!) is not allowed");
    if (expects_key(builder))
        return refuse(builder, line, "a key must be text, not a list or a map");
    if (builder->depth == YAML_TREE_DEPTH_MAX)
        return refuse(builder, line, "nested too deep; allowed: 32 levels");
    builder->frames[builder->depth++] = (struct frame){.node = {.kind = kind, .line = line}};
    return true;
}

struct key_place {
    const char *key;
    int line;
};

static int compare_keys(const void *a, const void *b) {
    const struct key_place *x = a, *y = b;
    int order = strcmp(x->key, y->key);
    return order ? order : (x->line > y->line) - (x->line < y->line);
}

/* Sorted, so that a map of very many keys costs no quadratic time. */
static bool keys_are_unique(const struct builder *builder, const struct yaml_tree_node *map) {
    if (map->count < 2)
        return true;
    struct key_place *sorted = malloc(map->count * sizeof *sorted);
    if (!sorted)
        return refuse(builder, map->line, "out of memory");
    for (size_t i = 0; i < map->count; i++)
        sorted[i] = (struct key_place){map->entries[i].key, map->entries[i].line};
    qsort(sorted, map->count, sizeof *sorted, compare_keys);
    bool unique = true;
    for (size_t i = 1; i < map->count && unique; i++)
        if (strcmp(sorted[i - 1].key, sorted[i].key) == 0) {
            settings_errors_add(builder->errors, "%s:%d: %.200s: given twice, first in line %d",
                                builder->file, sorted[i].line, sorted[i].key, sorted[i - 1].line);
            unique = false;
        }
    free(sorted);
    return unique;
}

static bool close_node(struct builder *builder) {
    struct yaml_tree_node node = builder->frames[--builder->depth].node;
    if (node.kind == YAML_TREE_MAP && !keys_are_unique(builder, &node)) {
        free_content(&node);
        return false;
    }
    return place(builder, node);
}

static bool take_event(struct builder *builder, const yaml_event_t *event) {
    switch (event->type) {
    case YAML_DOCUMENT_START_EVENT:
        if (builder->document_seen)
            return refuse(builder, mark_line(event->start_mark),
                          "a second document (---) is not allowed");
        builder->document_seen = true;
        return true;
    case YAML_SCALAR_EVENT:
        return take_scalar(builder, event);
    case YAML_ALIAS_EVENT:
        return refuse(builder, mark_line(event->start_mark),
                      "an alias (*) is not allowed; write the value out, or quote the text");
    case YAML_SEQUENCE_START_EVENT:
        return open_node(builder, YAML_TREE_LIST, event->start_mark,
                         event->data.sequence_start.anchor != NULL,
                         event->data.sequence_start.tag != NULL);
    case YAML_MAPPING_START_EVENT:
        return open_node(builder, YAML_TREE_MAP, event->start_mark,
                         event->data.mapping_start.anchor != NULL,
                         event->data.mapping_start.tag != NULL);
    case YAML_SEQUENCE_END_EVENT:
    case YAML_MAPPING_END_EVENT:
        return close_node(builder);
    default:
        return true;
    }
}

/* libyaml marks where it noticed; where the construct began is often the better hint. */
static bool refuse_syntax(const struct builder *builder, const yaml_parser_t *parser) {
    if (parser->error == YAML_MEMORY_ERROR)
        return refuse(builder, 0, "out of memory");
    const char *problem = parser->problem ? parser->problem : "not YAML";
    if (parser->error == YAML_READER_ERROR) {
        settings_errors_add(builder->errors, "%s:%d: syntax: byte %zu: %s; allowed: UTF-8 text",
                            builder->file, mark_line(parser->mark), parser->problem_offset + 1,
                            problem);
        return false;
    }
    if (parser->context)
        settings_errors_add(builder->errors, "%s:%d: syntax: %s, %s that begins in line %d",
                            builder->file, mark_line(parser->problem_mark), problem,
                            parser->context, mark_line(parser->context_mark));
    else
        settings_errors_add(builder->errors, "%s:%d: syntax: %s", builder->file,
                            mark_line(parser->problem_mark), problem);
    return false;
}

static bool build(struct builder *builder, yaml_parser_t *parser) {
    for (bool done = false; !done;) {
        yaml_event_t event;
        if (!yaml_parser_parse(parser, &event))
            return refuse_syntax(builder, parser);
        bool good = take_event(builder, &event);
        done = event.type == YAML_STREAM_END_EVENT;
        yaml_event_delete(&event);
        if (!good)
            return false;
    }
    return builder->root || refuse(builder, 1, "the file is empty");
}

static void abandon(struct builder *builder) {
    while (builder->depth > 0) {
        struct frame *frame = &builder->frames[--builder->depth];
        free(frame->key);
        free_content(&frame->node);
    }
    yaml_tree_free(builder->root);
    builder->root = NULL;
}

struct yaml_tree_node *yaml_tree_parse(const char *file, const char *text, size_t length,
                                       struct settings_errors *errors) {
    struct builder builder = {.file = file, .errors = errors};
    if (length > YAML_TREE_BYTES_MAX) {
        refuse(&builder, 1, "the file is too large; allowed: 1 MiB");
        return NULL;
    }
    yaml_parser_t parser;
    if (!yaml_parser_initialize(&parser)) {
        refuse(&builder, 0, "out of memory");
        return NULL;
    }
    yaml_parser_set_input_string(&parser, (const unsigned char *)text, length);
    if (!build(&builder, &parser))
        abandon(&builder);
    yaml_parser_delete(&parser);
    return builder.root;
}
