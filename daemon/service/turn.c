/*
 * One turn of the loop.
 *
 * The order is the promise (failure of any step leaves the broker holding what is not on disk):
 * read and judge, commit, acknowledge; then deliveries. There is one transaction a turn, the
 * pipeline's. intake_release is called only right after its commit, and asserts for itself that
 * nothing is uncommitted.
 */
#include "api/list.h"
#include "host/clock.h"
#include "host/log.h"
#include "link/service_manager.h"
#include "measure/duration.h"
#include "service/service_private.h"
#include "upkeep/upkeep.h"

#include <math.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/signalfd.h>
#include <unistd.h>

enum { MOST_A_BATCH = 4096, FEW_A_BATCH = 8, SLOTS = 6 };
static const int64_t jump_least_ms = 30 * DURATION_SECOND_MS;
static const int64_t look_every_ms = DURATION_SECOND_MS;
static const int64_t backlog_look_ms = 250;
static const int64_t gather_ms = 5; /* what comes so soon after few readings shares a commit */
static const int64_t lists_a_turn_ms = 15; /* and one row */
static const int64_t looks_ms = 100;       /* of a turn go to second looks at most */
static const int64_t state_every_ms = DURATION_SECOND_MS, state_more_ms = 20;
static const int64_t status_every_ms = 2 * DURATION_SECOND_MS;
static const int64_t turn_slow_ms = DURATION_SECOND_MS;

/* ---- waiting ---- */

static void take_signals(struct service *service) {
    struct signalfd_siginfo signal;
    while (read(service->signals, &signal, sizeof signal) == (ssize_t)sizeof signal) {
        if (signal.ssi_signo == SIGHUP)
            service->reload.asked = true;
        else
            service->stop = true;
    }
}

static int64_t sooner(int64_t a, int64_t b) {
    return a < b ? a : b;
}

static struct timers_now now(const struct service *service) {
    return (struct timers_now){.wall_ms = service->api.now_ms,
                               .monotonic_ms = service->monotonic_ms,
                               .store_works = service->store != NULL,
                               .clock_trusted = clock_watch_trusts(&service->clock)};
}

bool service_due(const struct service *service, enum timer timer) {
    const struct timers_now as_it_is = now(service);
    return timers_due(&service->timers, timer, &as_it_is);
}

/* A fleet's readings come one by one: after a turn that took few, those of the next milliseconds
   wait for each other. A backlog comes in bursts, which brokers cut where we have yet to answer. */
static void gather(struct service *service, size_t messages, bool more) {
    bool few = !more && messages > 0 && messages < FEW_A_BATCH && !service->api.backlog;
    timers_set(&service->timers, TIMER_READ, few ? service->monotonic_ms + gather_ms : INT64_MAX);
}

static bool reads_broker(struct service *service) {
    if (service_due(service, TIMER_READ))
        timers_set(&service->timers, TIMER_READ, INT64_MAX);
    return service->store && service->api.intake && clock_watch_reads(&service->clock) &&
           service->timers.at_ms[TIMER_READ] == INT64_MAX;
}

static int wait_ms(struct service *service, bool more) {
    const struct timers_now as_it_is = now(service);
    bool looks = service->api.backlog || clock_watch_waits(&service->clock);
    if (more || (service->store && pipeline_looks_waiting(service->api.pipeline) > 0))
        return 0;
    timers_set(&service->timers, TIMER_LOOK, service->monotonic_ms + look_every_ms);
    timers_set(&service->timers, TIMER_BACKLOG,
               looks ? service->monotonic_ms + backlog_look_ms : INT64_MAX);
    int64_t wait = timers_wait_ms(&service->timers, &as_it_is);
    struct web_server *const servers[] = {service->page, service->operator_server};
    for (size_t i = 0; i < 2; i++) {
        int server_ms = servers[i] ? web_server_timeout_ms(servers[i]) : -1;
        if (server_ms >= 0)
            wait = sooner(wait, server_ms);
    }
    return (int)wait;
}

static size_t add(struct delivery_descriptor *slots, size_t count, int descriptor,
                  bool want_write) {
    if (descriptor < 0)
        return count;
    slots[count] = (struct delivery_descriptor){
        .descriptor = descriptor, .want_read = true, .want_write = want_write};
    return count + 1;
}

/* The clock on the wall was moved when it no longer runs along with the other one. */
static void watch_clock(struct service *service) {
    int64_t offset_ms = service->api.now_ms - service->monotonic_ms;
    if (llabs(offset_ms - service->offset_ms) >= jump_least_ms)
        clock_watch_jumped(&service->clock, offset_ms - service->offset_ms, service->monotonic_ms);
    service->offset_ms = offset_ms;
}

/* Delays go on from where the clock was last trusted, whatever it said in between. */
static void follow_clock(struct service *service) {
    int64_t before_ms = service->trusted_offset_ms;
    service->trusted_offset_ms = service->offset_ms;
    if (before_ms == TIMESTAMP_NONE || llabs(service->offset_ms - before_ms) < jump_least_ms)
        return;
    int64_t moved_ms = service->offset_ms - before_ms;
    log_line(LOG_LEVEL_WARNING, "clock", "moved by %.0f s", (double)moved_ms / 1000.0);
    pipeline_clock_moved(service->api.pipeline, moved_ms, service->api.now_ms);
    dispatch_clock_moved(service->api.dispatch, moved_ms);
    timers_wake(&service->timers);
}

/* The clock is trusted again: for as long we have heard nothing, and may have missed something. */
static void end_hold(struct service *service) {
    service->api.lost_since_ms = service->api.now_ms;
    service->broker.away_from_ms = service_newest_ms(service);
    timers_wake(&service->timers);
    follow_clock(service);
}

static void judge_clock(struct service *service) {
    bool held = !clock_watch_trusts(&service->clock);
    clock_watch_turn(&service->clock, service->api.pipeline, service->api.now_ms,
                     service->monotonic_ms);
    pipeline_set_quiet(service->api.pipeline, !clock_watch_trusts(&service->clock));
    if (!clock_watch_trusts(&service->clock))
        return;
    if (held)
        end_hold(service);
    follow_clock(service);
}

void service_turn(struct service *service, bool more) {
    struct delivery_descriptor slots[SLOTS];
    size_t count = 0;
    bool reads = reads_broker(service);
    count = add(slots, count, service->signals, false);
    count = add(slots, count, reload_descriptor(&service->reload), false);
    count = add(slots, count, reads ? intake_descriptor(service->api.intake) : -1,
                reads && intake_wants_write(service->api.intake));
    count =
        add(slots, count,
            service->operator_server ? web_server_descriptor(service->operator_server) : -1, false);
    count = add(slots, count, service->page ? web_server_descriptor(service->page) : -1, false);
    delivery_wait(dispatch_delivery(service->api.dispatch), slots, count, wait_ms(service, more));
    service->api.now_ms = clock_wall_ms();
    service->monotonic_ms = clock_monotonic_ms();
    watch_clock(service);
    take_signals(service);
}

/* ---- working ---- */

void service_backlog_over(struct service *service) {
    service->api.backlog = false;
    pipeline_set_backlog(service->api.pipeline, false, service->api.now_ms);
    timers_wake(&service->timers);
}

static void watch_backlog(struct service *service, size_t messages, bool more) {
    if (!service->api.backlog)
        return;
    if (intake_state(service->api.intake) != INTAKE_CONNECTED ||
        !clock_watch_trusts(&service->clock))
        backlog_begin(&service->broker.backlog, service->monotonic_ms);
    else if (backlog_over(&service->broker.backlog, messages,
                          pipeline_count(service->api.pipeline).behind, more,
                          service->monotonic_ms))
        service_backlog_over(service);
}

static uint64_t connection_number(const struct service *service) {
    struct intake_counters count;
    intake_count(service->api.intake, &count);
    return count.losses + count.failed_tries;
}

/* Messages of a clock that no sensor has agreed with yet. Returns how many were taken. */
static size_t take_waiting(struct service *service) {
    struct clock_watch *clock = &service->clock;
    bool held = !clock_watch_trusts(clock);
    clock_watch_connection(clock, connection_number(service));
    enum clock_verdict verdict = clock_watch_decide(clock, service->api.pipeline,
                                                    service->api.now_ms, service->monotonic_ms);
    if (held && clock_watch_trusts(clock))
        end_hold(service); /* before they are taken: their delays go by this clock */
    if (verdict == CLOCK_TAKE)
        return clock_watch_pass_on(clock, service->api.pipeline);
    if (verdict == CLOCK_LEAVE) {
        clock_watch_forget_messages(clock);
        intake_abandon(service->api.intake, *clock->why ? clock->why : "too much came at once");
    }
    return 0;
}

static bool read_broker(struct service *service) {
    size_t messages = 0;
    clock_watch_connection(&service->clock, connection_number(service));
    bool more = intake_read(service->api.intake, in_hand_most(service->hand, MOST_A_BATCH),
                            &messages) == INTAKE_MORE;
    if (clock_watch_asks(&service->clock))
        messages = take_waiting(service);
    /* A kept session's backlog comes before the broker confirms our subscriptions. */
    if (messages > 0 && service->api.lost_since_ms != TIMESTAMP_NONE) {
        pipeline_was_away(service->api.pipeline, service->broker.away_from_ms, service->api.now_ms);
        service->api.lost_since_ms = TIMESTAMP_NONE;
        monitor_daemon(pipeline_monitor(service->api.pipeline), CONDITION_BROKER_LOST, false, NULL,
                       NAN, service->api.now_ms);
    }
    gather(service, messages, more);
    watch_backlog(service, messages, more || clock_watch_waits(&service->clock));
    if (messages > 0)
        timers_set(&service->timers, TIMER_TICK, 0);
    return more;
}

static void serve(struct service *service) {
    api_list_turn(&service->api.lists, clock_monotonic_ms() + lists_a_turn_ms);
    if (service->operator_server)
        web_server_turn(service->operator_server, service->monotonic_ms);
    if (service->page)
        web_server_turn(service->page, service->monotonic_ms);
}

/* Within the turn: what endpoints answered is noted before people are told the turn's news. */
static void take_answers(struct service *service, bool trusted) {
    if (trusted)
        dispatch_finish(service->api.dispatch, pipeline_turn(service->api.pipeline),
                        pipeline_announce(service->api.pipeline),
                        pipeline_monitor(service->api.pipeline), service->api.now_ms);
    else
        delivery_turn(dispatch_delivery(service->api.dispatch), service->api.now_ms);
}

/* All that the turn caused becomes durable at once, also that tries to deliver begin; then they do.
 */
static bool commit(struct service *service) {
    bool trusted = clock_watch_trusts(&service->clock);
    take_answers(service, trusted);
    pipeline_write(service->api.pipeline, service->api.now_ms);
    if (trusted)
        timers_set(&service->timers, TIMER_DISPATCH,
                   dispatch_choose(service->api.dispatch, pipeline_turn(service->api.pipeline),
                                   service->api.now_ms));
    enum store_status status = pipeline_commit(service->api.pipeline);
    if (status != STORE_OK) {
        dispatch_drop(service->api.dispatch);
        service_store_failed(service, status);
    }
    return status == STORE_OK;
}

/* What others are told of us beside alarms: at the broker, and a watcher outside. */
static void report_state(struct service *service) {
    const struct settings *settings = service->api.fleet->settings;
    bool works = service->api.intake && intake_state(service->api.intake) == INTAKE_CONNECTED;
    bool state = works && settings->broker.state_topic;
    bool heartbeat = works && settings->heartbeat.url;
    /* Without a connection neither; the next one begins them anew. */
    if (service_due(service, TIMER_STATE)) {
        bool more =
            state && state_topic_turn(&service->state, service->api.intake, service->api.fleet,
                                      pipeline_monitor(service->api.pipeline));
        int64_t wait_ms = more ? state_more_ms : state_every_ms;
        timers_set(&service->timers, TIMER_STATE,
                   state ? service->monotonic_ms + wait_ms : INT64_MAX);
    }
    if (service_due(service, TIMER_HEARTBEAT)) {
        if (heartbeat)
            heartbeat_send(&service->heartbeat, dispatch_delivery(service->api.dispatch),
                           &settings->heartbeat);
        timers_set(&service->timers, TIMER_HEARTBEAT,
                   heartbeat ? service->monotonic_ms + settings->heartbeat.every_ms : INT64_MAX);
    }
}

static void show_status(struct service *service) {
    char status[STATUS_LINE_BYTES];
    if (!service_due(service, TIMER_STATUS))
        return;
    status_line_of(&service->api, status);
    if (strcmp(status, service->status) != 0)
        service_manager_status(status);
    memcpy(service->status, status, sizeof status);
    timers_set(&service->timers, TIMER_STATUS, service->monotonic_ms + status_every_ms);
}

static void feed_watchdog(struct service *service) {
    if (!service_due(service, TIMER_WATCHDOG))
        return;
    /* Only a whole turn with a look at the store keeps the watchdog quiet. */
    if (service->store && store_probe(service->store) != STORE_OK)
        pipeline_note(service->api.pipeline, STORE_FAILING);
    service_manager_watchdog();
    timers_set(&service->timers, TIMER_WATCHDOG, service->monotonic_ms + service->watchdog_ms / 2);
}

static void measure_turn(struct service *service) {
    int64_t took_ms = clock_monotonic_ms() - service->monotonic_ms;
    service->api.turns++;
    if (took_ms > service->api.longest_turn_ms)
        service->api.longest_turn_ms = took_ms;
    bool minute_over = service->monotonic_ms - service->recent_since_ms > DURATION_MINUTE_MS;
    if (minute_over || took_ms > service->api.recent_turn_ms) {
        service->api.recent_turn_ms = took_ms;
        service->recent_since_ms = service->monotonic_ms;
    }
    if (took_ms > turn_slow_ms)
        log_line(LOG_LEVEL_WARNING, "loop", "a turn took %lld ms", (long long)took_ms);
}

/* By a clock that is not trusted nothing is taken, judged, deleted, sent or given up. */
static bool take_and_judge(struct service *service, bool reads) {
    bool more = reads && read_broker(service);
    serve(service);
    if (service_due(service, TIMER_TICK))
        timers_set(&service->timers, TIMER_TICK,
                   pipeline_tick(service->api.pipeline, service->api.now_ms));
    if (upkeep_asked(service->api.upkeep))
        timers_set(&service->timers, TIMER_UPKEEP, 0);
    if (service_due(service, TIMER_UPKEEP))
        timers_set(
            &service->timers, TIMER_UPKEEP,
            upkeep_step(service->api.upkeep, service->api.pipeline, service->api.now_ms, more));
    return more;
}

static bool work_with_store(struct service *service) {
    judge_clock(service);
    bool connects = service->api.intake && clock_watch_reads(&service->clock);
    /* First: after a sleep a dead connection is found before anybody is found silent. */
    if (connects)
        intake_tick(service->api.intake, service->monotonic_ms);
    bool more = take_and_judge(service, reads_broker(service));
    pipeline_look_again(service->api.pipeline, clock_monotonic_ms() + looks_ms);
    if (!commit(service))
        return false;
    report_state(service);
    if (connects && !clock_watch_waits(&service->clock))
        intake_release(service->api.intake);
    dispatch_send(service->api.dispatch, service->api.now_ms);
    return more;
}

bool service_work(struct service *service) {
    bool more = false;
    if (service->store) {
        more = work_with_store(service);
    } else {
        serve(service);
        delivery_turn(dispatch_delivery(service->api.dispatch), service->api.now_ms);
        service_store_retry(service);
    }
    more |= reload_step(service);
    show_status(service);
    feed_watchdog(service);
    measure_turn(service);
    return more;
}
