#include "service/service_reload.h"

#include "host/clock.h"
#include "host/log.h"
#include "host/named_files.h"
#include "link/service_manager.h"
#include "service/fleet_reading.h"
#include "service/service_private.h"

#include <stdio.h>
#include <string.h>

static const int64_t step_ms = 50;

int reload_descriptor(const struct reload *reload) {
    return reload->reading ? fleet_reading_descriptor(reload->reading) : -1;
}

/* ---- beginning and ending ---- */

static void drop(struct reload *reload) {
    pipeline_close(reload->pipeline);
    upkeep_close(reload->upkeep);
    fleet_change_close(&reload->change);
    fleet_destroy(reload->fleet);
    reload->pipeline = NULL;
    reload->upkeep = NULL;
    reload->fleet = NULL;
}

void reload_put_off(struct reload *reload) {
    reload->asked |= reload->fleet != NULL;
    drop(reload);
}

void reload_end(struct reload *reload) {
    fleet_reading_end(reload->reading);
    drop(reload);
}

static void refuse(struct service *service, const char *why) {
    log_event(LOG_EVENT_SETTINGS_REFUSED, LOG_LEVEL_ERROR, NULL, "the old ones stay in force%s%s",
              *why ? ": " : "", why);
    service->api.reload_refused = true;
    drop(&service->reload);
    service_say_ready(service);
}

static void begin(struct service *service) {
    struct reload *reload = &service->reload;
    if (!service->store) {
        if (!reload->waits)
            log_line(LOG_LEVEL_WARNING, "settings", "they are read again when the store works");
        reload->waits = true;
        return;
    }
    reload->asked = reload->waits = false;
    service_manager_reloading(clock_monotonic_ms());
    reload->reading = fleet_reading_start(service->settings_file, service->api.fleet);
    if (!reload->reading)
        refuse(service, "no thread to read them can be started");
}

/* ---- the files are read ---- */

static void open_beside(struct service *service) {
    struct reload *reload = &service->reload;
    char why[512] = "out of memory";
    reload->upkeep = upkeep_open(reload->fleet);
    if (reload->upkeep && fleet_change_open(&reload->change, service->api.fleet, reload->fleet))
        reload->pipeline =
            pipeline_open_beside(service->api.pipeline, &reload->change, why, sizeof why);
    if (!reload->pipeline)
        refuse(service, why);
}

static void take_reading(struct service *service) {
    struct reload *reload = &service->reload;
    struct settings_errors errors = {0};
    if (!fleet_reading_take(reload->reading, &reload->fleet, &errors))
        return;
    fleet_reading_end(reload->reading);
    reload->reading = NULL;
    service_print_errors(&errors);
    if (!reload->fleet)
        refuse(service, "");
    else if (!service->store)
        reload_put_off(reload);
    else
        open_beside(service);
}

/* ---- the one turn ---- */

static bool same_text(const char *a, const char *b) {
    return a == b || (a && b && strcmp(a, b) == 0);
}

static bool same_topics(const struct settings_broker *a, const struct settings_broker *b) {
    bool same = a->subscribe_count == b->subscribe_count;
    for (size_t i = 0; same && i < a->subscribe_count; i++)
        same = same_text(a->subscribe[i], b->subscribe[i]);
    return same;
}

static bool same_hosts(const struct settings_broker *a, const struct settings_broker *b) {
    bool same = a->host_count == b->host_count;
    for (size_t i = 0; same && i < a->host_count; i++)
        same =
            a->hosts[i].port == b->hosts[i].port && same_text(a->hosts[i].name, b->hosts[i].name);
    return same;
}

static bool same_broker(const struct settings_broker *a, const struct settings_broker *b) {
    const char *const texts[][2] = {
        {a->client_id, b->client_id},
        {a->username, b->username},
        {a->password_file, b->password_file},
        {a->ca_file, b->ca_file},
        {a->certificate_file, b->certificate_file},
        {a->key_file, b->key_file},
        {a->state_topic, b->state_topic},
    };
    const int64_t numbers[][2] = {
        {a->protocol, b->protocol},
        {a->tls, b->tls},
        {a->keepalive_s, b->keepalive_s},
        {a->receive_maximum, b->receive_maximum},
        {(int64_t)a->maximum_packet, (int64_t)b->maximum_packet},
    };
    bool same = same_topics(a, b) && same_hosts(a, b);
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++)
        same &= same_text(texts[i][0], texts[i][1]);
    for (size_t i = 0; i < sizeof numbers / sizeof numbers[0]; i++)
        same &= numbers[i][0] == numbers[i][1];
    return same;
}

/* Also with a renewed certificate or password under the same name. */
static bool keeps_connection(const struct service *service, const struct settings *next) {
    return service->api.intake &&
           same_broker(&service->api.fleet->settings->broker, &next->broker) &&
           service->broker.files == named_files_of_broker(&next->broker);
}

/* What the running parts hold on to: it stays in force, and is named. */
static void keep_until_restart(struct settings *old, struct settings *new) {
    struct {
        const char *name;
        char **old, **new;
    } texts[] = {
        {"store.file", &old->store_file, &new->store_file},
        {"operator_socket", &old->operator_socket, &new->operator_socket},
        {"page.address", &old->page.address, &new->page.address},
    };
    char names[128] = "";
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        char *now = *texts[i].new;
        if (strcmp(*texts[i].old, now) == 0)
            continue;
        *texts[i].new = *texts[i].old;
        *texts[i].old = now;
        snprintf(names + strlen(names), sizeof names - strlen(names), " %s", texts[i].name);
    }
    if (old->page.port != new->page.port)
        snprintf(names + strlen(names), sizeof names - strlen(names), " page.port");
    new->page.port = old->page.port;
    if (!*names)
        return;
    new->source = 0; /* so that this is said again when they are read again */
    log_line(LOG_LEVEL_WARNING, "settings", "changed only by a restart:%s", names);
}

static void put_in_force(struct service *service) {
    struct reload *reload = &service->reload;
    pipeline_take_over(reload->pipeline, service->api.pipeline, &reload->change,
                       service->api.now_ms);
    upkeep_take_over(reload->upkeep, service->api.upkeep, &reload->change);
    state_topic_take_over(&service->state, &reload->change);
    timers_set(&service->timers, TIMER_HEARTBEAT, 0);
    keep_until_restart(service->api.fleet->settings, reload->fleet->settings);
    pipeline_close(service->api.pipeline);
    upkeep_close(service->api.upkeep);
    fleet_destroy(service->api.fleet);
    fleet_change_close(&reload->change);
    service->api.pipeline = reload->pipeline;
    service->api.upkeep = reload->upkeep;
    service->api.fleet = reload->fleet;
    service->api.reloads++;
    reload->pipeline = NULL;
    reload->upkeep = NULL;
    reload->fleet = NULL;
    const struct settings *settings = service->api.fleet->settings;
    if (!clock_watch_fleet(&service->clock, service->api.fleet))
        pipeline_note(service->api.pipeline, STORE_OUT_OF_MEMORY);
    if (service->page)
        web_server_allow_hosts(service->page, settings->page.hosts, settings->page.host_count);
    backlog_of_fleet(&service->broker.backlog, service->api.fleet);
    if (service->api.backlog)
        backlog_begin(&service->broker.backlog, service->monotonic_ms);
    timers_wake(&service->timers);
}

static void take_over(struct service *service) {
    struct reload *reload = &service->reload;
    struct intake *intake = NULL;
    char why[512] = "";
    if (!keeps_connection(service, reload->fleet->settings)) {
        intake = service_make_intake(service, reload->fleet->settings, why, sizeof why);
        if (!intake) {
            refuse(service, why);
            return;
        }
    }
    if (pipeline_hand_over(service->api.pipeline, reload->pipeline, &reload->change,
                           service->api.now_ms) != STORE_OK) {
        pipeline_note(service->api.pipeline, STORE_FAILING); /* which the next turn sees to */
        intake_destroy(intake);
        reload_put_off(reload);
        return;
    }
    if (!dispatch_take_settings(service->api.dispatch, &reload->change, why, sizeof why)) {
        intake_destroy(intake);
        refuse(service, why);
        return;
    }
    put_in_force(service);
    if (intake)
        service_take_intake(service, intake);
    service->api.reload_refused = false;
    log_event(LOG_EVENT_SETTINGS_TAKEN, LOG_LEVEL_NOTICE, NULL,
              "read again: %zu systems, %zu points", service->api.fleet->system_count,
              service->api.fleet->point_count);
    service_say_ready(service);
}

/* ---- steps ---- */

static bool read_some(struct service *service) {
    struct reload *reload = &service->reload;
    bool more = true;
    enum store_status status = pipeline_read_beside(reload->pipeline, &reload->change,
                                                    clock_monotonic_ms() + step_ms, &more);
    if (status != STORE_OK) {
        pipeline_note(service->api.pipeline, status);
        reload_put_off(reload);
        return false;
    }
    if (!more)
        take_over(service);
    return more;
}

static bool do_step(struct service *service) {
    struct reload *reload = &service->reload;
    if (reload->pipeline)
        return read_some(service);
    if (reload->reading)
        take_reading(service);
    else if (reload->asked)
        begin(service);
    return reload->pipeline != NULL;
}

bool reload_step(struct service *service) {
    struct reload *reload = &service->reload;
    struct api *api = &service->api;
    reload->asked |= api->reload_wanted;
    api->reload_wanted = false;
    bool more = do_step(service);
    api->reloading = reload->asked || reload->reading || reload->pipeline;
    return more;
}
