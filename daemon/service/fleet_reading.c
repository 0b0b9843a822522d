#include "service/fleet_reading.h"

#include "host/fleet_files.h"
#include "host/named_files.h"

#include <pthread.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/eventfd.h>
#include <unistd.h>

struct fleet_reading {
    char *settings_file;
    const struct fleet *former;
    int done; /* eventfd */
    pthread_t thread;
    struct fleet *fleet;
    struct settings_errors errors;
};

struct fleet *fleet_reading_now(const char *settings_file, const struct fleet *former,
                                struct settings_errors *errors) {
    struct fleet *fleet = fleet_files_load(settings_file, former, errors);
    if (fleet)
        named_files_check(fleet->settings, errors);
    if (errors->count == 0)
        return fleet;
    fleet_destroy(fleet);
    return NULL;
}

static void *run(void *argument) {
    struct fleet_reading *reading = argument;
    reading->fleet = fleet_reading_now(reading->settings_file, reading->former, &reading->errors);
    eventfd_write(reading->done, 1);
    return NULL;
}

/* The daemon's signals belong to its loop, so the thread takes none. */
static bool start_thread(struct fleet_reading *reading) {
    sigset_t all, before;
    sigfillset(&all);
    pthread_sigmask(SIG_SETMASK, &all, &before);
    int error = pthread_create(&reading->thread, NULL, run, reading);
    pthread_sigmask(SIG_SETMASK, &before, NULL);
    return error == 0;
}

static void release(struct fleet_reading *reading) {
    if (reading->done >= 0)
        close(reading->done);
    fleet_destroy(reading->fleet);
    settings_errors_free(&reading->errors);
    free(reading->settings_file);
    free(reading);
}

struct fleet_reading *fleet_reading_start(const char *settings_file, const struct fleet *former) {
    struct fleet_reading *reading = calloc(1, sizeof *reading);
    if (!reading)
        return NULL;
    reading->settings_file = strdup(settings_file);
    reading->former = former;
    reading->done = eventfd(0, EFD_CLOEXEC | EFD_NONBLOCK);
    if (reading->settings_file && reading->done >= 0 && start_thread(reading))
        return reading;
    release(reading);
    return NULL;
}

int fleet_reading_descriptor(const struct fleet_reading *reading) {
    return reading->done;
}

bool fleet_reading_take(struct fleet_reading *reading, struct fleet **fleet,
                        struct settings_errors *errors) {
    eventfd_t count;
    if (eventfd_read(reading->done, &count) != 0)
        return false;
    *fleet = reading->fleet;
    *errors = reading->errors;
    reading->fleet = NULL;
    reading->errors = (struct settings_errors){0};
    return true;
}

void fleet_reading_end(struct fleet_reading *reading) {
    if (!reading)
        return;
    pthread_join(reading->thread, NULL);
    release(reading);
}
