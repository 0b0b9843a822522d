/*
 * From a message to readings, or to why it is refused.
 */
#include "host/log.h"
#include "measure/duration.h"
#include "pipeline/pipeline_private.h"
#include "store/records.h"

#include <math.h>

enum { REFUSED_ALARM_COUNT = 10 };
static const int64_t refused_window_ms = 10 * DURATION_MINUTE_MS;
static const int64_t burst_pause_ms = 10 * DURATION_SECOND_MS; /* longer than a turn takes */
static const int64_t burst_span_ms = 4 * DURATION_MINUTE_MS;   /* 240 000 readings */

/* ---- refusals ---- */

static void watch_refusals(struct pipeline *pipeline, const char *topic, int64_t now_ms) {
    if (now_ms - pipeline->refused_from_ms > refused_window_ms) {
        pipeline->refused_from_ms = now_ms;
        pipeline->refused_in_window = 0;
    }
    if (++pipeline->refused_in_window >= REFUSED_ALARM_COUNT)
        monitor_daemon(pipeline->monitor, CONDITION_MESSAGES_REFUSED, true, topic,
                       pipeline->refused_in_window, now_ms);
}

/* `impossible`: the value, when that is why. */
static void refuse(struct pipeline *pipeline, size_t point, const struct intake_message *message,
                   enum refusal refusal, double impossible, int64_t now_ms) {
    pipeline->counters.refused++;
    if (!pipeline_begin(pipeline))
        return;
    pipeline_note(pipeline,
                  record_refused_add(pipeline->turn.store, message->topic, refusal_word(refusal),
                                     now_ms, 1, message->payload, message->length));
    if (point != FLEET_NONE)
        monitor_refused(pipeline->monitor, point, refusal, impossible, now_ms);
    watch_refusals(pipeline, message->topic, now_ms);
}

void pipeline_expire_refusals(struct pipeline *pipeline, int64_t now_ms) {
    if (now_ms - pipeline->refused_from_ms <= refused_window_ms)
        return;
    bool many = pipeline->refused_in_window >= REFUSED_ALARM_COUNT;
    pipeline->refused_from_ms = now_ms;
    pipeline->refused_in_window = 0;
    if (!many)
        monitor_daemon(pipeline->monitor, CONDITION_MESSAGES_REFUSED, false, NULL, NAN, now_ms);
}

/* ---- messages ---- */

/* Messages without a time of their own that come in a burst are readings in that order, not several
   truths of one instant: each is a millisecond after the one before. So a burst may run ahead of
   the clock, by less than a sensor's own time may. */
static void tell_apart(struct pipeline *pipeline, size_t point, struct reading *reading) {
    const struct point_state *state = monitor_point(pipeline->monitor, point);
    const int64_t arrival_ms = reading->time_ms;
    int64_t since_ms = arrival_ms - (state->plain_came_ms > state->heard_ms ? state->plain_came_ms
                                                                            : state->heard_ms);
    const int64_t given_ms[] = {state->newest_ms, state->plain_ms};
    for (size_t i = 0; i < 2 && since_ms >= 0 && since_ms < burst_pause_ms; i++) {
        if (given_ms[i] >= reading->time_ms && given_ms[i] - arrival_ms < burst_span_ms)
            reading->time_ms = given_ms[i] + 1;
    }
    monitor_plain(pipeline->monitor, point, reading->time_ms, arrival_ms);
}

static struct payload_result decode_or_recall(struct pipeline *pipeline, size_t point,
                                              const struct intake_message *message,
                                              const struct clock_answer *asked, int64_t now_ms) {
    struct payload_binding binding = fleet_binding(pipeline->fleet, point);
    if (!asked || asked->point != point)
        return payload_decode(&binding, message->payload, message->length, now_ms,
                              pipeline->readings, READINGS_A_MESSAGE);
    pipeline->readings[0] = asked->reading;
    return asked->result;
}

/* From the past: older than its point's interval, and than a minute. */
static bool is_behind(const struct fleet_point *point, int64_t time_ms, int64_t now_ms) {
    int64_t every_ms = point->description->every_ms;
    return now_ms - time_ms > (every_ms > DURATION_MINUTE_MS ? every_ms : DURATION_MINUTE_MS);
}

static void take_message(struct pipeline *pipeline, size_t point,
                         const struct intake_message *message, const struct clock_answer *asked,
                         int64_t now_ms) {
    struct payload_result result = decode_or_recall(pipeline, point, message, asked, now_ms);
    for (size_t i = 0; i < result.count; i++) {
        struct payload_reading *taken = &pipeline->readings[i];
        /* What the broker kept for us since some unknown time is no reading of now. */
        if (message->retain && !taken->has_own_time) {
            pipeline->counters.retained++;
            continue;
        }
        if (!taken->has_own_time && result.count == 1)
            tell_apart(pipeline, point, &taken->reading);
        if (is_behind(&pipeline->fleet->points[point], taken->reading.time_ms, now_ms))
            pipeline->counters.behind++;
        if (pipeline_take(pipeline, point, &taken->reading, SERIES_FROM_SENSOR, now_ms) ==
            PIPELINE_CONFLICT)
            refuse(pipeline, point, message, REFUSAL_CONFLICT, NAN, now_ms);
    }
    if (result.refusal != REFUSAL_NONE)
        refuse(pipeline, point, message, result.refusal, result.impossible, now_ms);
}

static void note_unclaimed(struct pipeline *pipeline, const struct intake_message *message,
                           int64_t now_ms) {
    pipeline->counters.unclaimed++;
    if (!pipeline_begin(pipeline))
        return;
    pipeline_note(pipeline, record_unclaimed_add(pipeline->turn.store, message->topic, now_ms, 1,
                                                 message->payload, message->length));
}

static void set_aside(struct pipeline *pipeline, size_t point, const struct intake_message *message,
                      int64_t now_ms) {
    log_line(LOG_LEVEL_ERROR, "messages",
             "one of %s is set aside: this program died twice while it had it in hand; see "
             "`subslabctl refused`",
             message->topic);
    refuse(pipeline, point, message, REFUSAL_SET_ASIDE, NAN, now_ms);
}

void pipeline_message(struct pipeline *pipeline, const struct intake_message *message,
                      const struct clock_answer *asked, int64_t now_ms) {
    if (pipeline->turn.failed != STORE_OK)
        return; /* the broker sends it again */
    bool known = asked && asked->point != FLEET_NONE;
    size_t point = known ? asked->point : fleet_topic(pipeline->fleet, message->topic);
    pipeline->counters.messages++;
    if (!in_hand_message(pipeline->hand, message->topic, message->payload, message->length))
        set_aside(pipeline, point, message, now_ms);
    else if (point == FLEET_NONE)
        note_unclaimed(pipeline, message, now_ms);
    else
        for (; point != FLEET_NONE; point = pipeline->fleet->points[point].next_same_topic)
            take_message(pipeline, point, message, asked, now_ms);
    if (pipeline->turn.failed == STORE_OK)
        in_hand_put_down(pipeline->hand);
}
