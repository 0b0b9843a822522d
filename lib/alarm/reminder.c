#include "alarm/reminder.h"

#include "measure/duration.h"

enum { DIGEST_HOUR = 8, MONDAY_OF_DAY_ZERO = 3 /* 1970-01-01 was a Thursday */ };
static const int64_t near_ms = DURATION_DAY_MS;
static const int64_t late_ms = DURATION_HOUR_MS;

struct reminder_decision reminder_decide(const struct alarm *alarm, const struct reminder *reminder,
                                         int64_t now_ms) {
    struct reminder_decision decision = {.next_ms = INT64_MAX};
    if (!alarm->told || alarm_state(alarm) != ALARM_UNACKNOWLEDGED)
        return decision;
    if (reminder->escalate_after_ms > 0 && !reminder->escalated) {
        int64_t due_ms = reminder->first_ms + reminder->escalate_after_ms;
        decision.escalate = due_ms <= now_ms;
        if (!decision.escalate)
            decision.next_ms = due_ms;
    }
    if (reminder->every_ms > 0) {
        int64_t due_ms = reminder->last_ms + reminder->every_ms;
        decision.remind = due_ms <= now_ms && !reminder->undelivered;
        if (due_ms <= now_ms)
            due_ms = now_ms + reminder->every_ms;
        if (due_ms < decision.next_ms)
            decision.next_ms = due_ms;
    }
    return decision;
}

bool reminder_end_is_near(int64_t until_ms, int64_t reminded_ms, int64_t now_ms) {
    int64_t from_ms = until_ms - near_ms;
    bool said = reminded_ms != TIMESTAMP_NONE && reminded_ms >= from_ms;
    return !said && now_ms >= from_ms && now_ms < from_ms + late_ms;
}

static bool is_monday(int64_t local_day) {
    return ((local_day + MONDAY_OF_DAY_ZERO) % 7 + 7) % 7 == 0;
}

/* Eight in the morning comes once a day everywhere; the hours before it may be more or fewer. */
static int64_t digest_of_day(const struct time_zone *zone, int64_t local_day) {
    int64_t time_ms = time_zone_day_start_ms(zone, local_day) + DIGEST_HOUR * DURATION_HOUR_MS;
    int off_minutes = time_zone_minute_of_day(zone, time_ms) - DIGEST_HOUR * 60;
    return time_ms - off_minutes * DURATION_MINUTE_MS;
}

int64_t reminder_digest_at(const struct time_zone *zone, bool weekly, int64_t after_ms) {
    int64_t day = time_zone_local_day(zone, after_ms);
    for (;; day++) {
        int64_t time_ms = digest_of_day(zone, day);
        if (time_ms > after_ms && (!weekly || is_monday(day)))
            return time_ms;
    }
}
