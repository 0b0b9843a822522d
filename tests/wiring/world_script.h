/*
 * world_script: all that a seed decides beforehand: the houses, their sensors and every reading,
 * and when which fault comes. Nothing here depends on what the daemon does, so a seed stays the
 * same world while the daemon changes.
 */
#ifndef WORLD_SCRIPT_H
#define WORLD_SCRIPT_H

#include "test_support.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum {
    WORLD_SYSTEMS_MOST = 3,
    WORLD_SENSORS_MOST = 12,
    WORLD_CONTACTS = 3,
    WORLD_FAULTS_MOST = 41,
    WORLD_EDITION = 4 /* 2: bare numbers, junk; 3: clock steps; 4: settings that change */
};

struct world_sensor {
    const char *system, *point, *quantity, *unit;
    double baseline;
    int64_t every_ms;
    bool plain; /* sends bare numbers: the time of arrival holds, and each value is sent once */
};

struct world_reading {
    size_t sensor;
    int64_t time_ms;
    double value;
    int junk;                  /* no reading at all: number of a text of world_junk, from 1 on */
    unsigned handed;           /* so many times over to the daemon, */
    int64_t first_ms, last_ms; /* between these times, true or by its clock */
    unsigned rows;             /* read back from the store in the end */
    bool reached;              /* the broker has it, or had it */
    bool released;             /* acknowledged by the daemon */
    bool forgotten;            /* by the broker, before it was acknowledged */
    bool excused; /* came from our future to a life that had not seen its clock set back */
    bool late;    /* a newer one of its sensor was acknowledged first */
};

/** One reading on its way; a reading may be sent twice. */
struct world_message {
    size_t reading;
    int64_t publish_ms;
};

enum world_fault_kind {
    WORLD_BROKER_DOWN,    /* from, to; its queue survives */
    WORLD_BROKER_FORGETS, /* the same, but session and queue are gone */
    WORLD_LINE_CUT,       /* the connection to the broker is lost at `from` */
    WORLD_KILLED,         /* at the n-th effect after `from` */
    WORLD_POWER_CUT,      /* the same; what was not synced is lost, or torn */
    WORLD_STOPPED,        /* SIGTERM; started again at `to` */
    WORLD_RELOADED,       /* SIGHUP */
    WORLD_DISK_FULL,      /* from, to: no file grows */
    WORLD_DISK_FAILS,     /* from, to: some writes and syncs fail */
    WORLD_RECEIVER_FAILS, /* from, to: `n` is the contact, `answer` what it answers */
    WORLD_CLOCK_STEP,     /* from, to: our clock shows `by_ms` beside the true time */
    WORLD_RETUNED,        /* SIGHUP, and from then on nobody watches for WORLD_UNWATCHED */
    WORLD_FAULT_KINDS
};

struct world_fault {
    enum world_fault_kind kind;
    int64_t from_ms, to_ms;
    int64_t by_ms;
    long n;
    int answer;
};

struct world_script {
    uint64_t seed;
    int edition;
    struct world_sensor sensors[WORLD_SENSORS_MOST];
    size_t system_count, sensor_count;
    struct world_reading *readings;
    size_t reading_count;
    struct world_reading *rows; /* what the store has of them in the end */
    size_t row_count;
    struct world_message *messages; /* in the order of their publishing */
    size_t message_count;
    struct world_fault faults[WORLD_FAULTS_MOST]; /* by `from_ms` */
    size_t fault_count;
    int64_t start_ms, calm_ms, end_ms; /* faults end at calm */
    int64_t step_ms;                   /* a loop without work sleeps so long */
    bool has_late;                     /* messages are hours on their way, and gateways keep them */
    const char *time_zone;
    int receive_maximum;
    bool has_time_service; /* that says when our clock is right */
    bool granted_first;    /* this broker confirms subscriptions before the backlog */
};

extern const char *const world_system_ids[WORLD_SYSTEMS_MOST];

/**
 * What seed `seed` decides. world_script_free frees what it holds. What a world may contain grows:
 * `edition` says how much of it is drawn, so that a seed that once failed stays the world that it
 * was (WORLD_EDITION: all).
 */
void world_script_make(struct world_script *script, uint64_t seed, int edition);
/** What is sent instead of a reading, and the topic's last level (NULL: the point's). */
struct world_junk {
    const char *payload, *elsewhere;
};
const struct world_junk *world_junk(int number);
/** The same houses, but only the readings that were stored, each once, at once with its time, and
    no fault. */
void world_script_without_faults(const struct world_script *script, struct world_script *calm);
void world_script_free(struct world_script *script);

/** The condition that a reload may take out of the settings. */
#define WORLD_UNWATCHED "suction-low"
/** Writes settings and system files into the current folder; `retuned`: as after WORLD_RETUNED. */
void world_script_write(const struct world_script *script, bool retuned);
/** Name of a kind of fault, for the trace. */
const char *world_fault_name(enum world_fault_kind kind);

#endif
