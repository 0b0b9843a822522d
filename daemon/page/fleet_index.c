#include "page/fleet_index.h"

#include "api/planned_visit.h"
#include "api/systems.h"
#include "host/clock.h"
#include "measure/duration.h"

#include <stdlib.h>
#include <string.h>

enum { SYSTEMS_A_STEP = 1000, SYSTEMS_A_MS = 10, ORDERS = 1024 };
static const int64_t season_ms = 91 * DURATION_DAY_MS;

void fleet_index_clear(struct fleet_index *index) {
    free(index->rows);
    *index = (struct fleet_index){0};
}

const char *fleet_need_word(enum fleet_need need) {
    static const char *const words[FLEET_NEEDS] = {"", "today", "week", "season"};
    return words[need];
}

/* Nobody has taken on an alarm of high priority, or the day of a visit has come. */
static enum fleet_need need_of(const struct api *api, size_t system) {
    const struct alarm_book *book = pipeline_alarms(api->pipeline);
    struct visit_place place;
    bool failed = false;
    for (const struct alarm *alarm = alarm_book_of_system(book, system); alarm;
         alarm = alarm->next_of_system) {
        if (alarm->priority == PRIORITY_HIGH && alarm_state(alarm) == ALARM_UNACKNOWLEDGED)
            return FLEET_NEED_TODAY;
    }
    if (!planned_visit_place(api, system, &place, &failed))
        return FLEET_NEED_NONE;
    int64_t ahead_ms = place.due_ms - api->now_ms;
    if (ahead_ms < DURATION_DAY_MS)
        return FLEET_NEED_TODAY;
    if (ahead_ms < 7 * DURATION_DAY_MS)
        return FLEET_NEED_WEEK;
    return ahead_ms < season_ms ? FLEET_NEED_SEASON : FLEET_NEED_NONE;
}

static bool begin(struct fleet_index *index, const struct api *api) {
    fleet_index_clear(index);
    index->count = api->fleet->system_count;
    index->reloads = api->reloads;
    index->rows = calloc(index->count + 1, sizeof *index->rows);
    return index->rows != NULL;
}

static void place_some(struct fleet_index *index, const struct api *api) {
    for (size_t i = 0; i < SYSTEMS_A_STEP && index->placed < index->count; i++, index->placed++) {
        struct fleet_row *row = &index->rows[index->placed];
        struct api_system_order order = api_system_order(api, index->placed);
        *row = (struct fleet_row){.system = (uint32_t)index->placed,
                                  .status = (uint8_t)order.status,
                                  .need = (uint8_t)need_of(api, index->placed),
                                  .order = order.order};
        index->tally[row->status]++;
        index->needs[row->need]++;
    }
}

/* By counting: a hundred thousand rows take a millisecond, and equal ones keep their order. */
static bool sort(struct fleet_index *index) {
    size_t begins[ORDERS + 1] = {0};
    struct fleet_row *sorted = calloc(index->count + 1, sizeof *sorted);
    if (!sorted)
        return false;
    for (size_t i = 0; i < index->count; i++)
        begins[index->rows[i].order + 1]++;
    for (size_t order = 0; order < ORDERS; order++)
        begins[order + 1] += begins[order];
    for (size_t i = 0; i < index->count; i++)
        sorted[begins[index->rows[i].order]++] = index->rows[i];
    free(index->rows);
    index->rows = sorted;
    return true;
}

enum fleet_index_state fleet_index_advance(struct fleet_index *index, const struct api *api) {
    int64_t now_ms = clock_monotonic_ms();
    bool complete = index->made_ms != 0;
    bool old = complete && now_ms - index->made_ms > (int64_t)index->count / SYSTEMS_A_MS;
    if ((!index->rows || old || index->reloads != api->reloads) && !begin(index, api))
        return FLEET_INDEX_FAILED;
    if (index->made_ms)
        return FLEET_INDEX_READY;
    place_some(index, api);
    if (index->placed < index->count)
        return FLEET_INDEX_MORE;
    if (!sort(index))
        return FLEET_INDEX_FAILED;
    index->made_ms = clock_monotonic_ms();
    return FLEET_INDEX_READY;
}
