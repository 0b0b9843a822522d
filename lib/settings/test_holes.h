/*
 * test_holes: how far the pressure field reaches, as measured at commissioning: `test_holes:
 * [{setting, suction, flow, holes: {NAME: VALUE}}]`, a row a fan setting; and the result of the
 * back-draft test, `back_draft`. Pure; errors as in settings.h.
 */
#ifndef SETTINGS_TEST_HOLES_H
#define SETTINGS_TEST_HOLES_H

#include "settings/key_table.h"

#include <stddef.h>

#define TEST_SETTINGS_MAX 12
#define TEST_HOLES_MAX 40 /* of one setting */

/** The field is positive when the soil is below the room. */
struct test_hole {
    char *name;
    double field_pa;
};

struct test_setting {
    char *setting;                /* "full speed", or NULL */
    double suction_pa, flow_m3_s; /* NaN: not measured */
    struct test_hole *holes;
    size_t hole_count;
};

struct test_holes {
    struct test_setting *settings;
    size_t count;
};

/** Does the system draw combustion gases into the house? */
enum back_draft {
    BACK_DRAFT_NOT_TESTED,
    BACK_DRAFT_PASSED,
    BACK_DRAFT_FAILED,
    BACK_DRAFT_NO_APPLIANCE
};

/** "passed", "failed", "no appliance"; NULL for BACK_DRAFT_NOT_TESTED. */
const char *back_draft_word(enum back_draft result);
/** key_words of the three, for a table of keys. */
extern const struct key_word back_draft_words[];

/** A read function of key_table.h, into an empty list. */
void test_holes_read(const struct key_at *at, void *target);

#endif
