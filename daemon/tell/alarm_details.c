#include "tell/alarm_details.h"

#include <math.h>

static struct text_list list_of(const json_t *root, const char *name, const char **items) {
    struct text_list list = {items, 0};
    size_t i;
    json_t *item;
    json_array_foreach(json_object_get(root, name), i, item) {
        if (list.count < ALARM_DETAILS_LIST_MOST && json_is_string(item))
            items[list.count++] = json_string_value(item);
    }
    return list;
}

void alarm_details_open(struct alarm_details *details, const struct alarm *alarm) {
    *details = (struct alarm_details){.confidence = NAN};
    if (!alarm->details)
        return;
    details->root = json_loads(alarm->details, 0, NULL);
    details->cause = json_string_value(json_object_get(details->root, "cause"));
    json_t *confidence = json_object_get(details->root, "confidence");
    if (json_is_number(confidence))
        details->confidence = json_number_value(confidence);
    details->evidence = list_of(details->root, "evidence", details->evidence_items);
    details->check = list_of(details->root, "check", details->check_items);
    details->bring = list_of(details->root, "bring", details->bring_items);
}

void alarm_details_close(struct alarm_details *details) {
    json_decref(details->root);
    details->root = NULL;
}
