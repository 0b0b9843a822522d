/* announce_offices: who is told in the tests of what is announced. */
#ifndef ANNOUNCE_OFFICES_H
#define ANNOUNCE_OFFICES_H

#include "announce_bench.h"

#include <jansson.h>

/* ---- who ---- */

static const char three[] = SETTINGS(CONTACT("office", "contractor", "") CONTACT(
    "owner", "homeowner", "") CONTACT("van", "technician", ""));

static const char two_offices[] = SETTINGS(
    "  - {id: office, role: contractor, hears: {fan-weak: yes}, webhook: {url: "
    "\"http://127.0.0.1:9/\", body: text}}\n" CONTACT(
        "boss", "contractor", ", hears: {high: no, medium: no, low: no, delivery-failing: yes}")
        CONTACT("van", "technician", ", hears: {high: no, medium: no, low: no}"));

/* ---- how often ---- */

static const char office[] = SETTINGS(CONTACT("office", "contractor", ""));

#endif
