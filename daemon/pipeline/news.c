#include "pipeline/news.h"

#include "pipeline/explain.h"

#include <stdlib.h>

/* ---- listing ---- */

static void add(void *context, struct alarm *alarm, enum alarm_notice notice) {
    struct news *news = context;
    if (news->count == news->capacity) {
        size_t capacity = news->capacity ? 2 * news->capacity : 16;
        struct news_item *grown = realloc(news->items, capacity * sizeof *grown);
        news->out_of_memory |= !grown;
        if (!grown)
            return;
        news->items = grown;
        news->capacity = capacity;
    }
    news->items[news->count++] = (struct news_item){alarm, notice};
}

enum store_status news_collect(struct news *news, struct monitor *monitor, int64_t now_ms) {
    *news = (struct news){0};
    monitor_tell(monitor, now_ms, news, add);
    return news->out_of_memory ? STORE_OUT_OF_MEMORY : STORE_OK;
}

void news_close(struct news *news) {
    free(news->items);
}

/* ---- telling ---- */

/* Systems that have missed a reading lately, beside the few that always do: a power cut begins. */
static bool many_are_quiet(const struct monitor *monitor, int64_t now_ms) {
    const struct fleet *fleet = monitor_fleet(monitor);
    size_t quiet = 0;
    for (size_t s = 0; s < fleet->system_count && quiet <= ANNOUNCE_SINGLES; s++) {
        size_t point = fleet->systems[s].first_point;
        int64_t newest_ms = monitor_system_newest_ms(monitor, s);
        if (fleet->systems[s].point_count == 0 || newest_ms == TIMESTAMP_NONE)
            continue;
        int64_t age_ms = now_ms - newest_ms;
        quiet += age_ms > fleet_overdue_after_ms(fleet, point) &&
                 age_ms < 2 * fleet_sensor_silent_after_ms(fleet, point);
    }
    return quiet > ANNOUNCE_SINGLES;
}

enum store_status news_announce(const struct news *news, struct monitor_store *memory,
                                struct announce *announce, int64_t now_ms) {
    static const enum wording_kind kinds[] = {
        [ALARM_NOTICE_RAISED] = WORDING_RAISED,
        [ALARM_NOTICE_RETURNED] = WORDING_RETURNED,
    };
    enum store_status status = STORE_OK;
    for (size_t i = 0; i < news->count && status == STORE_OK; i++) {
        struct alarm *alarm = news->items[i].alarm;
        explain_alarm(memory, alarm);
        if (alarm->condition == CONDITION_SYSTEM_SILENT ||
            alarm->condition == CONDITION_SENSOR_SILENT)
            announce->many_quiet = many_are_quiet(memory->monitor, now_ms);
        status = announce_alarm(announce, alarm, kinds[news->items[i].notice], now_ms);
    }
    return status;
}
