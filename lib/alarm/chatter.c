#include "alarm/chatter.h"

#include "measure/duration.h"
#include "measure/timestamp.h"

static const int64_t fast_ms = DURATION_HOUR_MS;
static const int64_t slow_ms = 91 * DURATION_DAY_MS;
static const int64_t slow_calm_ms = 7 * DURATION_DAY_MS;

struct chatter chatter_begin(enum condition condition, enum priority priority, int64_t last_ms) {
    enum condition_scope scope = condition_info(condition)->scope;
    return (struct chatter){
        .slow = scope <= SCOPE_SYSTEM && priority < PRIORITY_HIGH,
        .last_ms = last_ms,
        .off_delay_ms = condition_info(condition)->off_delay_ms,
    };
}

static bool within(const struct chatter *chatter, int64_t time_ms, int64_t window_ms) {
    return time_ms != TIMESTAMP_NONE && time_ms >= chatter->last_ms - window_ms &&
           time_ms <= chatter->last_ms;
}

void chatter_add(struct chatter *chatter, int64_t raised_ms, int64_t returned_ms, bool told) {
    chatter->changes += within(chatter, raised_ms, fast_ms) + within(chatter, returned_ms, fast_ms);
    if (told && chatter->raises < CHATTER_RAISES && within(chatter, raised_ms, slow_ms)) {
        chatter->raises++;
        chatter->first_raise_ms = raised_ms;
    }
}

int64_t chatter_from_ms(const struct chatter *chatter) {
    return chatter->last_ms - (chatter->slow ? slow_ms : fast_ms);
}

int64_t chatter_fast_calm_ms(const struct chatter *chatter) {
    return chatter->changes >= CHATTER_CHANGES ? fast_ms : 0;
}

int64_t chatter_slow_calm_ms(const struct chatter *chatter, bool stands) {
    if (!chatter->slow || chatter->raises < CHATTER_RAISES)
        return 0;
    int64_t span_ms = chatter->last_ms - chatter->first_raise_ms;
    if (stands)
        return slow_calm_ms + chatter->off_delay_ms;
    return span_ms > slow_calm_ms ? span_ms : slow_calm_ms;
}
