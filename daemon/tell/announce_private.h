/*
 * announce_private: shared by the files of announce: announce.c (who hears, what callers ask for),
 * announce_text.c (words and JSON of an alarm), announce_letter.c (bodies and rows),
 * announce_bundle.c and
 * announce_members.c (many into one), announce_chatter.c (what comes and goes),
 * announce_undelivered.c (what did not reach somebody), announce_home.c (what a household sent).
 */
#ifndef DAEMON_TELL_ANNOUNCE_PRIVATE_H
#define DAEMON_TELL_ANNOUNCE_PRIVATE_H

#include "tell/announce.h"

#include "alarm/chatter.h"
#include "store/outbox_bundle.h"
#include "words/template.h"

#include <jansson.h>

const struct time_zone *announce_zone(const struct fleet *fleet,
                                      const struct settings_contact *contact, size_t system);
/** The one system that a homeowner hears of; FLEET_NONE for others. */
size_t announce_only_system(const struct fleet *fleet, const struct settings_contact *contact);
/** In which words a contact reads; for NULL English and the fleet's units. */
struct wording_reader announce_reader(const struct fleet *fleet,
                                      const struct settings_contact *contact);
/** What is known without an alarm. */
struct wording_facts announce_facts(const struct fleet *fleet,
                                    const struct settings_contact *contact, size_t system,
                                    enum wording_kind kind);
/** The message, or with `line` its one line in a bundle; the caller frees. */
char *announce_words(const struct fleet *fleet, const struct settings_contact *contact,
                     const struct alarm *alarm, enum wording_kind kind, int occurrences, bool line);
/** The alarm object as JSON; the caller frees. */
char *announce_json(const struct fleet *fleet, const struct settings_contact *contact,
                    const struct alarm *alarm, const char *text);

/** A message on its way to a row. */
struct announce_draft {
    const struct settings_contact *contact;
    const struct alarm *alarm; /* NULL: about none */
    size_t system;
    enum wording_kind kind;
    char *text, *data, *line; /* owned; line: of a bundle, with an alarm only */
    int priority;
    int64_t now_ms;
    int64_t hold_until_ms; /* not before, whatever else */
    bool shared;           /* its row belongs to no system, though its text may */
};
const char *announce_event_type(const struct announce_draft *draft);
bool announce_make_id(char id[40]);
char *announce_body(const struct announce *announce, const struct announce_draft *draft,
                    const char *id, const char **content_type);
enum store_status announce_row(struct announce *announce, const struct announce_draft *draft,
                               char id_out[40]);
/** The row of a message that is about no alarm; of `draft`, whose data is taken over, all but kind
    and text. */
enum store_status announce_facts_row(struct announce *announce, const struct wording_facts *facts,
                                     struct announce_draft draft, char id_out[40]);
bool announce_draft_alarm(const struct announce *announce, const struct settings_contact *contact,
                          const struct alarm *alarm, enum wording_kind kind, int occurrences,
                          int64_t now_ms, struct announce_draft *draft);
void announce_draft_clear(struct announce_draft *draft);

/** Writes the row of a raise or a return so that many become one. */
enum store_status announce_raise(struct announce *announce, struct announce_draft *draft);
enum store_status announce_return(struct announce *announce, struct announce_draft *draft);

/** The alarms of a message about many (announce_members.c). Close it also when opening fails. */
struct announce_members {
    char **lines;
    size_t lines_count, count; /* of so many alarms the first lines are kept */
    json_t *alarms;
    bool failed;
};
bool announce_members_open(struct announce_members *members);
/** A callback of outbox_members and outbox_unreached. */
bool announce_members_add(void *context, const struct outbox_member *member);
/** Puts the lines, borrowed, into the facts of a text. */
void announce_members_tell(const struct announce_members *members, struct wording_facts *facts);
/** `data` (taken over) with count and alarms, as text; the caller frees. NULL: out of memory. */
char *announce_members_json(const struct announce_members *members, json_t *data);
void announce_members_close(struct announce_members *members);

/** Contacts that hear of a raise or return of an alarm, into `who` with room for all. */
size_t announce_hearers(const struct fleet *fleet, const struct alarm *alarm,
                        enum wording_kind kind, const struct settings_contact **who);

/** How often the alarm's place has changed up to its last change. */
enum store_status announce_changes(const struct announce *announce, const struct alarm *alarm,
                                   struct chatter *chatter);
enum announce_chatter { CHATTER_NONE, CHATTER_BEGINS, CHATTER_BEGINS_SLOWLY, CHATTER_GOES_ON };
enum announce_chatter announce_chatter_note(struct announce *announce, const struct alarm *alarm,
                                            const struct chatter *chatter, int64_t now_ms);
/** At the end of a turn: writes what was noted in it. */
enum store_status announce_chatter_save(struct announce *announce);
bool announce_chatter_load(struct announce *announce);

#endif
