#include "pipeline/equipment_json.h"

#include "measure/timestamp.h"

#include <string.h>

json_t *equipment_json_day(int64_t day) {
    char text[32];
    return day == TIMESTAMP_NONE ? json_null()
                                 : json_string(timestamp_format_day(text, sizeof text, day));
}

static int64_t day_of(const json_t *json) {
    const char *text = json_string_value(json);
    int year = 0, month = 0, day = 0;
    return text && timestamp_parse_date(text, strlen(text), &year, &month, &day)
               ? timestamp_days_from_civil(year, month, day)
               : TIMESTAMP_NONE;
}

json_t *equipment_json(const struct equipment_list *list) {
    json_t *json = list->count ? json_array() : NULL;
    for (size_t i = 0; i < list->count; i++) {
        const struct equipment *fan = &list->items[i];
        json_array_append_new(
            json, json_pack("{s:s, s:s, s:s?, s:o, s:o, s:s?}", "branch", fan->branch, "model",
                            fan->model, "serial", fan->serial, "installed",
                            equipment_json_day(fan->installed_day), "warranty_until",
                            equipment_json_day(fan->warranty_until_day), "why", fan->why));
    }
    return json;
}

/* What is read is only looked at. */
static char *text_of(const json_t *json, const char *key) {
    return (char *)(uintptr_t)json_string_value(json_object_get(json, key));
}

bool equipment_json_read(const json_t *json, struct equipment *equipment) {
    *equipment = (struct equipment){
        .branch = text_of(json, "branch"),
        .model = text_of(json, "model"),
        .serial = text_of(json, "serial"),
        .why = text_of(json, "why"),
        .installed_day = day_of(json_object_get(json, "installed")),
        .warranty_until_day = day_of(json_object_get(json, "warranty_until")),
    };
    return equipment->branch && equipment->model;
}
