/*
 * fleet_reading: settings and system files read and checked beside the loop, by a thread of its
 * own: a large fleet takes seconds. The thread changes nothing of the caller's and hands over a
 * finished fleet, or what is wrong with the files; it logs nothing.
 */
#ifndef DAEMON_SERVICE_FLEET_READING_H
#define DAEMON_SERVICE_FLEET_READING_H

#include "monitor/fleet.h"

/**
 * The same at once, for the start. NULL: what is wrong is in `errors`. With `former` (or NULL) what
 * did not change is shared (fleet_files.h).
 */
struct fleet *fleet_reading_now(const char *settings_file, const struct fleet *former,
                                struct settings_errors *errors);

struct fleet_reading;

/**
 * Begins (the name is copied; `former` must stay until the end). NULL when no thread can be
 * started.
 */
struct fleet_reading *fleet_reading_start(const char *settings_file, const struct fleet *former);
/** Becomes readable when the files are read. */
int fleet_reading_descriptor(const struct fleet_reading *reading);
/**
 * False while it reads. Else *fleet is the caller's, or NULL with what is wrong in `errors`, and
 * the reading is over; end it.
 */
bool fleet_reading_take(struct fleet_reading *reading, struct fleet **fleet,
                        struct settings_errors *errors);
/** Waits for the thread if it still reads; what was not taken is freed. NULL does nothing. */
void fleet_reading_end(struct fleet_reading *reading);

#endif
