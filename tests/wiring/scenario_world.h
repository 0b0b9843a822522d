/*
 * scenario_world: the real pipeline with a real temporary store and real settings files on a
 * virtual clock, and what stands around it: sensors that publish, and a broker that keeps messages
 * while nobody takes them. What the service's loop does with the pipeline (daemon/service/turn.c)
 * is done here without sockets.
 */
#ifndef SCENARIO_WORLD_H
#define SCENARIO_WORLD_H

#include "api/api.h"
#include "pipeline/pipeline.h"
#include "test_support.h"

#include <stdbool.h>
#include <stdint.h>

/** How the broker hands out what it kept. */
enum world_order { WORLD_IN_ORDER, WORLD_SHUFFLED, WORLD_REVERSED };

struct world_message {
    char *topic, *payload;
    bool retain;
};

/** A sensor that publishes at a fixed interval, each reading with its own time. */
struct world_sensor {
    char *name; /* "SYSTEM/POINT" */
    char *topic;
    int64_t every_ms, next_ms;
    double values[32]; /* taken in turn */
    size_t count, at;
    double spread; /* standard deviation of its noise */
    bool own_time; /* else a plain number: the time of arrival holds */
};

struct world {
    char folder[200];
    int64_t now_ms;
    struct fleet *fleet;
    struct store *store;
    struct upkeep *upkeep;
    struct pipeline *pipeline; /* NULL while the daemon is stopped */
    struct api api;
    bool started;   /* once at least */
    bool connected; /* daemon to broker */
    int64_t next_tick_ms, next_upkeep_ms, step_ms;
    struct world_sensor *sensors;
    size_t sensor_count;
    struct world_message *kept; /* by the broker */
    size_t kept_count, kept_capacity;
    struct test_random random, shuffler;
    bool endpoints_down; /* else every message is taken at once */
    bool ignore_outages; /* for comparisons: the broker is never lost, the daemon never stops */
};

void world_create(struct world *world, uint64_t seed);
void world_destroy(struct world *world);
/** A folder and all in it. */
void world_remove_folder(const char *folder);

/** Writes a file of the world's folder. */
void world_write(const struct world *world, const char *name, const char *text);
void world_delete(const struct world *world, const char *name);

/** Starts the daemon's parts from the settings in the folder, as the service does. */
void world_start(struct world *world);
/** Stops them: cleanly, or as a kill would, with what is not committed lost. */
void world_stop(struct world *world, bool cleanly);
bool world_runs(const struct world *world);
/** Takes over the settings in the folder at work, as the service does after SIGHUP. */
void world_reload(struct world *world);

void world_lose_broker(struct world *world);
void world_return_broker(struct world *world, enum world_order order);

/** Publishes one message now: to the daemon, or into the broker's keeping. */
void world_publish(struct world *world, const char *topic, const char *payload, bool retain);
/** Lets time pass: sensors publish, the clock acts, daily work is done. */
void world_run_to(struct world *world, int64_t time_ms);
/** The wall clock is set by hand; nothing happens meanwhile. */
void world_move_clock(struct world *world, int64_t by_ms);
/** Commits what is open. */
void world_settle(struct world *world);

/** One request of the operator; fails the test unless it is answered with `status`. The caller
   frees the answer. */
char *world_operate(struct world *world, const char *method, const char *path, const char *body,
                    int status);

#endif
