/*
 * wording_texts: what one language says, as tables; one file a language. Placeholders in braces are
 * filled by wording.c: {name} of the system, {contractor}, {by}, {subject}, {sent}, {declared}.
 */
#ifndef WORDS_WORDING_TEXTS_H
#define WORDS_WORDING_TEXTS_H

#include "alarm/condition.h"
#include "diagnosis/diagnosis.h"
#include "words/wording.h"

/** Conditions whose advice to people in the house is the same. */
enum wording_advice {
    ADVICE_FAN,   /* little or no suction */
    ADVICE_BLOCK, /* air finds no way, or a new one */
    ADVICE_RADON, /* the radon level itself */
    ADVICE_WATER,
    ADVICE_SENSOR, /* the watching, not the system */
    ADVICE_SILENT, /* power or link of the house */
    ADVICE_TEST,   /* a new radon test */
    ADVICE_VISIT,
    ADVICE_SERVICE, /* the daemon's own trouble */
    ADVICE_COUNT
};

struct wording_condition_text {
    enum wording_advice advice;
    const char *plain_subject; /* follows "NAME: " */
    const char *plain_what, *plain_over;
    const char *subject; /* before ": NAME" */
    const char *what, *action, *over;
};

struct wording_advice_text {
    const char *meaning, *can_do, *leave_alone; /* leave_alone may be NULL */
};

struct wording_texts {
    struct wording_condition_text conditions[CONDITION_COUNT];
    struct wording_advice_text advice[ADVICE_COUNT];
    const char *quantities[QUANTITY_COUNT];
    const char *causes[CAUSE_COUNT];
    const char *months[12];
    const char *date;                               /* {day} {month} {year} {time} */
    const char *subject_prefix[WORDING_KIND_COUNT]; /* trade, before the condition */
    const char *plain_suffix[WORDING_KIND_COUNT];   /* homeowner, after "NAME: "; {subject} */
    const char *no_system, *no_fleet;               /* where, for the daemon's own and the fleet */
    const char *the_contractor;                     /* when no name is known */
    /* labels */
    const char *where, *details, *since, *ended, *acknowledged_by, *note, *times;
    const char *value, *ratio, *probability, *lasted, *time_left, *limit, *baseline;
    const char *unit, *unit_sent;     /* {sent} {declared}; what it read before follows */
    const char *cause, *confident[3]; /* unlikely to likely */
    const char *evidence, *check, *bring, *action, *cautions, *systems, *reasons;
    const char *meaning, *can_do, *leave_alone, *it_was, *measured;
    /* sentences */
    const char *still_open, *not_taken_up, *nothing_to_do, *over_check, *taken_on, *will_tell;
    const char *test_subject, *test, *plain_test, *digest, *digest_plain, *digest_none, *visit,
        *plain_visit;
    const char *caution_power, *caution_backdraft, *caution_codes;
    /* bundles, chattering, shelving, service, digest */
    const char *bundle, *bundle_plain, *bundle_over, *bundle_over_plain, *bundle_list,
        *bundle_over_list, *and_more;
    const char *undelivered, *undelivered_plain, *undelivered_list;
    const char *chattering, *chattering_plain, *recurring, *recurring_plain, *changes, *until;
    const char *shelving_ends, *shelved_by, *why, *service, *service_ends;
    const char *unwatched, *unwatched_plain, *unwatched_check;
    const char *statuses[WORDING_STATUS_COUNT], *plain_statuses[WORDING_STATUS_COUNT], *for_age;
};

extern const struct wording_texts wording_english, wording_spanish;

#endif
