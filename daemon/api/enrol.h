/*
 * enrol: new systems while the daemon works: their files are checked against the fleet, written
 * into the folder of enrolled systems, and the settings read again.
 */
#ifndef DAEMON_API_ENROL_H
#define DAEMON_API_ENROL_H

#include "api/context.h"

#include <jansson.h>

/** The text of a system file; `label` names it in errors. */
struct enrol_text {
    const char *label, *text;
    size_t length;
};

/**
 * Enrols all or none, in the name of `by`. 200 when they are written (the settings are read again
 * from the next turn on); else 400, 409 or 503 with what is wrong in `errors`, in lines such as
 * "LABEL:LINE: key: what, and what is allowed", and nothing was changed. Where `enrolled` is not
 * NULL, {id, file, points} of each is added to it.
 */
int enrol_systems(struct api *api, const struct enrol_text *texts, size_t count, const char *by,
                  json_t *enrolled, struct settings_errors *errors);
/** Could they be? The same answers, and nothing is written. */
int enrol_check(struct api *api, const struct enrol_text *texts, size_t count,
                struct settings_errors *errors);

#endif
