#include "alarm/patience.h"

static const int64_t longest_ms = 7 * DURATION_DAY_MS;

static bool is_silence(const struct alarm *alarm) {
    return alarm->condition == CONDITION_SYSTEM_SILENT ||
           alarm->condition == CONDITION_SENSOR_SILENT;
}

/* Of two silences the one that was longer and ended later says all that the other does. */
static bool says_more(const struct past_silence *one, const struct past_silence *other) {
    return one->lasted_ms >= other->lasted_ms && one->ended_ms >= other->ended_ms;
}

void patience_learn(struct patience *patience, const struct alarm *over) {
    const struct past_silence newest = {over->returned_ms, over->returned_ms - over->since_ms};
    const struct patience before = *patience;
    size_t kept = 0;
    bool placed = false;
    if (!is_silence(over) || over->unwatched || newest.lasted_ms <= 0 ||
        newest.lasted_ms > longest_ms)
        return;
    *patience = (struct patience){0};
    for (size_t i = 0; i < PATIENCE_PAST && kept < PATIENCE_PAST; i++) {
        const struct past_silence *past = &before.past[i];
        placed |= past->lasted_ms && says_more(past, &newest);
        if (!placed && past->lasted_ms <= newest.lasted_ms) {
            patience->past[kept++] = newest;
            placed = true;
        }
        bool says_something = past->lasted_ms && !says_more(&newest, past) &&
                              newest.ended_ms - past->ended_ms <= PATIENCE_WINDOW_MS;
        if (says_something && kept < PATIENCE_PAST)
            patience->past[kept++] = *past;
    }
}

int64_t patience_until_ms(const struct patience *patience, const struct alarm *alarm) {
    if (!is_silence(alarm) || alarm->priority >= PRIORITY_HIGH)
        return INT64_MIN;
    for (size_t i = 0; i < PATIENCE_PAST && patience->past[i].lasted_ms; i++)
        if (alarm->since_ms - patience->past[i].ended_ms <= PATIENCE_WINDOW_MS)
            return alarm->since_ms + patience->past[i].lasted_ms;
    return INT64_MIN;
}
