/*
 * radon_test_entry: what somebody typed of a radon test, read into a record, or what is wrong with
 * which field: the tool and the pages say it each in their own words.
 */
#ifndef DAEMON_API_RADON_TEST_ENTRY_H
#define DAEMON_API_RADON_TEST_ENTRY_H

#include "measure/time_zone.h"
#include "store/records.h"

enum radon_test_field {
    RADON_TEST_FROM,
    RADON_TEST_TO,
    RADON_TEST_VALUE,
    RADON_TEST_UNCERTAINTY,
    RADON_TEST_PLACE,
    RADON_TEST_DEVICE,
    RADON_TEST_KIND,
    RADON_TEST_CLOSED_HOUSE,
    RADON_TEST_FIELDS
};
/** What a field is called: "closed_house". */
extern const char *const radon_test_field_names[RADON_TEST_FIELDS];

enum radon_test_wrong {
    RADON_TEST_RIGHT,
    RADON_TEST_MISSING,
    RADON_TEST_NO_VALUE,       /* no radon value with its unit */
    RADON_TEST_IMPOSSIBLE,     /* more than any house has, or less than nothing */
    RADON_TEST_NO_UNCERTAINTY, /* not above 0 % to 100 % */
    RADON_TEST_NO_TIME,
    RADON_TEST_AHEAD,     /* in the future */
    RADON_TEST_TURNED,    /* begins when it is over */
    RADON_TEST_BRIEF,     /* under 48 hours */
    RADON_TEST_LONG,      /* over 400 days */
    RADON_TEST_NOT_SHORT, /* called short, and takes more than 90 days */
    RADON_TEST_NOT_LONG,  /* called long, and takes up to 90 days */
    RADON_TEST_NO_WORD    /* none of those allowed */
};

/** Texts, NULL or "" where nothing was typed. */
struct radon_test_entry {
    const char *fields[RADON_TEST_FIELDS];
};

/**
 * Reads all fields into `test`, whose texts are the entry's (borrowed); what system, by whom and
 * when it was recorded is the caller's. False with what is wrong with each field.
 */
bool radon_test_entry_read(const struct radon_test_entry *entry, const struct time_zone *zone,
                           int64_t now_ms, struct record_radon_test *test,
                           enum radon_test_wrong wrong[RADON_TEST_FIELDS]);

#endif
