/*
 * fleet_files: settings and system files on disk, and the time zones they name, to a fleet.
 */
#ifndef DAEMON_HOST_FLEET_FILES_H
#define DAEMON_HOST_FLEET_FILES_H

#include "monitor/fleet.h"

/**
 * Reads the settings file and every system file it names. NULL when anything is wrong; every error
 * is then in `errors` as "FILE:LINE: key: what, and what is allowed". File names in the settings
 * have become paths. Files that are as they were when `former` (NULL: none) was read are not read
 * again: what they say is shared with it.
 */
struct fleet *fleet_files_load(const char *settings_file, const struct fleet *former,
                               struct settings_errors *errors);

/** Reads the fan models of settings->fans.folder, if there is one, into settings->fans. */
void fleet_files_load_fans(struct settings *settings, struct settings_errors *errors);

#define FLEET_FILES_BYTES_MAX ((size_t)1 << 20) /* of settings and system files */

/** Is a file of this name in a folder read as a system file? */
bool fleet_files_is_system(const char *name);

/** A whole file, null-terminated; at most `most` bytes. NULL with errno. The caller frees. */
char *fleet_files_read(const char *path, size_t most, size_t *length);

/**
 * A secret of one line from a file that others must not read: refused with a sentence in `why` when
 * the world can read it, or when it is empty. The line ending is left out. The caller frees.
 */
char *fleet_files_secret(const char *path, char *why, size_t why_size);

/** A time zone by its IANA name, from the files of the machine or of TZDIR. NULL when there is
 * none. */
struct time_zone *fleet_files_zone(const char *name);
/** Adds an error when the machine doesn't know the zone of a system. */
void fleet_files_check_zone(const struct system_description *system,
                            struct settings_errors *errors);

#endif
