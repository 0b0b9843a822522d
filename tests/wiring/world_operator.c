#include "world_operator.h"

#include "link/web_server.h"
#include "measure/timestamp.h"
#include "world.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static bool has_commissioned;

void world_operator_begin(void) {
    has_commissioned = false;
}

/* ---- the web ---- */

struct web_server {
    web_handler *handler;
    void *context;
};

static struct web_server *serve(web_handler *handler, void *context) {
    struct web_server *server = malloc(sizeof *server);
    if (server)
        *server = (struct web_server){handler, context};
    return server;
}

struct web_server *web_server_create_tcp(const char *address, int port, web_handler *handler,
                                         void *context, char *why, size_t why_size) {
    (void)address, (void)port, (void)why, (void)why_size;
    return serve(handler, context);
}
struct web_server *web_server_create_socket(const char *path, web_handler *handler, void *context,
                                            char *why, size_t why_size) {
    (void)path, (void)why, (void)why_size;
    return serve(handler, context);
}
void web_server_destroy(struct web_server *server) {
    free(server);
}
int web_server_descriptor(const struct web_server *server) {
    (void)server;
    return -1;
}
int web_server_port(const struct web_server *server) {
    (void)server;
    return 0;
}
int web_server_timeout_ms(const struct web_server *server) {
    (void)server;
    return -1;
}
void web_server_allow_hosts(struct web_server *server, char *const *hosts, size_t count) {
    (void)server, (void)hosts, (void)count;
}
void web_server_set_patience(struct web_server *server, unsigned idle_s, unsigned request_s) {
    (void)server, (void)idle_s, (void)request_s;
}
size_t web_server_connections(const struct web_server *server) {
    (void)server;
    return 0;
}
const char *web_query(const struct web_request *request, const char *name) {
    (void)request, (void)name;
    return NULL;
}
const char *web_header(const struct web_request *request, const char *name) {
    (void)request, (void)name;
    return NULL;
}
const char *web_cookie(const struct web_request *request, const char *name) {
    (void)request, (void)name;
    return NULL;
}

/* ---- what the operator does ---- */

static void commission(const struct web_server *server, size_t system) {
    const struct world_script *script = world.script;
    const char *id = world_system_ids[system];
    char text[2000], path[100], date[40];
    int used = snprintf(text, sizeof text, "date: %s\nby: the installer\npoints:\n",
                        timestamp_format(date, sizeof date, script->start_ms));
    for (size_t i = 0; i < script->sensor_count; i++) {
        const struct world_sensor *sensor = &script->sensors[i];
        if (strcmp(sensor->system, id) == 0)
            used += snprintf(text + used, sizeof text - (size_t)used, "  %s: %.6g %s\n",
                             sensor->point, sensor->baseline, sensor->unit);
    }
    snprintf(path, sizeof path, "/api/systems/%s/commission", id);
    const struct web_request request = {.method = "POST",
                                        .path = path,
                                        .body = text,
                                        .body_length = strlen(text),
                                        .from_operator = true,
                                        .address = ""};
    struct web_answer answer = {0};
    server->handler(server->context, &request, &answer);
    if (answer.status != 200)
        world_broken("commissioning %s is answered %d: %s", id, answer.status,
                     answer.body ? answer.body : "");
    free(answer.body);
}

void web_server_turn(struct web_server *server, int64_t monotonic_ms) {
    (void)monotonic_ms;
    if (has_commissioned)
        return;
    for (size_t s = 0; s < world.script->system_count; s++)
        commission(server, s);
    has_commissioned = true;
}
