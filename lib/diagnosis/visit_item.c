#include "diagnosis/visit_item.h"

#include <string.h>

#define ROW(name, word, quantities) [VISIT_##name] = {word, quantities},
static const struct {
    const char *word;
    unsigned quantities;
} items[VISIT_ITEM_COUNT] = {VISIT_ITEMS(ROW)};

const char *visit_item_word(enum visit_item item) {
    return items[item].word;
}

enum visit_item visit_item_find(const char *word) {
    for (int i = 1; i < VISIT_ITEM_COUNT; i++)
        if (strcmp(items[i].word, word) == 0)
            return (enum visit_item)i;
    return VISIT_NONE;
}

bool visit_item_fits(enum visit_item item, enum quantity quantity) {
    return quantity == QUANTITY_COUNT || items[item].quantities == 0 ||
           (items[item].quantities >> quantity & 1U) != 0;
}
