#include "service/timers.h"

enum store_need { ANY_STORE, WORKING_STORE, FAILING_STORE };

static const struct {
    bool wall, needs_clock;
    enum store_need store;
} rules[TIMERS] = {
    [TIMER_LOOK] = {.store = ANY_STORE},
    [TIMER_READ] = {.store = WORKING_STORE},
    [TIMER_BACKLOG] = {.store = WORKING_STORE},
    [TIMER_TICK] = {.wall = true, .needs_clock = true, .store = WORKING_STORE},
    [TIMER_UPKEEP] = {.wall = true, .needs_clock = true, .store = WORKING_STORE},
    [TIMER_DISPATCH] = {.wall = true, .needs_clock = true, .store = WORKING_STORE},
    [TIMER_STORE] = {.store = FAILING_STORE},
    [TIMER_STATE] = {.needs_clock = true, .store = WORKING_STORE},
    [TIMER_HEARTBEAT] = {.needs_clock = true, .store = WORKING_STORE},
    [TIMER_STATUS] = {.store = ANY_STORE},
    [TIMER_WATCHDOG] = {.store = ANY_STORE},
};

static bool is_held(enum timer timer, const struct timers_now *now) {
    enum store_need other = now->store_works ? FAILING_STORE : WORKING_STORE;
    return rules[timer].store == other || (rules[timer].needs_clock && !now->clock_trusted);
}

static int64_t left_ms(const struct timers *timers, enum timer timer,
                       const struct timers_now *now) {
    int64_t left = timers->at_ms[timer] - (rules[timer].wall ? now->wall_ms : now->monotonic_ms);
    return left > 0 ? left : 0;
}

void timers_set(struct timers *timers, enum timer timer, int64_t at_ms) {
    timers->at_ms[timer] = at_ms;
}

void timers_wake(struct timers *timers) {
    for (enum timer timer = 0; timer < TIMERS; timer++)
        if (rules[timer].wall)
            timers->at_ms[timer] = 0;
}

bool timers_due(const struct timers *timers, enum timer timer, const struct timers_now *now) {
    return !is_held(timer, now) && left_ms(timers, timer, now) == 0;
}

int64_t timers_wait_ms(const struct timers *timers, const struct timers_now *now) {
    int64_t wait_ms = INT64_MAX;
    for (enum timer timer = 0; timer < TIMERS; timer++) {
        int64_t left = left_ms(timers, timer, now);
        if (!is_held(timer, now) && left < wait_ms)
            wait_ms = left;
    }
    return wait_ms;
}
