/*
 * wording: the text of a message to a person, by role, language and units. Pure.
 *
 * Every message says what, where, since when and what to do. Its first line stands alone as a
 * subject (at most 78 characters, RFC 5322 section 2.1.1), then an empty line, then the rest.
 *
 * contractor: short, numbers, which system, what to do. technician: the same with diagnosis,
 * evidence, what to check and to bring, and the cautions of the trade. homeowner: plain words (the
 * English ones at a Flesch-Kincaid grade of 7 or less; Kincaid et al. 1975, Navy Research Branch
 * Report 8-75), what it means, what to do, what to leave alone; no unit but the radon level's.
 */
#ifndef WORDS_WORDING_H
#define WORDS_WORDING_H

#include "alarm/condition.h"
#include "measure/quantity.h"
#include "measure/time_zone.h"
#include "measure/timestamp.h"
#include "measure/unit.h"
#include "words/text_list.h"

#include <stdbool.h>
#include <stdint.h>

#define WORDING_SUBJECT_MAX 78 /* characters, not bytes */

/** In the order of the settings' roles. */
enum wording_role { WORDING_CONTRACTOR, WORDING_HOMEOWNER, WORDING_TECHNICIAN, WORDING_ROLE_COUNT };

enum wording_language { WORDING_ENGLISH, WORDING_SPANISH, WORDING_LANGUAGE_COUNT };
/** "en" or "es", also with a region ("es-MX"); false (English) when there is no such language. */
bool wording_language_find(const char *code, enum wording_language *language);

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
    WORDING_KIND_COUNT
};

/** What `value` and `setpoint` are. */
enum wording_value {
    WORDING_VALUE_MEASURED,    /* SI of `dimension` */
    WORDING_VALUE_RATIO,       /* to the time of commissioning: fan speed, ground resistance */
    WORDING_VALUE_PROBABILITY, /* 0 to 1 */
    WORDING_VALUE_DURATION     /* ms */
};

/** Strings are borrowed; NULL or "" where there is none. Numbers: NaN where there is none. */
struct wording_facts {
    enum wording_role role;
    enum wording_language language;
    enum unit_system units;
    const struct time_zone *zone; /* of the system; never NULL */
    enum wording_kind kind;
    enum condition condition;                             /* only where kind is about an alarm */
    const char *system_id, *system_name, *system_address; /* "" for the fleet and the daemon */
    const char *point_id, *point_name;
    enum quantity quantity;   /* of the point; QUANTITY_COUNT: none */
    enum dimension dimension; /* of value, setpoint and baseline */
    enum wording_value value_kind;
    double value, setpoint, baseline;      /* value: the newest when the message is written */
    const char *sent_unit, *declared_unit; /* a mix-up of units: setpoint is what it read before */
    int64_t since_ms, raised_ms, returned_ms; /* TIMESTAMP_NONE where not */
    const char *subject;   /* the daemon's own alarms: contact, file, span, why */
    const char *by, *note; /* who acknowledged */
    const char *cause;     /* diagnosis_cause_word, or any words; "none": nothing to tell */
    double confidence;     /* 0 to 1 */
    struct text_list evidence, check, bring;
    struct text_list lines; /* digest, reasons of a visit, members of fleet-silent */
    const char *contractor; /* whom the homeowner calls: a name, perhaps with a number */
    int occurrences;        /* how often it came in this message's time; 0 or 1: once */
    size_t more;            /* of a bundle: alarms that `lines` leaves out */
    int64_t until_ms;       /* end of a shelving or of a time out of service */
};

/** The message; the caller frees. NULL when out of memory. */
char *wording_render(const struct wording_facts *facts);

/** One line of a bundle about an alarm: what, where, since when or when it ended. The same. */
char *wording_line(const struct wording_facts *facts);

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
char *wording_status_line(enum wording_language language, enum wording_role role,
                          const struct wording_status *status);

#endif
