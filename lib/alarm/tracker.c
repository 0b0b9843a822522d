#include "alarm/tracker.h"

static int64_t sum_or_never(int64_t time_ms, int64_t delay_ms) {
    return time_ms > INT64_MAX - delay_ms ? INT64_MAX : time_ms + delay_ms;
}

int64_t tracker_deadline_ms(const struct tracker *tracker, int64_t on_delay_ms,
                            int64_t off_delay_ms) {
    if (tracker->phase == TRACKER_PENDING)
        return sum_or_never(tracker->since_ms, on_delay_ms);
    if (tracker->phase == TRACKER_CLEARING)
        return sum_or_never(tracker->since_ms, off_delay_ms);
    return INT64_MAX;
}

enum tracker_event tracker_expire(struct tracker *tracker, int64_t on_delay_ms,
                                  int64_t off_delay_ms, int64_t time_ms, int64_t *at_ms) {
    int64_t deadline_ms = tracker_deadline_ms(tracker, on_delay_ms, off_delay_ms);
    if (deadline_ms > time_ms || deadline_ms == INT64_MAX)
        return TRACKER_NOTHING;
    *at_ms = deadline_ms;
    if (tracker->phase == TRACKER_PENDING) {
        tracker->phase = TRACKER_STANDING;
        tracker->began_ms = tracker->since_ms;
        return TRACKER_RAISE;
    }
    tracker->phase = TRACKER_REST;
    return TRACKER_RETURN;
}

static void enter(struct tracker *tracker, enum tracker_phase phase, int64_t since_ms) {
    tracker->phase = phase;
    tracker->since_ms = since_ms;
}

enum tracker_event tracker_step(struct tracker *tracker, int64_t on_delay_ms, int64_t off_delay_ms,
                                bool beyond, bool cleared, int64_t time_ms, int64_t *at_ms) {
    switch (tracker->phase) {
    case TRACKER_REST:
        if (beyond)
            enter(tracker, TRACKER_PENDING, time_ms);
        break;
    case TRACKER_PENDING:
        if (!beyond)
            enter(tracker, TRACKER_REST, time_ms);
        break;
    case TRACKER_STANDING:
        if (cleared)
            enter(tracker, TRACKER_CLEARING, time_ms);
        break;
    case TRACKER_CLEARING:
        if (!cleared)
            enter(tracker, TRACKER_STANDING, tracker->began_ms);
        break;
    }
    return tracker_expire(tracker, on_delay_ms, off_delay_ms, time_ms, at_ms);
}
