#include "monitor/renewal_list.h"

#include "measure/array.h"
#include "settings/change_words.h"

#include <stdlib.h>
#include <string.h>

bool renewal_list_add(struct renewal_list *list, int64_t from_ms, unsigned changed) {
    size_t place = list->count;
    while (place > 0 && list->items[place - 1].from_ms > from_ms)
        place--;
    if (place > 0 && list->items[place - 1].from_ms == from_ms) {
        list->items[place - 1].changed |= changed;
        return true;
    }
    struct renewal *grown = array_room(list->items, list->count, sizeof *grown);
    if (!grown)
        return false;
    list->items = grown;
    memmove(&grown[place + 1], &grown[place], (list->count - place) * sizeof *grown);
    grown[place] = (struct renewal){from_ms, changed};
    list->count++;
    return true;
}

void renewal_list_clear(struct renewal_list *list) {
    free(list->items);
    *list = (struct renewal_list){NULL, 0};
}

unsigned renewal_list_changed(const struct renewal_list *list, int64_t from_ms) {
    for (size_t i = 0; i < list->count; i++) {
        if (list->items[i].from_ms == from_ms)
            return list->items[i].changed;
    }
    return CHANGE_UNSAID;
}
