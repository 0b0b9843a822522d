#include "settings/contractor.h"

#include "settings/checked_text.h"

#include <stdlib.h>

static const struct key_row rows[] = {
    {.key = "name",
     KEY_TEXT_AT(offsetof(struct contractor, name), checked_text_line, "one line of text"),
     .required = true},
    {.key = "telephone",
     KEY_TEXT_AT(offsetof(struct contractor, telephone), checked_text_line, "one line of text")},
};

void contractor_read(struct key_reader *reader, const struct key_path *path,
                     const struct yaml_tree_node *node, struct contractor *contractor) {
    key_map_read(reader, path, node, KEY_ROWS(rows), contractor);
}

void contractor_clear(struct contractor *contractor) {
    free(contractor->name);
    free(contractor->telephone);
}
