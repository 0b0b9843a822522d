/*
 * text_list: some texts in order, borrowed.
 */
#ifndef ALARM_TEXT_LIST_H
#define ALARM_TEXT_LIST_H

#include <stddef.h>

struct text_list {
    const char *const *items;
    size_t count;
};

#endif
