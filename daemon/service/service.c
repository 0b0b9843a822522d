#include "service/service.h"

#include "host/clock.h"
#include "host/fleet_files.h"
#include "host/log.h"
#include "host/named_files.h"
#include "link/service_manager.h"
#include "measure/duration.h"
#include "page/page.h"
#include "service/broker_session.h"
#include "service/service_private.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* ---- the broker's callbacks ---- */

static void on_message(void *context, const struct intake_message *message) {
    struct service *service = context;
    if (clock_watch_asks(&service->clock))
        clock_watch_keep(&service->clock, message, service->monotonic_ms);
    else
        pipeline_message(service->api.pipeline, message, NULL, service->api.now_ms);
}

static void note_gap(struct service *service, bool session_present) {
    char subject[128], from[40], to[40];
    if (broker_session_known(service->store) && !session_present) {
        snprintf(subject, sizeof subject, "%s to %s",
                 timestamp_format(from, sizeof from, service->broker.away_from_ms),
                 timestamp_format(to, sizeof to, service->api.now_ms));
        log_line(LOG_LEVEL_WARNING, "broker",
                 "it has forgotten our session; readings may be missing from %s", subject);
        monitor_daemon(pipeline_monitor(service->api.pipeline), CONDITION_READINGS_GAP, true,
                       subject, NAN, service->api.now_ms);
    } else {
        monitor_daemon(pipeline_monitor(service->api.pipeline), CONDITION_READINGS_GAP, false, NULL,
                       NAN, service->api.now_ms);
    }
    broker_session_granted(service->api.pipeline, &service->api.fleet->settings->broker);
}

static void on_connected(void *context, bool session_present) {
    struct service *service = context;
    int port = 0;
    const char *host = intake_host(service->api.intake, &port);
    log_event(LOG_EVENT_BROKER_CONNECTED, LOG_LEVEL_NOTICE, NULL, "connected to %s:%d%s", host,
              port, session_present ? ", it kept our session" : "");
    if (service->store)
        note_gap(service, session_present);
    if (service->api.lost_since_ms != TIMESTAMP_NONE)
        pipeline_was_away(service->api.pipeline, service->broker.away_from_ms, service->api.now_ms);
    service->api.lost_since_ms = TIMESTAMP_NONE;
    state_topic_connected(&service->state, service->api.now_ms);
    timers_set(&service->timers, TIMER_STATE, 0);
    timers_set(&service->timers, TIMER_HEARTBEAT, 0);
    backlog_begin(&service->broker.backlog, service->monotonic_ms);
    if (!session_present) /* nothing was kept for us, so no alert has to wait for it */
        service_backlog_over(service);
    monitor_daemon(pipeline_monitor(service->api.pipeline), CONDITION_BROKER_LOST, false, NULL, NAN,
                   service->api.now_ms);
}

static void on_disconnected(void *context, const char *why) {
    struct service *service = context;
    log_event(LOG_EVENT_BROKER_LOST, LOG_LEVEL_WARNING, NULL, "%s", why);
    if (service->api.lost_since_ms == TIMESTAMP_NONE)
        service->api.lost_since_ms = service->broker.away_from_ms = service->api.now_ms;
    service->api.backlog = true;
    pipeline_set_backlog(service->api.pipeline, true, service->api.now_ms);
    monitor_daemon(pipeline_monitor(service->api.pipeline), CONDITION_BROKER_LOST, true, why, NAN,
                   service->api.now_ms);
}

static void on_log(void *context, const char *text) {
    (void)context;
    log_line(LOG_LEVEL_INFO, "broker", "%s", text);
}

static bool on_uncommitted(void *context) {
    const struct service *service = context;
    return clock_watch_waits(&service->clock) ||
           (service->api.pipeline && pipeline_uncommitted(service->api.pipeline));
}

/* ---- the connection ---- */

int64_t service_newest_ms(const struct service *service) {
    int64_t newest_ms = monitor_newest_ms(pipeline_monitor(service->api.pipeline));
    bool usable = newest_ms <= service->api.now_ms || !clock_watch_trusts(&service->clock);
    return newest_ms != TIMESTAMP_NONE && usable ? newest_ms : service->api.now_ms;
}

struct intake *service_make_intake(struct service *service, const struct settings *settings,
                                   char *why, size_t why_size) {
    const struct intake_callbacks callbacks = {
        .context = service,
        .message = on_message,
        .connected = on_connected,
        .disconnected = on_disconnected,
        .log = on_log,
        .uncommitted = on_uncommitted,
    };
    char *password = NULL;
    if (settings->broker.password_file) {
        password = fleet_files_secret(settings->broker.password_file, why, why_size);
        if (!password)
            return NULL;
    }
    struct intake *intake = intake_create(settings, password, &callbacks, why, why_size);
    if (password)
        explicit_bzero(password, strlen(password));
    free(password);
    return intake;
}

void service_take_intake(struct service *service, struct intake *intake) {
    const struct settings_broker *broker = &service->api.fleet->settings->broker;
    intake_destroy(service->api.intake);
    service->api.intake = intake;
    service->broker.files = named_files_of_broker(broker);
    if (service->store)
        broker_session_leave_former(service->store, broker, intake);
    clock_watch_forget_messages(&service->clock); /* they came by another intake */
    service->api.backlog = true;
    service->api.lost_since_ms = service->api.now_ms;
    service->broker.away_from_ms = service_newest_ms(service);
    pipeline_set_backlog(service->api.pipeline, true, service->api.now_ms);
    /* Lost until connected: nobody is to wait in silence for a broker that was never there. */
    monitor_daemon(pipeline_monitor(service->api.pipeline), CONDITION_BROKER_LOST, true, NULL, NAN,
                   service->api.now_ms);
}

/* ---- stopping ---- */

static const int64_t deliveries_grace_ms = 5 * DURATION_SECOND_MS;

static void finish_deliveries(struct service *service) {
    int64_t until_ms = clock_monotonic_ms() + deliveries_grace_ms;
    while (service->store && dispatch_under_way(service->api.dispatch) > 0 &&
           clock_monotonic_ms() < until_ms) {
        delivery_wait(dispatch_delivery(service->api.dispatch), NULL, 0, 100);
        dispatch_finish(service->api.dispatch, pipeline_turn(service->api.pipeline),
                        pipeline_announce(service->api.pipeline),
                        pipeline_monitor(service->api.pipeline), clock_wall_ms());
        if (pipeline_settle(service->api.pipeline, clock_wall_ms()) != STORE_OK)
            return;
    }
}

static void stop(struct service *service) {
    service_manager_stopping("stopping");
    reload_end(&service->reload);
    if (service->api.intake && service->store &&
        pipeline_settle(service->api.pipeline, service->api.now_ms) == STORE_OK) {
        if (!clock_watch_waits(&service->clock))
            intake_release(service->api.intake);
        intake_stop(service->api.intake);
    }
    intake_destroy(service->api.intake);
    service->api.intake = NULL;
    if (service->api.dispatch && service->api.pipeline)
        finish_deliveries(service);
    web_server_destroy(service->page);
    page_close(service->api.page);
    web_server_destroy(service->operator_server);
    if (service->api.pipeline && service->store)
        pipeline_settle(service->api.pipeline, clock_wall_ms());
    pipeline_close(service->api.pipeline);
    upkeep_close(service->api.upkeep);
    in_hand_close(service->hand);
    clock_watch_close(&service->clock);
    dispatch_close(service->api.dispatch);
    state_topic_close(&service->state);
    store_close(service->store);
    store_close(service->held_store);
    fleet_destroy(service->api.fleet);
    if (service->signals >= 0)
        close(service->signals);
}

/* ---- running ---- */

void service_say_ready(struct service *service) {
    status_line_of(&service->api, service->status);
    service_manager_ready(service->status);
}

static void say_started(struct service *service) {
    const struct fleet *fleet = service->api.fleet;
    log_event(LOG_EVENT_STARTED, LOG_LEVEL_NOTICE, NULL, "%zu systems, %zu points, %zu contacts",
              fleet->system_count, fleet->point_count, fleet->settings->contact_count);
    if (fleet->settings->contact_count == 0)
        log_line(LOG_LEVEL_WARNING, "contacts",
                 "none in the settings: nobody will be told of anything");
    service_say_ready(service);
}

int service_run(const char *settings_file) {
    struct service service = {.settings_file = settings_file, .signals = -1};
    umask(0027);
    int status = service_open(&service);
    if (status == 2)
        return status;
    if (status == 0)
        say_started(&service);
    bool more = false;
    while (status == 0 && !service.stop) {
        service_turn(&service, more);
        more = service_work(&service);
    }
    stop(&service);
    return status;
}
