#include "service/service.h"

#include "host/clock.h"
#include "host/fleet_files.h"
#include "host/log.h"
#include "host/named_files.h"
#include "link/service_manager.h"
#include "measure/duration.h"
#include "page/page.h"
#include "service/broker_session.h"
#include "service/fleet_reading.h"
#include "service/service_private.h"
#include "web.h"

#include <errno.h>
#include <math.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/signalfd.h>
#include <sys/stat.h>
#include <unistd.h>

/* ---- the broker's callbacks ---- */

static void on_message(void *context, const struct intake_message *message) {
    struct service *service = context;
    if (clock_watch_asks(&service->clock))
        clock_watch_keep(&service->clock, message, service->monotonic_ms);
    else
        pipeline_message(service->pipeline, message, NULL, service->now_ms);
}

static void note_gap(struct service *service, bool session_present) {
    char subject[128], from[40], to[40];
    if (broker_session_known(service->store) && !session_present) {
        snprintf(subject, sizeof subject, "%s to %s",
                 timestamp_format(from, sizeof from, service->away_from_ms),
                 timestamp_format(to, sizeof to, service->now_ms));
        log_line(LOG_LEVEL_WARNING, "broker",
                 "it has forgotten our session; readings may be missing from %s", subject);
        monitor_daemon(pipeline_monitor(service->pipeline), CONDITION_READINGS_GAP, true, subject,
                       NAN, service->now_ms);
    } else {
        monitor_daemon(pipeline_monitor(service->pipeline), CONDITION_READINGS_GAP, false, NULL,
                       NAN, service->now_ms);
    }
    broker_session_granted(service->pipeline, &service->fleet->settings->broker);
}

static void on_connected(void *context, bool session_present) {
    struct service *service = context;
    log_line(LOG_LEVEL_NOTICE, "broker", "connected to %s:%d%s",
             service->fleet->settings->broker.host, service->fleet->settings->broker.port,
             session_present ? ", it kept our session" : "");
    if (service->store)
        note_gap(service, session_present);
    if (service->lost_since_ms != TIMESTAMP_NONE)
        pipeline_was_away(service->pipeline, service->away_from_ms, service->now_ms);
    service->lost_since_ms = TIMESTAMP_NONE;
    backlog_begin(&service->backlog_watch, service->fleet, service->monotonic_ms);
    if (!session_present) /* nothing was kept for us, so no alert has to wait for it */
        service_backlog_over(service);
    monitor_daemon(pipeline_monitor(service->pipeline), CONDITION_BROKER_LOST, false, NULL, NAN,
                   service->now_ms);
}

static void on_disconnected(void *context, const char *why) {
    struct service *service = context;
    log_line(LOG_LEVEL_WARNING, "broker", "%s", why);
    if (service->lost_since_ms == TIMESTAMP_NONE)
        service->lost_since_ms = service->away_from_ms = service->now_ms;
    service->backlog = true;
    pipeline_set_backlog(service->pipeline, true, service->now_ms);
    monitor_daemon(pipeline_monitor(service->pipeline), CONDITION_BROKER_LOST, true, why, NAN,
                   service->now_ms);
}

static void on_log(void *context, const char *text) {
    (void)context;
    log_line(LOG_LEVEL_INFO, "broker", "%s", text);
}

static bool on_uncommitted(void *context) {
    const struct service *service = context;
    return clock_watch_waits(&service->clock) ||
           (service->pipeline && pipeline_uncommitted(service->pipeline));
}

/* ---- building ---- */

int64_t service_newest_ms(const struct service *service) {
    int64_t newest_ms = monitor_newest_ms(pipeline_monitor(service->pipeline));
    bool usable = newest_ms <= service->now_ms || !clock_watch_trusts(&service->clock);
    return newest_ms != TIMESTAMP_NONE && usable ? newest_ms : service->now_ms;
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
    const struct settings_broker *broker = &service->fleet->settings->broker;
    intake_destroy(service->intake);
    service->intake = intake;
    service->api.intake = intake;
    service->broker_files = named_files_of_broker(broker);
    if (service->store)
        broker_session_leave_former(service->store, broker, intake);
    clock_watch_forget_messages(&service->clock); /* they came by another intake */
    service->backlog = true;
    service->lost_since_ms = service->now_ms;
    service->away_from_ms = service_newest_ms(service);
    pipeline_set_backlog(service->pipeline, true, service->now_ms);
    /* Lost until connected: nobody is to wait in silence for a broker that was never there. */
    monitor_daemon(pipeline_monitor(service->pipeline), CONDITION_BROKER_LOST, true, NULL, NAN,
                   service->now_ms);
}

static bool open_intake(struct service *service, char *why, size_t why_size) {
    struct intake *intake = service_make_intake(service, service->fleet->settings, why, why_size);
    if (intake)
        service_take_intake(service, intake);
    return intake != NULL;
}

/* A damaged store is set aside, never deleted or repaired in silence, and a new one begun. */
static enum store_status open_or_replace(const char *path, bool replace, struct store **store,
                                         int64_t now_ms, char *moved_to, size_t moved_size,
                                         char *why, size_t why_size) {
    /* Opening and writing may both wait for another process, within a turn of a second. */
    const struct store_options options = {.mode = STORE_READ_WRITE, .busy_timeout_ms = 400};
    enum store_status status = STORE_DAMAGED;
    moved_to[0] = '\0';
    if (!replace)
        status = store_open(path, &options, store, why, why_size);
    if (status != STORE_DAMAGED)
        return status;
    log_line(LOG_LEVEL_ERROR, "store", "%s", replace ? "damaged; it is set aside" : why);
    status = store_set_aside(path, now_ms, moved_to, moved_size);
    if (status == STORE_OK)
        status = store_open(path, &options, store, why, why_size);
    return status;
}

/* Opened once, under the lock of the first store. */
static void open_in_hand(struct service *service) {
    char story[512];
    if (service->hand)
        return;
    service->hand = in_hand_open(service->fleet->settings->store_file, story, sizeof story);
    if (!service->hand)
        log_line(LOG_LEVEL_WARNING, "start", "what ends this program is not found out: %s", story);
    else if (*story)
        log_line(LOG_LEVEL_WARNING, "start", "the last run died: %s", story);
}

bool service_open_store(struct service *service, char *why, size_t why_size) {
    char moved_to[4200];
    struct store *store = NULL;
    if (open_or_replace(service->fleet->settings->store_file, service->replace_store, &store,
                        service->now_ms, moved_to, sizeof moved_to, why, why_size) != STORE_OK)
        return false;
    service->replace_store = false;
    open_in_hand(service);
    struct pipeline *pipeline =
        pipeline_open(service->fleet, store, service->now_ms, why, why_size);
    struct upkeep *upkeep = pipeline ? upkeep_open(service->fleet) : NULL;
    if (!upkeep) {
        if (pipeline)
            snprintf(why, why_size, "out of memory");
        pipeline_close(pipeline);
        store_close(store);
        return false;
    }
    if (*moved_to)
        monitor_daemon(pipeline_monitor(pipeline), CONDITION_STORE_DAMAGED, true, moved_to, NAN,
                       service->now_ms);
    pipeline_close(service->pipeline);
    upkeep_close(service->upkeep);
    store_close(service->store);
    service->store = store;
    service->pipeline = service->api.pipeline = pipeline;
    service->upkeep = service->api.upkeep = upkeep;
    pipeline_set_in_hand(pipeline, service->hand);
    pipeline_set_backlog(pipeline, service->backlog, service->now_ms);
    return true;
}

static bool open_servers(struct service *service, char *why, size_t why_size) {
    const struct settings *settings = service->fleet->settings;
    service->operator_server = web_server_create_socket(settings->operator_socket, web_handle,
                                                        &service->api, why, why_size);
    if (!service->operator_server)
        return false;
    if (settings->page_port == 0)
        return true;
    service->page = web_server_create_tcp(settings->page_address, settings->page_port, web_handle,
                                          &service->api, why, why_size);
    if (!service->page)
        return false;
    web_server_allow_hosts(service->page, settings->page_hosts, settings->page_host_count);
    log_line(LOG_LEVEL_NOTICE, "page", "http://%s:%d/", settings->page_address,
             web_server_port(service->page));
    return true;
}

void service_print_errors(struct settings_errors *errors) {
    for (size_t i = 0; i < errors->count; i++)
        fprintf(stderr, "%s\n", errors->lines[i]);
    settings_errors_free(errors);
}

static int open_signals(void) {
    sigset_t signals;
    sigemptyset(&signals);
    sigaddset(&signals, SIGTERM);
    sigaddset(&signals, SIGINT);
    sigaddset(&signals, SIGHUP);
    sigprocmask(SIG_BLOCK, &signals, NULL);
    signal(SIGPIPE, SIG_IGN);
    return signalfd(-1, &signals, SFD_NONBLOCK | SFD_CLOEXEC);
}

static struct fleet *load_fleet(const char *file) {
    struct settings_errors errors = {0};
    struct fleet *fleet = fleet_reading_now(file, &errors);
    service_print_errors(&errors);
    return fleet;
}

static void set_clocks(struct service *service) {
    service->now_ms = clock_wall_ms();
    service->monotonic_ms = clock_monotonic_ms();
    service->offset_ms = service->now_ms - service->monotonic_ms;
    service->watchdog_ms = service_manager_watchdog_interval_ms();
    if (service->watchdog_ms <= 0)
        timers_set(&service->timers, TIMER_WATCHDOG, INT64_MAX);
    service->trusted_offset_ms = TIMESTAMP_NONE;
    service->lost_since_ms = service->now_ms;
}

static const int64_t start_most_ms = 15 * DURATION_MINUTE_MS;

static bool build(struct service *service) {
    char why[4800] = "";
    service->signals = open_signals();
    service->api.fleet = service->fleet;
    service->api.started_ms = service->now_ms;
    service->api.store_why = service->store_why;
    service->api.clock_why = service->clock.why;
    service->dispatch = dispatch_open(service->fleet, why, sizeof why);
    service->api.dispatch = service->dispatch;
    /* The log of a killed daemon, an older schema, the readings of a large fleet: not hung. */
    service_manager_extend_timeout(start_most_ms);
    bool good = service->signals >= 0 && service->dispatch &&
                service_open_store(service, why, sizeof why) &&
                clock_watch_open(&service->clock, service->pipeline, service->now_ms,
                                 service->monotonic_ms) &&
                open_servers(service, why, sizeof why) && open_intake(service, why, sizeof why);
    if (!good)
        log_line(LOG_LEVEL_ERROR, "start", "%s", *why ? why : strerror(errno));
    return good;
}

/* ---- stopping ---- */

static const int64_t deliveries_grace_ms = 5 * DURATION_SECOND_MS;

static void finish_deliveries(struct service *service) {
    int64_t until_ms = clock_monotonic_ms() + deliveries_grace_ms;
    while (service->store && dispatch_under_way(service->dispatch) > 0 &&
           clock_monotonic_ms() < until_ms) {
        delivery_wait(dispatch_delivery(service->dispatch), NULL, 0, 100);
        dispatch_finish(service->dispatch, pipeline_turn(service->pipeline),
                        pipeline_announce(service->pipeline), pipeline_monitor(service->pipeline),
                        clock_wall_ms());
        if (pipeline_settle(service->pipeline, clock_wall_ms()) != STORE_OK)
            return;
    }
}

static void stop(struct service *service) {
    service_manager_stopping("stopping");
    reload_end(&service->reload);
    if (service->intake && service->store &&
        pipeline_settle(service->pipeline, service->now_ms) == STORE_OK) {
        if (!clock_watch_waits(&service->clock))
            intake_release(service->intake);
        intake_stop(service->intake);
    }
    intake_destroy(service->intake);
    service->intake = NULL;
    if (service->dispatch && service->pipeline)
        finish_deliveries(service);
    web_server_destroy(service->page);
    page_close(service->api.page);
    web_server_destroy(service->operator_server);
    if (service->pipeline && service->store)
        pipeline_settle(service->pipeline, clock_wall_ms());
    pipeline_close(service->pipeline);
    upkeep_close(service->upkeep);
    in_hand_close(service->hand);
    clock_watch_close(&service->clock);
    dispatch_close(service->dispatch);
    store_close(service->store);
    store_close(service->held_store);
    fleet_destroy(service->fleet);
    if (service->signals >= 0)
        close(service->signals);
}

/* ---- running ---- */

int service_run(const char *settings_file) {
    struct service service = {.settings_file = settings_file, .signals = -1};
    umask(0027);
    set_clocks(&service);
    service.fleet = load_fleet(settings_file);
    if (!service.fleet)
        return 2;
    bool built = build(&service);
    if (built) {
        log_line(LOG_LEVEL_NOTICE, "start", "%zu systems, %zu points, %zu contacts",
                 service.fleet->system_count, service.fleet->point_count,
                 service.fleet->settings->contact_count);
        if (service.fleet->settings->contact_count == 0)
            log_line(LOG_LEVEL_WARNING, "contacts",
                     "none in the settings: nobody will be told of anything");
        service_manager_ready("running");
    }
    bool more = false;
    while (built && !service.stop) {
        service_turn(&service, more);
        more = service_work(&service);
    }
    stop(&service);
    return built ? 0 : 1;
}
