#include "link/reconnect.h"

#include <string.h>

static const int64_t takeover_window_ms = 60000;
static const int64_t lasting_ms = 60000; /* a connection this old is a good one again */
static const int64_t closed_early_ms =
    20000;                                  /* 3.1.1 has no code for a take-over, only this sign */
static const unsigned refused_failures = 4; /* 16 s */

static void note_takeover(struct reconnect *reconnect, int64_t now_ms) {
    if (reconnect->takeover_count == RECONNECT_TAKEOVERS) {
        memmove(reconnect->takeover_ms, reconnect->takeover_ms + 1,
                (RECONNECT_TAKEOVERS - 1) * sizeof(reconnect->takeover_ms[0]));
        reconnect->takeover_count--;
    }
    reconnect->takeover_ms[reconnect->takeover_count++] = now_ms;
    if (reconnect->takeover_count == RECONNECT_TAKEOVERS &&
        now_ms - reconnect->takeover_ms[0] <= takeover_window_ms)
        reconnect->contested = true;
}

int64_t reconnect_wait_ms(struct reconnect *reconnect, enum reconnect_cause cause, int64_t up_ms,
                          int64_t now_ms, double chance) {
    if (up_ms >= lasting_ms) {
        reconnect->failures = 0;
        reconnect->contested = false;
    }
    if (cause == RECONNECT_TAKEN_OVER ||
        (cause == RECONNECT_CLOSED && up_ms >= 0 && up_ms < closed_early_ms))
        note_takeover(reconnect, now_ms);
    if (cause == RECONNECT_REFUSED && reconnect->failures < refused_failures)
        reconnect->failures = refused_failures;

    int64_t wait_ms = RECONNECT_WAIT_MAX_MS;
    if (!reconnect->contested && reconnect->failures < 6)
        wait_ms = (int64_t)RECONNECT_WAIT_MIN_MS << reconnect->failures;
    if (reconnect->failures < 6)
        reconnect->failures++;
    wait_ms = (int64_t)((double)wait_ms * (0.75 + 0.5 * chance));
    if (wait_ms < RECONNECT_WAIT_MIN_MS)
        return RECONNECT_WAIT_MIN_MS;
    return wait_ms > RECONNECT_WAIT_MAX_MS ? RECONNECT_WAIT_MAX_MS : wait_ms;
}

bool reconnect_contested(const struct reconnect *reconnect) {
    return reconnect->contested;
}
