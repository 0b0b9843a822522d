/*
 * visit_texts: which conditions call for a visit, and what to check and to bring for them when no
 * diagnosis says more.
 */
#ifndef WORDS_VISIT_TEXTS_H
#define WORDS_VISIT_TEXTS_H

#include "alarm/condition.h"
#include "diagnosis/visit_item.h"

#include <stdbool.h>

struct visit_condition_items {
    bool calls;                                                       /* for a visit */
    enum visit_item check[VISIT_ITEMS_MOST], bring[VISIT_ITEMS_MOST]; /* to VISIT_NONE */
};
const struct visit_condition_items *visit_condition_items(enum condition condition);

#endif
