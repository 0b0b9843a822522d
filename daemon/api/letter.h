/*
 * letter: the year's letter to an owner, in the owner's language: how much radon and pull on
 * average, for how much of the time all was as it should be, what happened, what was done, tests,
 * what comes next, cautions, and what all this does not prove.
 */
#ifndef DAEMON_API_LETTER_H
#define DAEMON_API_LETTER_H

#include "api/context.h"

#include <jansson.h>

struct letter_request {
    size_t system, language;
    enum unit_system units;
    int year;
};

/**
 * {system, name, address, year, language, from, to, title, sections: [{heading, paragraphs: […]}]}.
 * The caller releases. NULL: nothing of that year is there yet.
 */
json_t *letter_make(struct api *api, const struct letter_request *request);

/** The language of a system's homeowner, English where there is none. */
size_t letter_language(const struct fleet *fleet, size_t system);

#endif
