/*
 * wording: the text of a message to a person, by role, language and units. Pure.
 *
 * Every message says what, where, since when and what to do. Its first line stands alone as a
 * subject (at most 78 characters, RFC 5322 section 2.1.1), then an empty line, then the rest.
 *
 * contractor: short, numbers, which system, what to do. technician: the same with diagnosis,
 * evidence, what to check and to bring, and the cautions of the trade. homeowner: plain words (the
 * English ones at a Flesch-Kincaid grade of 6 or less, the Spanish ones as easy; test_reading has
 * the formulas), what it means, what to do, what to leave alone, whom to call, when we write again;
 * no unit but the radon level's.
 */
#ifndef WORDS_WORDING_H
#define WORDS_WORDING_H

#include "alarm/condition.h"
#include "measure/quantity.h"
#include "measure/time_zone.h"
#include "measure/timestamp.h"
#include "measure/unit.h"
#include "words/explanation.h"
#include "words/home_report.h"
#include "words/text_list.h"

#include <stdbool.h>
#include <stdint.h>

#define WORDING_SUBJECT_MAX 78 /* characters, not bytes */

/** In the order of the settings' roles. */
enum wording_role { WORDING_CONTRACTOR, WORDING_HOMEOWNER, WORDING_TECHNICIAN, WORDING_ROLE_COUNT };

/** The place of a language in `wording_languages`, one a file language_CODE.txt. */
enum { WORDING_ENGLISH = 0 };
/** "en" or "es", also with a region ("es-MX"); false (English) when there is no such language. */
bool wording_language_find(const char *code, size_t *language);
/** "en". */
const char *wording_language_code(size_t language);

/** For whom something is put into words. */
struct wording_reader {
    size_t language;
    enum unit_system units;
};

enum wording_kind {
    WORDING_RAISED,
    WORDING_RETURNED,
    WORDING_RAISED_AND_RETURNED, /* both waited: one text tells both */
    WORDING_ACKNOWLEDGED,
    WORDING_REMINDER,
    WORDING_ESCALATED,
    WORDING_TEST,
    WORDING_DIGEST,        /* `lines`: wording_status_line of what is not as it should be */
    WORDING_VISIT_DUE,     /* `lines`: the reasons */
    WORDING_BUNDLE,        /* many raises in one; `lines`: wording_line of each */
    WORDING_BUNDLE_OVER,   /* many returns in one */
    WORDING_CHATTERING,    /* `occurrences`: changes within the hour */
    WORDING_RECURRING,     /* raised again and again for weeks */
    WORDING_SHELVING_ENDS, /* `by`, `note`: who shelved it and why; `until_ms` */
    WORDING_SERVICE_ENDS,  /* a system's time out of service; the same fields */
    WORDING_UNDELIVERED,   /* `lines`: what a contact was not told; `subject`: whom, and why */
    WORDING_UNWATCHED,     /* new settings no longer watch for it: it ended, but not seen to end */
    WORDING_HOME_REPORT,   /* a household sent something: `home_report`, its value, `note` */
    WORDING_KIND_COUNT
};

/** What `value` and `setpoint` are. */
enum wording_value {
    WORDING_VALUE_MEASURED,    /* SI of `dimension` */
    WORDING_VALUE_RATIO,       /* to the time of commissioning: fan speed, ground resistance */
    WORDING_VALUE_PROBABILITY, /* 0 to 1 */
    WORDING_VALUE_SHARE,       /* of the hours of a week, 0 to 1 */
    WORDING_VALUE_DURATION     /* ms */
};

/** Where: all "" for the fleet and the daemon. */
struct wording_place {
    const char *system_id, *system_name, *system_address;
    const char *point_id, *point_name;
};

/** A mix-up of units. */
struct wording_mixup {
    const char *sent_unit, *declared_unit;
};

/** Whom people call. */
struct wording_contractor {
    const char *name, *telephone;
};

/** Strings are borrowed; NULL or "" where there is none. Numbers: NaN where there is none. */
struct wording_facts {
    enum wording_role role;
    size_t language;
    enum unit_system units;
    const struct time_zone *zone; /* of the system; never NULL */
    enum wording_kind kind;
    enum condition condition; /* only where kind is about an alarm */
    struct wording_place place;
    enum quantity quantity;   /* of the point; QUANTITY_COUNT: none */
    enum dimension dimension; /* of value, setpoint and baseline */
    enum wording_value value_kind;
    double value, setpoint, baseline;         /* value: the newest when the message is written */
    struct wording_mixup mixup;               /* setpoint is what it read before */
    int64_t since_ms, raised_ms, returned_ms; /* TIMESTAMP_NONE where not */
    const char *subject;   /* the daemon's own alarms: contact, file, span, why */
    const char *by, *note; /* who acknowledged */
    struct explanation explained;
    struct text_list lines; /* digest, reasons of a visit, members of fleet-silent */
    struct wording_contractor contractor;
    double action_level_bq_m3; /* or NaN */
    int64_t remind_every_ms;   /* how often this contact is reminded; 0: never */
    int occurrences;           /* how often it came in this message's time; 0 or 1: once */
    size_t more;               /* of a bundle: alarms that `lines` leaves out */
    int64_t until_ms;          /* end of a shelving or of a time out of service */
    enum home_report home_report;
};

/** The message; the caller frees. NULL when out of memory. */
char *wording_render(const struct wording_facts *facts);

/** One line of a bundle about an alarm: what, where, since when or when it ended. The same. */
char *wording_line(const struct wording_facts *facts);

/** What the trade does, in a sentence: by the causes that are claimed, or of what is over. */
const char *wording_do(size_t language, enum condition condition,
                       const struct explanation *explained, bool over);

/** What a condition is called to a homeowner: "the radon system pulls too little". */
const char *wording_plain_subject(size_t language, enum condition condition);

/** One line of a digest. */
enum wording_status_kind {
    WORDING_OUT_OF_SPEC,
    WORDING_DRIFTING,
    WORDING_SILENT,
    WORDING_OUT_OF_SERVICE,
    WORDING_SHELVED, /* with its condition */
    WORDING_DUE,     /* a visit, a test, a calibration: its condition */
    WORDING_STATUS_COUNT
};
struct wording_status {
    enum wording_status_kind kind;
    enum condition condition;
    const char *name; /* of the system */
    int64_t age_ms;   /* how long it has been so; below 0: not known */
};
/** "Out of spec for 3 d: 12 Birch Lane". The caller frees; NULL when out of memory. */
char *wording_status_line(size_t language, enum wording_role role,
                          const struct wording_status *status);

#endif
