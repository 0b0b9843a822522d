/*
 * wording_texts: what one language says, as tables of texts and nothing but texts. Each language is
 * one file, language_CODE.txt, whose keys are the members here; languages.cmake makes it C. What is
 * the same in every language stands in the code. Placeholders in braces are filled by wording.c:
 * {name} of the system, {contractor}, {call} (with the telephone), {by}, {subject}, {sent},
 * {declared}, {every}, {lower}, {upper}, {more}.
 */
#ifndef WORDS_WORDING_TEXTS_H
#define WORDS_WORDING_TEXTS_H

#include "alarm/condition.h"
#include "complaints.h"
#include "diagnosis/diagnosis_fact.h"
#include "words/home_text_names.h"
#include "words/letter_text_names.h"
#include "words/page_text_names.h"
#include "words/wording.h"

#include <stddef.h>

/** Conditions whose advice to people in the house is the same (wording_advice_of). */
enum wording_advice {
    ADVICE_FAN,   /* it stands still, or pulls nothing */
    ADVICE_WEAK,  /* it runs, and does less than it did */
    ADVICE_BLOCK, /* air finds no way, or a new one */
    ADVICE_RADON, /* the radon level itself */
    ADVICE_WATER,
    ADVICE_SENSOR,  /* the watching, not the system */
    ADVICE_SILENT,  /* power or link of the house */
    ADVICE_TEST,    /* a new radon test */
    ADVICE_READING, /* a gauge that somebody reads */
    ADVICE_VISIT,
    ADVICE_CALIBRATION,
    ADVICE_SERVICE, /* the daemon's own trouble */
    /* of messages about no alarm that stands */
    ADVICE_OVER,
    ADVICE_RADON_OVER, /* no longer surely high, which is not low */
    ADVICE_DONE,       /* what was due */
    ADVICE_NO_LONGER,  /* it is no longer watched for */
    ADVICE_NOTE,       /* a test message */
    ADVICE_SUMMARY,
    ADVICE_LIST,
    ADVICE_COUNT
};

/** How sure a cause is. */
enum wording_grade { WORDING_UNCERTAIN, WORDING_POSSIBLE, WORDING_LIKELY, WORDING_GRADE_COUNT };

struct wording_condition_text {
    const char *plain_subject; /* follows "NAME: " */
    const char *plain_what, *plain_over;
    const char *subject; /* before ": NAME" */
    const char *what, *action, *over;
    const char *reason; /* of a visit; NULL where it calls for none (visit_condition_items) */
};

struct wording_advice_text {
    const char *meaning, *can_do, *leave_alone;
    const char *again; /* when we write again */
};

/** Of visits and their calendar entries. */
struct wording_calendar_text {
    const char *name, *visit, *latest, *priority, *last_visit, *never, *at_commissioning;
    const char *priorities[PRIORITY_HIGH + 1];
    const char *projection, *perhaps_never; /* {point} {limit} {day} {earliest} {latest} */
};

struct wording_texts {
    struct wording_condition_text conditions[CONDITION_COUNT];
    struct wording_advice_text advice[ADVICE_COUNT];
    const char *quantities[QUANTITY_COUNT];
    const char *causes[CAUSE_COUNT];
    const char *cause_actions[CAUSE_COUNT]; /* wording_do; NULL: it is never claimed */
    const char *several_actions;            /* of several causes */
    /* evidence.h: sentences of facts, why a cause fits (NULL: it is never claimed), what to check
     */
    const char *facts[FACT_COUNT], *reasoning[CAUSE_COUNT], *methods[FAN_METHOD_COUNT];
    const char *quantity_at, *weather, *weather_radon;
    const char *items[VISIT_ITEM_COUNT];
    struct wording_calendar_text calendar;
    const char *plain_sensor;              /* only the sensor is suspected (wording_only_sensor) */
    const char *ice_look, *ice_leave;      /* beside the advice (wording_advice_ice) */
    const char *carbon_monoxide;           /* a paragraph of its own where wording_advice_flue */
    const char *home[HOME_TEXT_COUNT];     /* of the homeowner's link */
    const char *letter[LETTER_TEXT_COUNT]; /* of the year's letter */
    const char *page[PAGE_TEXT_COUNT];     /* of the contractor's sheets, and the tool's */
    const char *complaints[COMPLAINT_COUNT]; /* why something typed is refused (complaint.h) */
    const char *months[12];
    const char *date;                               /* {day} {month} {year} {time} */
    const char *subject_prefix[WORDING_KIND_COUNT]; /* trade, before the condition; or NULL */
    const char *plain_suffix[WORDING_KIND_COUNT];   /* homeowner, after "NAME: "; {subject} */
    const char *plain_done;                         /* the same of what was due, when it is over */
    const char *no_system, *no_fleet;               /* where, for the daemon's own and the fleet */
    const char *the_contractor;                     /* when no name is known */
    /* labels */
    const char *where, *details, *since, *ended, *acknowledged_by, *note, *times;
    const char *value, *ratio, *probability, *share, *lasted, *time_left, *limit, *baseline;
    const char *mean_so_far, *mean_since_repair; /* "1.2 pCi/L" and the next follow */
    const char *over_days;                       /* {days} */
    const char *unit, *unit_sent; /* {sent} {declared}; what it read before follows */
    const char *cause, *or_cause, *confident[WORDING_GRADE_COUNT];
    const char *evidence, *check, *bring, *action, *cautions, *systems, *reasons;
    const char *meaning, *can_do, *leave_alone, *it_was, *measured;
    const char *action_level, *year_of, *year_between; /* {lower} {upper} */
    const char *not_known;
    const char *over_99, *under_1; /* chances that are not all and not nothing */
    const char *whom, *again_label, *again_reminded, *plain_again_reminded;
    const char *again[WORDING_KIND_COUNT]; /* trade; NULL: another sentence of it says so */
    /* sentences */
    const char *still_open, *not_taken_up, *over_check, *over_radon, *over_done, *taken_on;
    const char *test_subject, *test, *plain_test, *digest, *digest_plain, *digest_none,
        *plain_digest_none, *visit, *plain_visit;
    const char *caution_power, *caution_backdraft, *caution_codes, *caution_leave;
    /* bundles, chattering, shelving, service, digest */
    const char *bundle, *bundle_plain, *bundle_over, *bundle_over_plain, *bundle_list,
        *bundle_over_list, *and_more;
    const char *undelivered, *undelivered_plain, *undelivered_list;
    const char *chattering, *chattering_plain, *recurring, *recurring_plain, *changes, *until;
    const char *shelving_ends, *shelved_by, *why, *service, *service_ends;
    const char *unwatched, *unwatched_plain, *unwatched_check;
    const char *statuses[WORDING_STATUS_COUNT], *plain_statuses[WORDING_STATUS_COUNT], *for_age;
};

struct wording_language {
    const char *code; /* of ISO 639-1 */
    const struct wording_texts *texts;
};
extern const struct wording_language wording_languages[]; /* English first */
extern const size_t wording_language_count;

/** What fits the causes that are claimed; where none is, the condition alone. */
enum wording_advice wording_advice_of(enum condition condition,
                                      const struct explanation *explained);
/** Is it a fault of the system by its name, and by all causes that are claimed one of a sensor? */
bool wording_only_sensor(enum condition condition, const struct explanation *explained);
/** The same when it is over. */
enum wording_advice wording_advice_over(enum condition condition);
/** Should people look for ice at the end of the pipe? */
bool wording_advice_ice(enum condition condition, const struct explanation *explained);
/** Can this fault go with flue gas in the house? */
bool wording_advice_flue(enum wording_advice advice);

#endif
