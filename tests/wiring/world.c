#include "world.h"

#include "host/clock.h"
#include "host/log.h"
#include "link/service_manager.h"
#include "measure/duration.h"
#include "measure/timestamp.h"
#include "service/service.h"
#include "service/service_private.h"
#include "world_broker.h"
#include "world_disk.h"
#include "world_operator.h"
#include "world_receivers.h"

#include <malloc.h>
#include <poll.h>
#include <setjmp.h>
#include <signal.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>
#include <unistd.h>

enum {
    LOOP_WAIT_MS = 1000,
    DISPATCH_LOOK_MS = 59000,
    IDLE_TURNS_MOST = 500,
    CALLS_A_TURN_MOST = 40000,
    LIVES_MOST = 400,
    EFFECTS_A_LOOK = 32,
    LEAK = 10000,
    MEMORY_MOST = 4 << 20 /* in 100 worlds a life had 1.1 MB at most, SQLite's cache included */
};
static const int64_t restart_ms = 5 * DURATION_SECOND_MS; /* as the unit does after a failure */

struct world world;

static struct {
    jmp_buf end; /* of this life */
    struct test_random random;
    size_t next_fault; /* of the script, not begun yet */
    long effects_left; /* until the crash; 0: none is coming */
    const struct world_fault *crash;
    int64_t down_until_ms;
    bool stopping; /* SIGTERM was sent */
    uint64_t idle_turns, calls_before;
    size_t memory_before; /* allocated when this life began: the lives before it are abandoned */
    bool memory_told;
    int first_descriptor;
} run;

/* ---- chance and time ---- */

uint64_t world_random(void) {
    return test_random_next(&run.random);
}

double world_chance(void) {
    return test_random_unit(&run.random);
}

ssize_t getrandom(void *bytes, size_t size, unsigned flags) {
    (void)flags;
    for (size_t i = 0; i < size; i++)
        ((unsigned char *)bytes)[i] = (unsigned char)world_random();
    return (ssize_t)size;
}

int64_t clock_wall_ms(void) {
    return world.now_ms + world.beside_ms;
}

bool clock_is_synchronised(int64_t wall_ms) {
    if (world.plant == WORLD_PLANT_FALSE_TIME)
        return true;
    return world.script->has_time_service && wall_ms == world.now_ms;
}

int64_t clock_monotonic_ms(void) {
    return world.now_ms - world.script->start_ms + DURATION_HOUR_MS;
}

/* Work takes no time here. */
int64_t clock_processor_ms(void) {
    return 0;
}

/* ---- what nobody asks ---- */

void log_line(enum log_level level, const char *subject, const char *format, ...) {
    char text[500];
    va_list arguments;
    (void)level;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    world_trace("    %s: %s", subject ? subject : "", text);
}

void log_event(enum log_event event, enum log_level level, const struct log_about *about,
               const char *format, ...) {
    char text[500];
    va_list arguments;
    (void)level;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    world_trace("    event %d of %s: %s", (int)event, about && about->system ? about->system : "",
                text);
}

void service_manager_ready(const char *status) {
    world_trace("    ready: %s", status);
}
void service_manager_reloading(int64_t monotonic_ms) {
    (void)monotonic_ms;
}
void service_manager_stopping(const char *status) {
    (void)status;
}
void service_manager_status(const char *status) {
    (void)status;
}
void service_manager_watchdog(void) {
}
void service_manager_extend_timeout(int64_t more_ms) {
    (void)more_ms;
}
int64_t service_manager_watchdog_interval_ms(void) {
    return DURATION_MINUTE_MS;
}
char *service_manager_credential(const char *name) {
    (void)name;
    return NULL;
}

/* ---- faults ---- */

const struct world_fault *world_fault_now(enum world_fault_kind kind) {
    for (size_t i = 0; i < run.next_fault; i++) {
        const struct world_fault *fault = &world.script->faults[i];
        if (fault->kind == kind && world.now_ms < fault->to_ms)
            return fault;
    }
    return NULL;
}

static void end_life(const char *what) {
    const struct world_fault *crash = run.crash;
    world_trace("%s at effect %llu (%s)", world_fault_name(crash->kind),
                (unsigned long long)world.effects, what);
    run.down_until_ms = world.now_ms + (crash->to_ms - crash->from_ms);
    world.alive = false;
    longjmp(run.end, 1);
}

/* ---- memory ---- */

#ifdef __SANITIZE_ADDRESS__
size_t __sanitizer_get_current_allocated_bytes(void); /* gcc brings no header for it */

static size_t allocated(void) {
    return __sanitizer_get_current_allocated_bytes();
}
#else
static size_t allocated(void) {
    struct mallinfo2 info = mallinfo2();
    return info.uordblks + info.hblkhd;
}
#endif

/* All that is allocated beside the disk's model. */
static size_t memory_now(void) {
    size_t all = allocated(), disk = world_disk_memory();
    return all > disk ? all - disk : 0;
}

static void look_at_memory(void) {
    static void *leaked;
    size_t now = memory_now();
    size_t more = now > run.memory_before ? now - run.memory_before : 0;
    if (more > MEMORY_MOST && !run.memory_told)
        world_broken("a life has %zu bytes allocated", more);
    run.memory_told |= more > MEMORY_MOST;
    if (world.plant == WORLD_PLANT_LEAK) {
        void **one = malloc(LEAK);
        *one = leaked;
        leaked = one;
    }
}

void world_effect(const char *what) {
    if (!world.alive)
        return;
    if (++world.effects % EFFECTS_A_LOOK == 0)
        look_at_memory();
    if (run.effects_left > 0 && --run.effects_left == 0)
        end_life(what);
}

static void send_signal(int number) {
    if (world.alive && world.service)
        raise(number);
}

static void begin_fault(const struct world_fault *fault) {
    world_trace("%s%s", world_fault_name(fault->kind),
                fault->kind == WORLD_KILLED || fault->kind == WORLD_POWER_CUT ? " is near" : "");
    switch (fault->kind) {
    case WORLD_KILLED:
    case WORLD_POWER_CUT:
        run.effects_left = fault->n;
        run.crash = fault;
        break;
    case WORLD_STOPPED:
        send_signal(SIGTERM);
        run.down_until_ms = fault->to_ms;
        break;
    case WORLD_RETUNED:
        world_script_write(world.script, world.plant != WORLD_PLANT_OLD_SETTINGS);
        send_signal(SIGHUP);
        break;
    case WORLD_RELOADED:
        send_signal(SIGHUP);
        break;
    default:
        break; /* the models ask for them */
    }
}

static void begin_faults(void) {
    const struct world_script *script = world.script;
    while (run.next_fault < script->fault_count &&
           script->faults[run.next_fault].from_ms <= world.now_ms)
        begin_fault(&script->faults[run.next_fault++]);
    const struct world_fault *step = world_fault_now(WORLD_CLOCK_STEP);
    int64_t beside_ms = step ? step->by_ms : 0;
    if (beside_ms != world.beside_ms)
        world_trace("our clock is %lld s beside the time", (long long)beside_ms / 1000);
    world.beside_ms = beside_ms;
    if (run.effects_left > 0 && world.now_ms >= script->calm_ms)
        run.effects_left = 0;
    if (world.now_ms >= script->end_ms && world.alive && world.service && !run.stopping) {
        run.stopping = true;
        raise(SIGTERM);
    }
}

/* ---- waiting ---- */

static int64_t sooner(int64_t a, int64_t b) {
    return a < b ? a : b;
}

static int64_t next_event_ms(void) {
    const struct world_script *script = world.script;
    int64_t next_ms = sooner(world_broker_next_ms(), world_receivers_next_ms());
    if (run.next_fault < script->fault_count)
        next_ms = sooner(next_ms, script->faults[run.next_fault].from_ms);
    const struct world_fault *step = world_fault_now(WORLD_CLOCK_STEP);
    if (step)
        next_ms = sooner(next_ms, step->to_ms);
    return world.now_ms < script->end_ms ? sooner(next_ms, script->end_ms) : next_ms;
}

/* Settings are read by a real thread: the world waits for it, so that a seed stays one world. */
static bool settings_are_read(const struct service *service) {
    struct pollfd reading = {.fd = reload_descriptor(&service->reload), .events = POLLIN};
    return reading.fd >= 0 && poll(&reading, 1, -1) == 1;
}

/*
 * A loop that waits as long as it may has nothing to do but to look around each second: it sleeps
 * through some such turns, as on a machine under load, so that weeks do not take a million turns.
 */
static int64_t wait_until_ms(int timeout_ms) {
    const struct service *service = world.service;
    int64_t until_ms = world.now_ms + timeout_ms;
    if (service && settings_are_read(service))
        return world.now_ms;
    if (!service || timeout_ms < LOOP_WAIT_MS)
        return until_ms;
    if (!service->store)
        return world.now_ms + service->timers.at_ms[TIMER_STORE] - clock_monotonic_ms();
    until_ms = world.now_ms + world.script->step_ms;
    if (!clock_watch_trusts(&service->clock))
        return until_ms; /* nothing is sent by such a clock */
    int64_t dispatch_ms = service->timers.at_ms[TIMER_DISPATCH] - world.beside_ms;
    return dispatch_ms - world.now_ms < DISPATCH_LOOK_MS ? sooner(until_ms, dispatch_ms) : until_ms;
}

static void look_at_work(bool moved) {
    uint64_t calls = world_disk_calls() - run.calls_before;
    run.calls_before = world_disk_calls();
    if (calls > CALLS_A_TURN_MOST)
        world_broken("one turn made %llu calls of the disk", (unsigned long long)calls);
    run.idle_turns = moved ? 0 : run.idle_turns + 1;
    if (run.idle_turns == IDLE_TURNS_MOST) {
        world_broken("%d turns in a row without a wait", IDLE_TURNS_MOST);
    }
}

void world_wait(int timeout_ms) {
    int64_t event_ms = next_event_ms();
    int64_t until_ms = sooner(event_ms, wait_until_ms(timeout_ms));
    world.turns++;
    look_at_memory();
    look_at_work(until_ms > world.now_ms);
    world.now_ms = until_ms > world.now_ms ? until_ms : world.now_ms + 1;
    begin_faults();
    world_broker_turn();
    world_effect("wait");
}

/* ---- lives ---- */

static void pass_down_time(void) {
    const int64_t until_ms = run.down_until_ms;
    while (world.now_ms < until_ms) {
        world.now_ms = sooner(until_ms, next_event_ms());
        begin_faults();
        world_broker_turn();
        if (world.now_ms >= world.script->end_ms)
            break;
    }
}

static void clear_signals(void) {
    sigset_t set;
    const struct timespec none = {0};
    sigemptyset(&set);
    sigaddset(&set, SIGHUP);
    sigaddset(&set, SIGTERM);
    while (sigtimedwait(&set, NULL, &none) > 0)
        continue;
}

static void clear_up(bool power_cut) {
    world.alive = false;
    world.service = NULL;
    world_broker_dropped();
    world_receivers_dropped();
    world_disk_dropped(power_cut);
    close_range((unsigned)run.first_descriptor, ~0U, 0);
    clear_signals();
    run.crash = NULL;
    run.effects_left = 0;
}

static void live(void) {
    world.lives++;
    world.alive = true;
    run.memory_before = memory_now();
    world.woke_beside_ms = world.beside_ms;
    run.down_until_ms = world.now_ms + restart_ms;
    world_trace("life %llu begins", (unsigned long long)world.lives);
    if (setjmp(run.end) == 0) {
        int status = service_run("subslabd.yaml");
        world_trace("the daemon ended with status %d", status);
        clear_up(false);
        return;
    }
    clear_up(run.crash->kind == WORLD_POWER_CUT);
}

void world_play(const struct world_script *script, enum world_plant plant) {
    world = (struct world){
        .script = script, .readings = script->readings, .plant = plant, .now_ms = script->start_ms};
    memset(&run, 0, sizeof run);
    run.random.state = ~script->seed;
    run.first_descriptor = dup(0);
    close(run.first_descriptor);
    world_script_write(script, false);
    world_disk_begin();
    world_broker_begin();
    world_receivers_begin();
    world_operator_begin();
    while (!run.stopping && world.lives < LIVES_MOST) {
        live();
        if (!run.stopping)
            pass_down_time();
    }
    if (world.lives == LIVES_MOST)
        world_broken("%d lives, and none lasts", LIVES_MOST);
    world_trace("the end: %llu lives, %llu turns, %llu effects", (unsigned long long)world.lives,
                (unsigned long long)world.turns, (unsigned long long)world.effects);
}
