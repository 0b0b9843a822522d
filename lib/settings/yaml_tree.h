/*
 * yaml_tree: one YAML document as a tree that knows its lines.
 *
 * Only what settings need: maps with text keys, lists, scalars. Anchors, aliases, tags, several
 * documents and keys given twice are refused, so that what is read is what is written. Bounded in
 * size, depth and number of values. libyaml's types stay in yaml_tree.c. Pure.
 */
#ifndef SETTINGS_YAML_TREE_H
#define SETTINGS_YAML_TREE_H

#include <stdbool.h>
#include <stddef.h>

#define YAML_TREE_BYTES_MAX (1024 * 1024)
#define YAML_TREE_DEPTH_MAX 32

enum yaml_tree_kind { YAML_TREE_SCALAR, YAML_TREE_LIST, YAML_TREE_MAP };

struct yaml_tree_entry;

struct yaml_tree_node {
    enum yaml_tree_kind kind;
    int line;                        /* from 1 */
    bool plain;                      /* a scalar without quotes */
    char *text;                      /* a scalar's UTF-8 text without NUL, else NULL */
    struct yaml_tree_entry *entries; /* of a map or list */
    size_t count;
};

struct yaml_tree_entry {
    char *key; /* NULL in a list */
    int line;  /* of the key, or of the value in a list */
    struct yaml_tree_node value;
};

struct settings_errors;

/**
 * Parses one document. Returns NULL after adding one error "FILE:LINE: syntax: …" to `errors`. The
 * caller frees with yaml_tree_free. `text` need not end in NUL; UTF-8 (or UTF-16 with its mark).
 */
struct yaml_tree_node *yaml_tree_parse(const char *file, const char *text, size_t length,
                                       struct settings_errors *errors);
void yaml_tree_free(struct yaml_tree_node *root); /* NULL does nothing */

/** The entry of a map, or NULL when there is none (or `node` is no map). */
const struct yaml_tree_entry *yaml_tree_find(const struct yaml_tree_node *node, const char *key);

#endif
