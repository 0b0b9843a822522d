#include "service/backlog.h"

#include "measure/duration.h"

enum { SMALLEST_WINDOW = 20 };
static const int64_t window_ms = 500;
static const int64_t fresh_ms = 10 * DURATION_SECOND_MS;

static size_t live_messages(const struct fleet *fleet) {
    double messages = 0;
    for (size_t i = 0; i < fleet->point_count; i++)
        messages += (double)window_ms / (double)fleet->points[i].description->every_ms;
    /* Twice: senders are not spread evenly. */
    size_t most = (size_t)(2 * messages);
    return most > SMALLEST_WINDOW ? most : SMALLEST_WINDOW;
}

void backlog_of_fleet(struct backlog *backlog, const struct fleet *fleet) {
    backlog->live_most = live_messages(fleet);
}

void backlog_begin(struct backlog *backlog, int64_t monotonic_ms) {
    *backlog = (struct backlog){.live_most = backlog->live_most,
                                .behind = backlog->behind,
                                .window_from_ms = monotonic_ms,
                                .behind_at_ms = monotonic_ms};
}

bool backlog_over(struct backlog *backlog, size_t messages, uint64_t behind, bool more,
                  int64_t monotonic_ms) {
    if (behind != backlog->behind)
        backlog->behind_at_ms = monotonic_ms;
    backlog->behind = behind;
    backlog->messages += messages;
    if (more || backlog->messages >= backlog->live_most) {
        backlog->messages = 0;
        backlog->window_from_ms = monotonic_ms;
    }
    return monotonic_ms - backlog->window_from_ms >= window_ms ||
           monotonic_ms - backlog->behind_at_ms >= fresh_ms;
}
