#include "monitor/fitted_fans.h"

#include "measure/array.h"
#include "measure/timestamp.h"

#include <stdlib.h>
#include <string.h>

static void clear(struct fitted_fan *fan) {
    free(fan->model);
    free(fan->serial);
    free(fan->why);
}

static bool copy_of(struct fitted_fan *fan, int64_t since_ms, const struct equipment *equipment) {
    *fan = (struct fitted_fan){
        .since_ms = since_ms,
        .model = strdup(equipment->model),
        .serial = equipment->serial ? strdup(equipment->serial) : NULL,
        .why = equipment->why ? strdup(equipment->why) : NULL,
        .installed_day = equipment->installed_day,
        .warranty_until_day = equipment->warranty_until_day,
    };
    if (fan->model && (fan->serial || !equipment->serial) && (fan->why || !equipment->why))
        return true;
    clear(fan);
    return false;
}

bool fitted_fans_add(struct fitted_fans *fans, int64_t since_ms,
                     const struct equipment *equipment) {
    struct fitted_fan fan;
    struct fitted_fan *grown = array_room(fans->fans, fans->count, sizeof *grown);
    if (!grown)
        return false;
    fans->fans = grown;
    if (!copy_of(&fan, since_ms, equipment))
        return false;
    size_t place = fans->count;
    while (place > 0 && grown[place - 1].since_ms > since_ms)
        place--;
    if (place > 0 && grown[place - 1].since_ms == since_ms) {
        clear(&grown[place - 1]);
        grown[place - 1] = fan;
        return true;
    }
    memmove(grown + place + 1, grown + place, (fans->count++ - place) * sizeof *grown);
    grown[place] = fan;
    return true;
}

void fitted_fans_clear(struct fitted_fans *fans) {
    for (size_t i = 0; i < fans->count; i++)
        clear(&fans->fans[i]);
    free(fans->fans);
    *fans = (struct fitted_fans){0};
}

const struct fitted_fan *fitted_fans_at(const struct fitted_fans *fans, int64_t time_ms) {
    const struct fitted_fan *found = NULL;
    for (size_t i = 0; i < fans->count && fans->fans[i].since_ms <= time_ms; i++)
        found = &fans->fans[i];
    return found;
}

static bool differ(const char *one, const char *other) {
    return one && other && strcmp(one, other) != 0;
}

static bool is_another(const struct fitted_fan *fan, const struct fitted_fan *before) {
    if (fan->installed_day != TIMESTAMP_NONE)
        return fan->installed_day != before->installed_day;
    return differ(fan->model, before->model) || differ(fan->serial, before->serial);
}

bool fitted_fans_replaced(const struct fitted_fans *fans, const struct fan_description *file,
                          int64_t from_ms, int64_t to_ms) {
    const struct fitted_fan first = {.since_ms = INT64_MIN,
                                     .model = file->model,
                                     .serial = file->serial,
                                     .installed_day = file->installed_day,
                                     .warranty_until_day = TIMESTAMP_NONE};
    for (size_t i = 0; i < fans->count; i++) {
        const struct fitted_fan *fan = &fans->fans[i];
        if (fan->since_ms > from_ms && fan->since_ms <= to_ms &&
            is_another(fan, i ? &fans->fans[i - 1] : &first))
            return true;
    }
    return false;
}
