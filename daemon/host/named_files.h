/*
 * named_files: the files of secrets that settings name, and the templates of contacts; checked at
 * the start, at each reload and by subslabctl check.
 */
#ifndef DAEMON_HOST_NAMED_FILES_H
#define DAEMON_HOST_NAMED_FILES_H

#include "settings/settings.h"

#include <stdint.h>

/** Adds an error "FILE:LINE: key: …" for each secret or template that would not work. */
void named_files_check(const struct settings *settings, struct settings_errors *errors);

/** A sum over what the broker's files (password, certificates, key) hold now. */
uint64_t named_files_of_broker(const struct settings_broker *broker);

#endif
