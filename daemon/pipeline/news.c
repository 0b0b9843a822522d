#include "pipeline/news.h"

#include "host/log.h"
#include "measure/array.h"
#include "pipeline/explain.h"

#include <stdlib.h>

/* ---- listing ---- */

static void add(void *context, struct alarm *alarm, enum alarm_notice notice) {
    struct news *news = context;
    struct news_item *grown = array_room(news->items, news->count, sizeof *grown);
    news->out_of_memory |= !grown;
    if (!grown)
        return;
    news->items = grown;
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

/* One line for whoever reads the log of one system (SUBSLAB_SYSTEM=… in the journal). */
static void log_alarm(const struct fleet *fleet, const struct alarm *alarm, bool raised) {
    bool high = raised && alarm->priority == PRIORITY_HIGH;
    const struct log_about about = {
        .system = alarm->system == FLEET_NONE ? NULL : fleet_system_id(fleet, alarm->system),
        .point = alarm->point == FLEET_NONE ? NULL : fleet_point_id(fleet, alarm->point),
        .condition = condition_info(alarm->condition)->name,
    };
    log_event(raised ? LOG_EVENT_ALARM_RAISED : LOG_EVENT_ALARM_RETURNED,
              high ? LOG_LEVEL_WARNING : LOG_LEVEL_NOTICE, &about, "%s%s%s%s%s %s (%s priority)",
              about.system ? about.system : "", about.point ? "/" : "",
              about.point ? about.point : "", about.system ? ": " : "", about.condition,
              raised ? "raised" : "returned", priority_word(alarm->priority));
}

enum store_status news_announce(const struct news *news, struct monitor_memory *memory,
                                struct announce *announce, int64_t now_ms) {
    static const enum wording_kind kinds[] = {
        [ALARM_NOTICE_RAISED] = WORDING_RAISED,
        [ALARM_NOTICE_RETURNED] = WORDING_RETURNED,
    };
    enum store_status status = STORE_OK;
    for (size_t i = 0; i < news->count && status == STORE_OK; i++) {
        struct alarm *alarm = news->items[i].alarm;
        explain_alarm(memory, alarm);
        log_alarm(monitor_fleet(memory->monitor), alarm,
                  news->items[i].notice == ALARM_NOTICE_RAISED);
        if (alarm->condition == CONDITION_SYSTEM_SILENT ||
            alarm->condition == CONDITION_SENSOR_SILENT)
            announce->many_quiet = many_are_quiet(memory->monitor, now_ms);
        status = announce_alarm(announce, alarm, kinds[news->items[i].notice], now_ms);
    }
    return status;
}
