/*
 * announce: an alarm's news to the rows of the outbox: who hears of it, in whose words, when.
 *
 * Rows are written in the caller's transaction, so a message exists exactly when the change that
 * caused it does.
 *
 * One message a cause: a lone alarm is told at once; more than ten raises that wait for one contact
 * become one message with a list, and their returns another. While that goes on, raises wait up to
 * a minute for their like; silence waits a minute when many systems have just fallen quiet, and
 * 15 min after a list, so that a power cut in a whole region makes two messages and its end one. A
 * raise and its return that both still wait become one message. What changes five times in an hour
 * is told once as coming and going, and again when it has been calm for an hour; what is raised
 * three times in three months (below high priority), when it has been calm for a week
 * (alarm/chatter.h).
 */
#ifndef DAEMON_TELL_ANNOUNCE_H
#define DAEMON_TELL_ANNOUNCE_H

#include "alarm/alarm.h"
#include "monitor/alarm_book.h"
#include "monitor/fleet.h"
#include "store/outbox.h"
#include "words/wording.h"

#include <stdbool.h>

/** So many messages of one kind may wait for a contact; more become one. */
#define ANNOUNCE_SINGLES 10

/** What is remembered of a contact's messages from turn to turn. */
struct announce_contact {
    bool touched;                           /* raises or returns were written in this turn */
    size_t raises[2];                       /* in this turn; [1]: high priority */
    int64_t recent_ms[2][ANNOUNCE_SINGLES]; /* the newest messages about raises */
};

/** A list of raises of which alarms returned in this turn. */
struct announce_list {
    const struct settings_contact *contact; /* whose it is */
    int64_t row;
    bool waits; /* it is written anew; else it was sent, and its returns may go when all are over */
};

/** A condition of a place that comes and goes ("SYSTEM/POINT/CONDITION"). */
struct announce_place {
    char *name;
    int64_t last_ms; /* when it last changed, our clock */
    int64_t calm_ms; /* so long without a change is calm */
};

struct announce {
    const struct fleet *fleet;         /* borrowed */
    struct store *store;               /* borrowed */
    char *source;                      /* CloudEvents source; owned */
    struct announce_contact *contacts; /* in the order of the settings; owned */
    struct announce_list *lists;       /* of this turn; owned */
    size_t list_count;
    struct announce_place *places; /* chattering; owned */
    size_t place_count;
    bool places_changed; /* in this turn */
    bool many_quiet;     /* systems fell quiet lately: more silence is likely to come */
};

bool announce_open(struct announce *announce, const struct fleet *fleet, struct store *store);
void announce_close(struct announce *announce);
/** Takes over, for new settings, what is remembered of each contact and place. Cannot fail. */
void announce_take_over(struct announce *announce, struct announce *former,
                        const struct fleet_change *change);

/** The clock on the wall was set back by `by_ms`: what was said by it lies no longer ahead. */
void announce_clock_back(struct announce *announce, int64_t by_ms, int64_t now_ms);

/** Writes a row for every contact that hears of this. */
enum store_status announce_alarm(struct announce *announce, const struct alarm *alarm,
                                 enum wording_kind kind, int64_t now_ms);

/**
 * At the end of a turn, within its transaction: makes one message of many that wait for one contact
 * (more than ANNOUNCE_SINGLES).
 */
enum store_status announce_settle(struct announce *announce, int64_t now_ms);

/**
 * Alarms that chattered and have been calm since: `calm` gets each place's name once, and
 * tells how things stand now (announce_again).
 */
enum store_status announce_calm(struct announce *announce, int64_t now_ms,
                                enum store_status (*calm)(void *context, const char *name),
                                void *context);
/** Tells everybody who hears of an alarm how it stands, whatever was told before. */
enum store_status announce_again(struct announce *announce, const struct alarm *alarm,
                                 int64_t now_ms);
/** Nothing more is told of what comes and goes in a system that is forgotten; saved, within the
    turn's transaction. */
enum store_status announce_forget(struct announce *announce, const char *system);
/** Name of the place of an alarm, as announce_calm gives it. The caller frees. */
char *announce_place_name(const struct fleet *fleet, const struct alarm *alarm);

/** The same to one contact only (reminders, escalation). */
enum store_status announce_to(struct announce *announce, const struct settings_contact *contact,
                              const struct alarm *alarm, enum wording_kind kind, int64_t now_ms);

/**
 * A message to a contact is about to be given up: `message`, which still waits, after `answer`. If
 * it tells of a raise of medium or high priority, those who hear of delivery-failing are told which
 * alarms do not reach whom; once for each contact until a message reaches it (announce_reached).
 */
enum store_status announce_undelivered(struct announce *announce,
                                       const struct settings_contact *contact,
                                       const struct outbox_message *message, const char *answer,
                                       int64_t now_ms);
/** A message has reached a contact. */
enum store_status announce_reached(struct announce *announce,
                                   const struct settings_contact *contact);

/** A message ready to be sent. */
struct announce_letter {
    char id[40];
    const char *content_type; /* a literal */
    char *body;               /* owned by the caller */
};
/** Writes a letter without a row, for when the store is what fails. False: out of memory. */
bool announce_write(const struct announce *announce, const struct settings_contact *contact,
                    const struct alarm *alarm, enum wording_kind kind, int64_t now_ms,
                    struct announce_letter *letter);

/** A marked test message. Writes its event id (40 bytes). */
enum store_status announce_test(struct announce *announce, const struct settings_contact *contact,
                                int64_t now_ms, char id[40]);

/** A digest of what is not as it should be; `more`: systems that `lines` leaves out. */
enum store_status announce_digest(struct announce *announce, const struct settings_contact *contact,
                                  struct text_list lines, size_t more, const char *data,
                                  int64_t now_ms);
/** The zone of a contact's day: its own, else that of the first system it hears of. */
const struct time_zone *announce_contact_zone(const struct fleet *fleet,
                                              const struct settings_contact *contact);

/** Reminds that a system's time out of service ends. */
enum store_status announce_service_ends(struct announce *announce,
                                        const struct settings_contact *contact, size_t system,
                                        const char *by, const char *why, int64_t until_ms,
                                        int64_t now_ms);

/** What a household sent, to each contractor of its system; the household's own words in `note`. */
struct announce_home_report {
    size_t system;
    enum home_report kind;
    int64_t time_ms;          /* when what it tells of was */
    enum dimension dimension; /* of the value */
    double value, baseline;   /* SI; NaN: none */
    const char *note;         /* or NULL */
};
enum store_status announce_home_report(struct announce *announce,
                                       const struct announce_home_report *report, int64_t now_ms);

/** The alarm object of `alarms --json` (jansson's json_t), with `text` in a contractor's words; the
    caller's. NULL when out of memory. */
struct json_t *announce_alarm_object(const struct fleet *fleet, const struct alarm *alarm,
                                     size_t language);

/** How an alarm stands, in the words for a role in a language: for a homeowner nothing that
   somebody of the trade wrote. The caller frees; NULL when out of memory. */
char *announce_alarm_text(const struct fleet *fleet, const struct alarm *alarm,
                          enum wording_role role, size_t language);
/** SI word of its value: "ms" of a duration, "" where it has no unit. */
const char *announce_unit(const struct fleet *fleet, const struct alarm *alarm);

/** Does a contact hear of a raise or return of this alarm? */
bool announce_hears(const struct fleet *fleet, const struct settings_contact *contact,
                    const struct alarm *alarm);

/** First instant at or after `now_ms` outside the contact's quiet hours. */
int64_t announce_after_quiet_hours(const struct fleet *fleet,
                                   const struct settings_contact *contact, size_t system,
                                   int64_t now_ms);

#endif
