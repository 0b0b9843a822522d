/*
 * world: a seeded world. The real service (daemon/service/service.c with all it wires) runs over
 * models of all that is outside: clock, broker, disk, receivers, signals, web. One seed decides
 * everything (world_script.h), so a run can be repeated exactly; time passes only in the models, so
 * weeks take a moment.
 *
 * The models define the symbols of the headers they stand for (link/intake.h, link/delivery.h,
 * link/web_server.h, link/service_manager.h, daemon/host/clock.h, daemon/host/log.h, getrandom) in
 * the test's own objects, so the linker leaves the real ones out. The disk is SQLite's default VFS
 * here.
 *
 * A life of the daemon is one call of service_run. It may end at any effect on the outside: each
 * model calls world_effect before and after what others can see, and a crash leaves the life there
 * by longjmp. What the life held in memory is abandoned (a seed has a process of its own).
 */
#ifndef WORLD_H
#define WORLD_H

#include "world_script.h"
#include "world_trace.h"

#include <stdbool.h>
#include <stdint.h>

struct service;

/** Bugs that a test plants in the models, to see that the oracle finds them. */
enum world_plant {
    WORLD_PLANT_NOTHING,
    WORLD_PLANT_EARLY_RELEASE, /* the broker takes a message for acknowledged when it is read */
    WORLD_PLANT_LYING_SYNC,    /* the disk says it has synced and has not */
    WORLD_PLANT_LOST_WRITE,    /* a page that the disk forgets */
    WORLD_PLANT_EARLY_DONE,    /* a receiver's "no" is told to the daemon as "yes" */
    WORLD_PLANT_NEW_ID,        /* each try arrives under another id */
    WORLD_PLANT_WRONG_VALUE,   /* a reading is changed on the way */
    WORLD_PLANT_LEAK,          /* each turn forgets some memory */
    WORLD_PLANT_JUNK_LOST,     /* a message that is no reading vanishes on the way */
    WORLD_PLANT_PLAIN_TWICE,   /* a bare number comes twice at once */
    WORLD_PLANT_FALSE_TIME,    /* the time service calls every clock right */
    WORLD_PLANT_OLD_SETTINGS,  /* changed settings are never written */
    WORLD_PLANT_KINDS
};

struct world {
    const struct world_script *script;
    struct world_reading *readings; /* of the script, with what became of them */
    enum world_plant plant;
    int64_t now_ms;         /* the true time */
    int64_t beside_ms;      /* what the daemon's clock shows beside it */
    int64_t woke_beside_ms; /* and showed when this life began */
    struct service
        *service; /* of this life, for its deadlines; NULL before it has built an intake */
    bool alive;
    uint64_t turns, effects, lives;
};
extern struct world world;

/**
 * Plays a script in the current folder to its end: lives, crashes, and a last life that ends by
 * SIGTERM. `plant` as above.
 */
void world_play(const struct world_script *script, enum world_plant plant);

/** An effect on the outside is about to be, or has just been: the life may end here. */
void world_effect(const char *what);
/** The daemon waits, at most so long, and sleeps through turns in which nothing is to be done. */
void world_wait(int timeout_ms);
/** Is a fault of this kind going on now? Returns it, or NULL. */
const struct world_fault *world_fault_now(enum world_fault_kind kind);
/** A random number of the run (not of the script); uniform in [0, 1). */
double world_chance(void);
uint64_t world_random(void);

#endif
