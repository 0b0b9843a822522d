/*
 * Many messages into one. Rows are written singly, held back a little where more of their kind are
 * likely, and made into one at the end of a turn when too many wait. All that is known of a storm
 * is what the outbox says, so a restart changes nothing.
 */
#include "tell/announce_private.h"

#include "measure/array.h"
#include "measure/duration.h"

#include <stdlib.h>
#include <string.h>

enum { ROWS_AT_ONCE = 4096 };
static const int64_t gather_ms = DURATION_MINUTE_MS;
static const int64_t storm_ms = 15 * DURATION_MINUTE_MS;
static const int64_t storm_goes_on_ms = 75 * DURATION_MINUTE_MS;
static const int64_t storm_memory_ms = 2 * DURATION_HOUR_MS;

static struct announce_contact *memory_of(const struct announce *announce,
                                          const struct settings_contact *contact) {
    return &announce->contacts[contact - announce->fleet->settings->contacts];
}

/* ---- holding back ---- */

static bool many_lately(const struct announce_contact *contact, bool high, int64_t now_ms) {
    for (size_t i = 0; i < ANNOUNCE_SINGLES; i++)
        if (contact->recent_ms[high][i] <= now_ms - gather_ms)
            return false;
    return true;
}

static int64_t hold_silence(const struct outbox_bundles *lists, int64_t now_ms) {
    int64_t pause_ms = lists->count > 1 ? storm_goes_on_ms : storm_ms;
    if (lists->count && lists->newest_untried && lists->newest_not_before_ms > now_ms)
        return lists->newest_not_before_ms;
    if (lists->count && lists->newest_ms + pause_ms > now_ms)
        return lists->newest_ms + pause_ms;
    return now_ms + gather_ms;
}

static enum store_status hold_raise(const struct announce *announce,
                                    const struct announce_draft *draft, int64_t *until_ms) {
    bool high = draft->priority >= PRIORITY_HIGH;
    enum condition condition = draft->alarm->condition;
    bool silence = condition == CONDITION_SYSTEM_SILENT || condition == CONDITION_SENSOR_SILENT;
    struct outbox_bundles lists;
    enum store_status status = outbox_bundles(announce->store, draft->contact->id, OUTBOX_RAISES,
                                              high, draft->now_ms - storm_memory_ms, &lists);
    *until_ms = draft->now_ms;
    if (status != STORE_OK)
        return status;
    if (silence && !high && (announce->many_quiet || lists.count))
        *until_ms = hold_silence(&lists, draft->now_ms);
    else if ((lists.count && draft->now_ms - lists.newest_ms < storm_ms) ||
             many_lately(memory_of(announce, draft->contact), high, draft->now_ms))
        *until_ms = draft->now_ms + gather_ms;
    return STORE_OK;
}

enum store_status announce_raise(struct announce *announce, struct announce_draft *draft) {
    struct announce_contact *memory = memory_of(announce, draft->contact);
    bool high = draft->priority >= PRIORITY_HIGH;
    enum store_status status = hold_raise(announce, draft, &draft->hold_until_ms);
    /* What quiet hours hold back may leave before a message that must not wait. */
    if (status == STORE_OK && !high)
        status = outbox_shared(announce->store, draft->contact->id,
                               fleet_system_id(announce->fleet, draft->system), &draft->shared);
    THEN(status, announce_row(announce, draft, NULL));
    memory->touched = true;
    memory->raises[high]++;
    return status;
}

/* ---- a raise and its return in one ---- */

/* Of thousands of returns most are of the same few lists. */
static enum store_status note_list(struct announce *announce,
                                   const struct settings_contact *contact, int64_t row,
                                   bool waits) {
    memory_of(announce, contact)->touched = true;
    for (size_t i = 0; i < announce->list_count; i++)
        if (announce->lists[i].row == row)
            return STORE_OK;
    struct announce_list *grown = array_room(announce->lists, announce->list_count, sizeof *grown);
    if (!grown)
        return STORE_OUT_OF_MEMORY;
    announce->lists = grown;
    announce->lists[announce->list_count++] = (struct announce_list){contact, row, waits};
    return STORE_OK;
}

static enum store_status tell_both(struct announce *announce, struct announce_draft *draft,
                                   const struct outbox_told *told) {
    struct announce_draft both;
    struct outbox_message *message = NULL;
    if (!announce_draft_alarm(announce, draft->contact, draft->alarm, WORDING_RAISED_AND_RETURNED,
                              0, draft->now_ms, &both))
        return STORE_OUT_OF_MEMORY;
    const struct outbox_member member = {draft->alarm->id, both.line, both.data};
    enum store_status status = outbox_member_put(announce->store, told->raise, &member);
    if (status == STORE_OK && told->raise_bundled) {
        status = note_list(announce, draft->contact, told->raise, true);
    } else if (status == STORE_OK) {
        status = outbox_get(announce->store, told->raise, &message);
        const char *content_type = NULL;
        char *body =
            status == STORE_OK ? announce_body(announce, &both, message->id, &content_type) : NULL;
        THEN(status, body ? outbox_replace(announce->store, told->raise, announce_event_type(&both),
                                           content_type, body)
                          : STORE_OUT_OF_MEMORY);
        free(body);
    }
    outbox_message_free(message);
    announce_draft_clear(&both);
    return status;
}

/* Returns of what was told in a list wait for each other. */
static enum store_status hold_return(struct announce *announce, struct announce_draft *draft,
                                     const struct outbox_told *told) {
    struct outbox_untried rows[1];
    size_t count = 0;
    bool high = draft->priority >= PRIORITY_HIGH;
    draft->hold_until_ms = draft->now_ms + storm_ms;
    enum store_status status =
        outbox_untried(announce->store, draft->contact->id, OUTBOX_RETURNS, high, rows, 1, &count);
    if (status == STORE_OK && count && rows[0].not_before_ms > draft->now_ms)
        draft->hold_until_ms = rows[0].not_before_ms;
    return status == STORE_OK ? note_list(announce, draft->contact, told->raise, false) : status;
}

enum store_status announce_return(struct announce *announce, struct announce_draft *draft) {
    struct outbox_told told;
    enum store_status status =
        outbox_told(announce->store, draft->contact->id, draft->alarm->id, &told);
    if (status != STORE_OK)
        return status;
    if (told.raise_waits && told.raise_untried)
        return tell_both(announce, draft, &told);
    draft->shared = told.shared;
    if (told.raise_bundled && !told.raise_waits)
        status = hold_return(announce, draft, &told);
    memory_of(announce, draft->contact)->touched = true;
    return status == STORE_OK ? announce_row(announce, draft, NULL) : status;
}

/* ---- lists ---- */

/* Writes text and body of a list anew from its members. */
static enum store_status write_list(struct announce *announce,
                                    const struct settings_contact *contact, int64_t row) {
    struct announce_members list;
    struct outbox_message *message = NULL;
    struct announce_draft draft = {.contact = contact,
                                   .system = announce_only_system(announce->fleet, contact)};
    char *body = NULL;
    enum store_status status = announce_members_open(&list)
                                   ? outbox_get(announce->store, row, &message)
                                   : STORE_OUT_OF_MEMORY;
    THEN(status, outbox_members(announce->store, row, announce_members_add, &list));
    if (status == STORE_OK) {
        draft.kind = message->alarm == OUTBOX_RETURNS ? WORDING_BUNDLE_OVER : WORDING_BUNDLE;
        draft.now_ms = message->created_ms;
        struct wording_facts facts =
            announce_facts(announce->fleet, contact, draft.system, draft.kind);
        announce_members_tell(&list, &facts);
        draft.text = wording_render(&facts);
        draft.data = announce_members_json(&list, json_object());
        const char *content_type = NULL;
        if (draft.text && draft.data && !list.failed)
            body = announce_body(announce, &draft, message->id, &content_type);
        status = body ? outbox_replace(announce->store, row, announce_event_type(&draft),
                                       content_type, body)
                      : STORE_OUT_OF_MEMORY;
    }
    free(body);
    announce_draft_clear(&draft);
    outbox_message_free(message);
    announce_members_close(&list);
    return status;
}

static int64_t earliest(const struct outbox_untried *rows, size_t count, bool created) {
    int64_t result = INT64_MAX;
    for (size_t i = 0; i < count; i++) {
        int64_t time_ms = created ? rows[i].created_ms : rows[i].not_before_ms;
        result = time_ms < result ? time_ms : result;
    }
    return result;
}

static enum store_status merge(struct announce *announce, const struct settings_contact *contact,
                               int kind, bool high, const struct outbox_untried *rows,
                               size_t count) {
    int64_t row = 0;
    struct outbox_message message = {
        .contact = contact->id,
        .system = "",
        .type = "subslab.digest",
        .content_type = "text/plain",
        .body = "",
        .alarm = kind,
        .priority = high ? PRIORITY_HIGH : PRIORITY_MEDIUM,
        .created_ms = earliest(rows, count, true),
        .not_before_ms = earliest(rows, count, false),
        .state = OUTBOX_WAITING,
    };
    if (!announce_make_id(message.id))
        return STORE_OUT_OF_MEMORY;
    enum store_status status = outbox_merge(announce->store, &message, rows, count, &row);
    if (status == STORE_OK && high)
        status = outbox_hasten(announce->store, contact->id, "", message.not_before_ms);
    return status == STORE_OK ? write_list(announce, contact, row) : status;
}

/* Too many, or a list that more can be added to? */
static bool wants_merge(const struct outbox_untried *rows, size_t count) {
    bool list = false;
    for (size_t i = 0; i < count; i++)
        list |= rows[i].bundle;
    return count > ANNOUNCE_SINGLES || (list && count > 1);
}

/* Rows that are due and rows that are held become one each. */
static enum store_status merge_kind(struct announce *announce,
                                    const struct settings_contact *contact, int kind, bool high,
                                    int64_t now_ms, bool *merged) {
    struct outbox_untried *rows = calloc(ROWS_AT_ONCE, sizeof *rows);
    struct outbox_untried *part = calloc(ROWS_AT_ONCE, sizeof *part);
    size_t count = 0;
    enum store_status status = rows && part ? outbox_untried(announce->store, contact->id, kind,
                                                             high, rows, ROWS_AT_ONCE, &count)
                                            : STORE_OUT_OF_MEMORY;
    for (int held = 0; held < 2 && status == STORE_OK; held++) {
        size_t parts = 0;
        for (size_t i = 0; i < count; i++)
            if ((rows[i].not_before_ms > now_ms) == held)
                part[parts++] = rows[i];
        if (!wants_merge(part, parts))
            continue;
        *merged = true;
        status = merge(announce, contact, kind, high, part, parts);
    }
    free(rows);
    free(part);
    return status;
}

/* ---- the end of a turn ---- */

/* When all of a list have returned there is nothing more to wait for. */
static enum store_status release_returns(struct announce *announce,
                                         const struct settings_contact *contact, int64_t list,
                                         int64_t now_ms) {
    int64_t open = 1, not_before_ms =
                          announce_after_quiet_hours(announce->fleet, contact, FLEET_NONE, now_ms);
    enum store_status status = outbox_unreturned(announce->store, list, storm_memory_ms, &open);
    for (int high = 0; high < 2 && status == STORE_OK && open == 0; high++) {
        struct outbox_untried rows[ANNOUNCE_SINGLES + 1];
        size_t count = 0;
        status = outbox_untried(announce->store, contact->id, OUTBOX_RETURNS, high, rows,
                                ANNOUNCE_SINGLES + 1, &count);
        for (size_t i = 0; i < count && status == STORE_OK; i++)
            status = outbox_release(announce->store, rows[i].row, high ? now_ms : not_before_ms);
    }
    return status;
}

static void remember_raises(struct announce_contact *memory, bool high, bool merged,
                            int64_t now_ms) {
    size_t messages = merged && memory->raises[high] ? 1 : memory->raises[high];
    for (size_t i = 0; i < messages && i < ANNOUNCE_SINGLES; i++) {
        memmove(&memory->recent_ms[high][1], &memory->recent_ms[high][0],
                sizeof(int64_t) * (ANNOUNCE_SINGLES - 1));
        memory->recent_ms[high][0] = now_ms;
    }
}

static enum store_status rewrite_lists(struct announce *announce,
                                       const struct settings_contact *contact) {
    enum store_status status = STORE_OK;
    for (size_t i = 0; i < announce->list_count && status == STORE_OK; i++)
        if (announce->lists[i].contact == contact && announce->lists[i].waits)
            status = write_list(announce, contact, announce->lists[i].row);
    return status;
}

static enum store_status release_lists(struct announce *announce,
                                       const struct settings_contact *contact, int64_t now_ms) {
    enum store_status status = STORE_OK;
    for (size_t i = 0; i < announce->list_count && status == STORE_OK; i++)
        if (announce->lists[i].contact == contact && !announce->lists[i].waits)
            status = release_returns(announce, contact, announce->lists[i].row, now_ms);
    return status;
}

static enum store_status settle_contact(struct announce *announce,
                                        const struct settings_contact *contact,
                                        struct announce_contact *memory, int64_t now_ms) {
    enum store_status status = rewrite_lists(announce, contact);
    /* High priority first: among the rows without a system the earlier one goes first. */
    for (int high = 1; high >= 0 && status == STORE_OK; high--) {
        bool merged = false, ignored = false;
        status = merge_kind(announce, contact, OUTBOX_RAISES, high, now_ms, &merged);
        THEN(status, merge_kind(announce, contact, OUTBOX_RETURNS, high, now_ms, &ignored));
        remember_raises(memory, high, merged, now_ms);
    }
    THEN(status, release_lists(announce, contact, now_ms));
    memory->touched = false;
    memory->raises[0] = memory->raises[1] = 0;
    return status;
}

enum store_status announce_settle(struct announce *announce, int64_t now_ms) {
    const struct settings *settings = announce->fleet->settings;
    enum store_status status = STORE_OK;
    for (size_t i = 0; i < settings->contact_count && status == STORE_OK; i++)
        if (announce->contacts[i].touched)
            status =
                settle_contact(announce, &settings->contacts[i], &announce->contacts[i], now_ms);
    announce->list_count = 0;
    return status == STORE_OK ? announce_chatter_save(announce) : status;
}
