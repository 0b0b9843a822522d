#include "settings/contractor.h"

#include "settings/checked_text.h"

#include <stdlib.h>

static const struct key_row rows[] = {
    {.key = "name",
     .kind = KEY_TEXT,
     .offset = offsetof(struct contractor, name),
     .required = true,
     .allowed = "one line of text",
     .check = checked_text_line},
    {.key = "telephone",
     .kind = KEY_TEXT,
     .offset = offsetof(struct contractor, telephone),
     .allowed = "one line of text",
     .check = checked_text_line},
};

void contractor_read(struct key_reader *reader, const struct key_path *path,
                     const struct yaml_tree_node *node, struct contractor *contractor) {
    key_map_read(reader, path, node, rows, sizeof rows / sizeof rows[0], contractor);
}

void contractor_clear(struct contractor *contractor) {
    free(contractor->name);
    free(contractor->telephone);
}
