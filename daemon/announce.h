/*
 * announce: an alarm's news to the rows of the outbox: who hears of it, in whose words, when.
 *
 * Rows are written in the caller's transaction, so a message exists exactly when the change that
 * caused it does.
 */
#ifndef DAEMON_ANNOUNCE_H
#define DAEMON_ANNOUNCE_H

#include "alarm/alarm.h"
#include "alarm/wording.h"
#include "monitor/alarm_book.h"
#include "monitor/fleet.h"
#include "store/outbox.h"

struct announce {
    const struct fleet *fleet; /* borrowed */
    struct store *store;       /* borrowed */
    char *source;              /* CloudEvents source; owned */
    enum store_status failed;  /* of the last row */
};

bool announce_open(struct announce *announce, const struct fleet *fleet, struct store *store);
void announce_close(struct announce *announce);

/** Writes a row for every contact that hears of this. The failure is also kept in `failed`. */
enum store_status announce_alarm(struct announce *announce, const struct alarm *alarm,
                                 enum wording_kind kind, int64_t now_ms);

/** The same to one contact only (reminders, escalation). */
enum store_status announce_to(struct announce *announce, const struct settings_contact *contact,
                              const struct alarm *alarm, enum wording_kind kind, int64_t now_ms);

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

/** A message about no single alarm: a digest, a visit. `lines` as in wording.h; data: a JSON
 * object. */
enum store_status announce_lines(struct announce *announce, const struct settings_contact *contact,
                                 size_t system, enum wording_kind kind, struct text_list lines,
                                 const char *data, int64_t now_ms);

/** The alarm object of `alarms --json` as JSON text, with `text` in a contractor's words; the
    caller frees. NULL when out of memory. */
char *announce_alarm_json(const struct fleet *fleet, const struct alarm *alarm);

/** The message in a contact's words; the caller frees. NULL when out of memory. */
char *announce_text(const struct fleet *fleet, const struct settings_contact *contact,
                    const struct alarm *alarm, enum wording_kind kind);

/** Does a contact hear of a raise or return of this alarm? */
bool announce_hears(const struct fleet *fleet, const struct settings_contact *contact,
                    const struct alarm *alarm);

/** First instant at or after `now_ms` outside the contact's quiet hours. */
int64_t announce_after_quiet_hours(const struct fleet *fleet,
                                   const struct settings_contact *contact, size_t system,
                                   int64_t now_ms);

#endif
