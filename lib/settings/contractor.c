#include "settings/contractor.h"

#include "settings/checked_text.h"

static const struct key_row rows[] = {
    {.key = "name",
     KEY_TEXT_AT(offsetof(struct contractor, name), checked_text_line, "one line of text"),
     .required = true},
    {.key = "telephone",
     KEY_TEXT_AT(offsetof(struct contractor, telephone), checked_text_line, "one line of text")},
};

void contractor_read(const struct key_at *at, void *contractor) {
    key_map_read(at, KEY_ROWS(rows), contractor);
}
