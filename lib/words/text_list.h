/*
 * text_list: some texts in order, borrowed.
 */
#ifndef WORDS_TEXT_LIST_H
#define WORDS_TEXT_LIST_H

#include <stddef.h>

struct text_list {
    const char *const *items;
    size_t count;
};

#endif
