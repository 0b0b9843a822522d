/*
 * commission_private: the form of a commissioning, shared by commission.c (which writes it) and
 * commission_take.c (which reads what was sent).
 */
#ifndef DAEMON_PAGE_COMMISSION_PRIVATE_H
#define DAEMON_PAGE_COMMISSION_PRIVATE_H

#include "page/entry.h"
#include "page/view.h"

enum {
    POINTS_MOST = 60,
    SETTINGS_SHOWN = 3,
    HOLES_SHOWN = 5,
    NAME_SIZE = ENTRY_NAME_SIZE, /* "value-" and an id */
    READINGS_MOST = 4096
};
struct commission_form {
    struct page_view *view;
    size_t system;
    struct entry entry;
    size_t rows[SETTINGS_SHOWN], row_count; /* which settings of the form were sent along */
    char holes[HOLES_SHOWN][NAME_SIZE];     /* names of the test holes */
};

/** Names of fields: "suction-1" of the first fan setting, "field-1-2" of its second hole. */
const char *commission_cell(char name[NAME_SIZE], const char *what, size_t row);
const char *commission_field(char name[NAME_SIZE], size_t row, size_t hole);

/** Answers with the form. */
void commission_show(struct commission_form *form, int status);

#endif
