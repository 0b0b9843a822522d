/*
 * Opening all in order: what a later part needs is there before it.
 */
#include "host/clock.h"
#include "host/log.h"
#include "link/service_manager.h"
#include "measure/duration.h"
#include "service/fleet_reading.h"
#include "service/service_private.h"
#include "web.h"

#include <errno.h>
#include <math.h>
#include <signal.h>
#include <stdio.h>
#include <string.h>
#include <sys/signalfd.h>

/* ---- settings, clocks, signals ---- */

void service_print_errors(struct settings_errors *errors) {
    for (size_t i = 0; i < errors->count; i++)
        log_line(LOG_LEVEL_ERROR, NULL, "%s", errors->lines[i]);
    settings_errors_free(errors);
}

static struct fleet *load_fleet(const char *file) {
    struct settings_errors errors = {0};
    struct fleet *fleet = fleet_reading_now(file, NULL, &errors);
    service_print_errors(&errors);
    return fleet;
}

static void set_clocks(struct service *service) {
    service->api.now_ms = clock_wall_ms();
    service->monotonic_ms = clock_monotonic_ms();
    service->offset_ms = service->api.now_ms - service->monotonic_ms;
    service->watchdog_ms = service_manager_watchdog_interval_ms();
    if (service->watchdog_ms <= 0)
        timers_set(&service->timers, TIMER_WATCHDOG, INT64_MAX);
    service->trusted_offset_ms = TIMESTAMP_NONE;
    service->api.lost_since_ms = service->api.now_ms;
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

/* ---- the store ---- */

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
    THEN(status, store_open(path, &options, store, why, why_size));
    return status;
}

/* Opened once, under the lock of the first store. */
static void open_in_hand(struct service *service) {
    char story[512];
    if (service->hand)
        return;
    service->hand = in_hand_open(service->api.fleet->settings->store_file, story, sizeof story);
    if (!service->hand)
        log_line(LOG_LEVEL_WARNING, "start", "what ends this program is not found out: %s", story);
    else if (*story)
        log_line(LOG_LEVEL_WARNING, "start", "the last run died: %s", story);
}

bool service_open_store(struct service *service, char *why, size_t why_size) {
    char moved_to[4200];
    struct store *store = NULL;
    if (open_or_replace(service->api.fleet->settings->store_file, service->trouble.replace, &store,
                        service->api.now_ms, moved_to, sizeof moved_to, why, why_size) != STORE_OK)
        return false;
    service->trouble.replace = false;
    open_in_hand(service);
    struct pipeline *pipeline =
        pipeline_open(service->api.fleet, store, service->api.now_ms, why, why_size);
    struct upkeep *upkeep = pipeline ? upkeep_open(service->api.fleet) : NULL;
    if (!upkeep) {
        if (pipeline)
            snprintf(why, why_size, "out of memory");
        pipeline_close(pipeline);
        store_close(store);
        return false;
    }
    if (*moved_to)
        monitor_daemon(pipeline_monitor(pipeline), CONDITION_STORE_DAMAGED, true, moved_to, NAN,
                       service->api.now_ms);
    pipeline_close(service->api.pipeline);
    upkeep_close(service->api.upkeep);
    store_close(service->store);
    service->store = store;
    service->api.pipeline = pipeline;
    service->api.upkeep = upkeep;
    pipeline_set_in_hand(pipeline, service->hand);
    pipeline_set_backlog(pipeline, service->api.backlog, service->api.now_ms);
    return true;
}

/* ---- the outside ---- */

static bool open_servers(struct service *service, char *why, size_t why_size) {
    const struct settings *settings = service->api.fleet->settings;
    service->operator_server = web_server_create_socket(settings->operator_socket, web_handle,
                                                        &service->api, why, why_size);
    if (!service->operator_server)
        return false;
    if (settings->page.port == 0)
        return true;
    service->page = web_server_create_tcp(settings->page.address, settings->page.port, web_handle,
                                          &service->api, why, why_size);
    if (!service->page)
        return false;
    web_server_allow_hosts(service->page, settings->page.hosts, settings->page.host_count);
    log_line(LOG_LEVEL_NOTICE, "page", "http://%s:%d/", settings->page.address,
             web_server_port(service->page));
    return true;
}

static bool open_intake(struct service *service, char *why, size_t why_size) {
    struct intake *intake =
        service_make_intake(service, service->api.fleet->settings, why, why_size);
    if (intake)
        service_take_intake(service, intake);
    return intake != NULL;
}

/* ---- all in order ---- */

static const int64_t start_most_ms = 15 * DURATION_MINUTE_MS;

static bool open_parts(struct service *service) {
    char why[4800] = "";
    service->signals = open_signals();
    service->api.started_ms = service->api.now_ms;
    service->api.store_why = service->trouble.why;
    service->api.clock_why = service->clock.why;
    service->api.dispatch = dispatch_open(service->api.fleet, why, sizeof why);
    /* The log of a killed daemon, an older schema, the readings of a large fleet: not hung. */
    service_manager_extend_timeout(start_most_ms);
    bool good = service->signals >= 0 && service->api.dispatch &&
                service_open_store(service, why, sizeof why) &&
                clock_watch_open(&service->clock, service->api.pipeline, service->api.now_ms,
                                 service->monotonic_ms) &&
                open_servers(service, why, sizeof why) && open_intake(service, why, sizeof why);
    if (!good)
        log_line(LOG_LEVEL_ERROR, "start", "%s", *why ? why : strerror(errno));
    return good;
}

int service_open(struct service *service) {
    set_clocks(service);
    service->api.fleet = load_fleet(service->settings_file);
    if (!service->api.fleet)
        return 2;
    backlog_of_fleet(&service->broker.backlog, service->api.fleet);
    return open_parts(service) ? 0 : 1;
}
