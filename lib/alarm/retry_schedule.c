#include "alarm/retry_schedule.h"

#include "measure/duration.h"

#include <assert.h>
#include <stddef.h>

static const int64_t first_waits_ms[] = {5 * DURATION_SECOND_MS, 30 * DURATION_SECOND_MS,
                                         2 * DURATION_MINUTE_MS, 10 * DURATION_MINUTE_MS,
                                         1 * DURATION_HOUR_MS};
static const int64_t lasting_wait_ms = 6 * DURATION_HOUR_MS;
static const int64_t patience_ms = 3 * DURATION_DAY_MS;
static const int64_t denied_wait_ms = DURATION_HOUR_MS;
static const int64_t denied_patience_ms = 6 * DURATION_HOUR_MS;
static const int64_t retry_after_most_ms = 24 * DURATION_HOUR_MS;
static const double retry_after_spread_ms = 5000.0;
static const double jitter = 0.25;

enum {
    FIRST_WAITS = sizeof first_waits_ms / sizeof first_waits_ms[0],
    TRIES_LEAST = 1 + FIRST_WAITS,
    DENIED_TRIES_LEAST = TRIES_LEAST + 5
};

enum retry_verdict retry_verdict(int http_status) {
    if (http_status >= 200 && http_status < 300)
        return RETRY_DONE;
    if (http_status == 0 || http_status == 408 || http_status == 425 || http_status == 429 ||
        http_status >= 500)
        return RETRY_AGAIN;
    static const int denied[] = {401, 403, 404, 405, 421};
    for (size_t i = 0; i < sizeof denied / sizeof denied[0]; i++)
        if (http_status == denied[i])
            return RETRY_DENIED;
    return RETRY_NEVER;
}

static bool gives_up(const struct retry_situation *situation) {
    int64_t age_ms = situation->now_ms - situation->created_ms;
    return (age_ms >= patience_ms && situation->tries >= TRIES_LEAST) ||
           (situation->denied && age_ms >= denied_patience_ms &&
            situation->tries >= DENIED_TRIES_LEAST);
}

bool retry_schedule_next(const struct retry_situation *situation, int64_t *next_ms) {
    assert(situation->tries >= 1 && situation->random >= 0.0 && situation->random < 1.0);
    if (gives_up(situation))
        return false;
    if (situation->retry_after_s >= 0) {
        int64_t wait_ms = situation->retry_after_s < retry_after_most_ms / 1000
                              ? situation->retry_after_s * 1000
                              : retry_after_most_ms;
        *next_ms =
            situation->now_ms + wait_ms + (int64_t)(situation->random * retry_after_spread_ms);
        return true;
    }
    int64_t wait_ms = situation->tries <= FIRST_WAITS ? first_waits_ms[situation->tries - 1]
                      : situation->denied             ? denied_wait_ms
                                                      : lasting_wait_ms;
    double factor = 1.0 + jitter * (2.0 * situation->random - 1.0);
    *next_ms = situation->now_ms + (int64_t)((double)wait_ms * factor);
    return true;
}
