#include "tell/dispatch.h"

#include "alarm/retry_schedule.h"
#include "host/log.h"
#include "measure/array.h"
#include "measure/duration.h"
#include "store/outbox_bundle.h"
#include "tell/contact_secrets.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>

enum {
    DUE_AT_ONCE = 64,
    SIGNATURE_HEADERS = 3,
    UNSTORED_ROW = -1,
    FAILING_TRIES = 3,
    STATUS_GONE = 410
};
static const int64_t idle_ms = 60 * DURATION_SECOND_MS;

/* Where a contact is reached, and how it fares. */
struct endpoint {
    struct contact_secrets secrets;
    bool failing, works;
    bool gone;                     /* it answered 410 */
    int64_t not_before_ms;         /* it asked for a pause */
    int64_t posted_ms;             /* when the last POST began */
    struct outbox_message *chosen; /* goes as soon as the turn is on disk; owned */
};

struct answer {
    int64_t row;
    size_t contact;
    int status;
    int64_t retry_after_s;
    char text[200];
};

struct dispatch {
    const struct fleet *fleet;
    struct delivery *delivery;
    struct endpoint *endpoints; /* of the contacts, in their order */
    struct answer *answers;
    size_t answer_count;
    struct dispatch_counters counters;
    bool nobody_reached;
};

static size_t contact_index(const struct fleet *fleet, const char *id) {
    const struct settings_contact *contact = fleet_contact(fleet, id);
    return contact ? (size_t)(contact - fleet->settings->contacts) : FLEET_NONE;
}

/* ---- answers ---- */

static void on_done(void *context, const struct delivery_result *result) {
    struct dispatch *dispatch = context;
    size_t contact = contact_index(dispatch->fleet, result->contact);
    if (result->row == UNSTORED_ROW || contact == FLEET_NONE)
        return;
    struct answer *grown = array_room(dispatch->answers, dispatch->answer_count, sizeof *grown);
    if (!grown)
        return; /* the row keeps waiting and is sent again */
    dispatch->answers = grown;
    struct answer *answer = &dispatch->answers[dispatch->answer_count++];
    *answer = (struct answer){result->row, contact, result->status, result->retry_after_s, ""};
    snprintf(answer->text, sizeof answer->text, "%s", result->text ? result->text : "");
}

/* ---- opening ---- */

static void close_endpoints(struct endpoint *all, const struct settings *settings) {
    for (size_t i = 0; all && i < settings->contact_count; i++) {
        contact_secrets_close(&all[i].secrets);
        outbox_message_free(all[i].chosen);
    }
    free(all);
}

/* Of all contacts; NULL with a sentence in `why`. */
static struct endpoint *open_endpoints(const struct settings *settings, char *why,
                                       size_t why_size) {
    struct endpoint *all = calloc(settings->contact_count + 1, sizeof *all);
    bool good = all != NULL;
    snprintf(why, why_size, "out of memory");
    for (size_t i = 0; good && i < settings->contact_count; i++)
        good = contact_secrets_open(&all[i].secrets, &settings->contacts[i], why, why_size);
    if (good)
        return all;
    close_endpoints(all, settings);
    return NULL;
}

struct dispatch *dispatch_open(const struct fleet *fleet, char *why, size_t why_size) {
    struct dispatch *dispatch = calloc(1, sizeof *dispatch);
    snprintf(why, why_size, "out of memory");
    if (!dispatch)
        return NULL;
    const struct delivery_callbacks callbacks = {dispatch, on_done};
    dispatch->fleet = fleet;
    dispatch->delivery = delivery_create(&callbacks);
    if (dispatch->delivery)
        dispatch->endpoints = open_endpoints(fleet->settings, why, why_size);
    if (dispatch->endpoints)
        return dispatch;
    dispatch_close(dispatch);
    return NULL;
}

void dispatch_close(struct dispatch *dispatch) {
    if (!dispatch)
        return;
    delivery_destroy(dispatch->delivery);
    close_endpoints(dispatch->endpoints, dispatch->fleet->settings);
    free(dispatch->answers);
    free(dispatch);
}

/* ---- new settings ---- */

static void remember(struct endpoint *endpoint, const struct endpoint *before, bool same_address) {
    endpoint->posted_ms = before->posted_ms;
    if (!same_address)
        return;
    endpoint->failing = before->failing;
    endpoint->works = before->works;
    endpoint->not_before_ms = before->not_before_ms;
}

/* Answers that came in but are not noted yet; without its contact a row is looked at again. */
static void place_answers(struct dispatch *dispatch, const struct fleet *fleet) {
    size_t kept = 0;
    for (size_t i = 0; i < dispatch->answer_count; i++) {
        struct answer answer = dispatch->answers[i];
        answer.contact =
            contact_index(fleet, dispatch->fleet->settings->contacts[answer.contact].id);
        if (answer.contact != FLEET_NONE)
            dispatch->answers[kept++] = answer;
    }
    dispatch->answer_count = kept;
}

bool dispatch_take_settings(struct dispatch *dispatch, const struct fleet_change *change, char *why,
                            size_t why_size) {
    const struct settings *before = change->former->settings, *now = change->fleet->settings;
    struct endpoint *endpoints = open_endpoints(now, why, why_size);
    if (!endpoints)
        return false;
    for (size_t i = 0; i < now->contact_count; i++) {
        size_t was = change->contacts_were[i];
        if (was != FLEET_NONE)
            remember(&endpoints[i], &dispatch->endpoints[was],
                     strcmp(before->contacts[was].url, now->contacts[i].url) == 0);
    }
    place_answers(dispatch, change->fleet);
    close_endpoints(dispatch->endpoints, before);
    dispatch->endpoints = endpoints;
    dispatch->fleet = change->fleet;
    return true;
}

struct delivery *dispatch_delivery(struct dispatch *dispatch) {
    return dispatch->delivery;
}

struct dispatch_counters dispatch_count(const struct dispatch *dispatch) {
    return dispatch->counters;
}

size_t dispatch_under_way(const struct dispatch *dispatch) {
    return delivery_under_way(dispatch->delivery);
}

/* ---- posting ---- */

struct envelope {
    const char *id, *content_type, *body;
    int64_t row;
};

static size_t add_signature(const struct contact_secrets *secrets, const struct envelope *envelope,
                            int64_t now_ms, char timestamp[24], char signature[SIGNING_TEXT_SIZE],
                            struct delivery_header *headers) {
    int64_t now_s = now_ms / 1000;
    snprintf(timestamp, 24, "%lld", (long long)now_s);
    headers[0] = (struct delivery_header){"webhook-id", envelope->id};
    headers[1] = (struct delivery_header){"webhook-timestamp", timestamp};
    if (!secrets->signs || !signing_sign(&secrets->key, envelope->id, now_s, envelope->body,
                                         strlen(envelope->body), signature))
        return 2;
    headers[2] = (struct delivery_header){"webhook-signature", signature};
    return 3;
}

static bool post(struct dispatch *dispatch, const struct settings_contact *contact,
                 const struct envelope *envelope, int64_t now_ms) {
    const struct contact_secrets *secrets =
        &dispatch->endpoints[contact - dispatch->fleet->settings->contacts].secrets;
    char timestamp[24], signature[SIGNING_TEXT_SIZE];
    struct delivery_header *headers =
        calloc(contact->header_count + SIGNATURE_HEADERS, sizeof *headers);
    if (!headers)
        return false;
    size_t count = add_signature(secrets, envelope, now_ms, timestamp, signature, headers);
    for (size_t i = 0; i < contact->header_count; i++)
        headers[count++] =
            (struct delivery_header){contact->headers[i].name, secrets->header_values[i]};
    const struct delivery_request request = {
        .row = envelope->row,
        .contact = contact->id,
        .url = contact->url,
        .content_type = envelope->content_type,
        .body = envelope->body,
        .body_length = strlen(envelope->body),
        .headers = headers,
        .header_count = count,
        .ca_file = contact->tls_ca_file,
        .allow_private_address = contact->allow_private_address,
    };
    bool begun = delivery_post(dispatch->delivery, &request);
    free(headers);
    dispatch->counters.posts += begun;
    return begun;
}

void dispatch_unstored(struct dispatch *dispatch, const struct settings_contact *contact,
                       const char *id, const char *content_type, const char *body, int64_t now_ms) {
    const struct envelope envelope = {id, content_type, body, UNSTORED_ROW};
    post(dispatch, contact, &envelope, now_ms);
}

/* ---- what goes now ---- */

void dispatch_resume(struct dispatch *dispatch, const char *contact) {
    size_t index = contact_index(dispatch->fleet, contact);
    if (index != FLEET_NONE)
        dispatch->endpoints[index].gone = false;
}

enum dispatch_health dispatch_health(const struct dispatch *dispatch, size_t contact) {
    const struct endpoint *endpoint = &dispatch->endpoints[contact];
    if (endpoint->gone)
        return DISPATCH_GONE;
    if (endpoint->failing)
        return DISPATCH_FAILING;
    return endpoint->works ? DISPATCH_WORKS : DISPATCH_UNTRIED;
}

void dispatch_clock_moved(struct dispatch *dispatch, int64_t by_ms) {
    for (size_t i = 0; i < dispatch->fleet->settings->contact_count; i++)
        if (dispatch->endpoints[i].not_before_ms > 0)
            dispatch->endpoints[i].not_before_ms += by_ms;
}

/* When `at_most_every` lets the next message of a contact go. */
static int64_t rests_until(const struct dispatch *dispatch, size_t contact) {
    int64_t posted_ms = dispatch->endpoints[contact].posted_ms;
    return posted_ms ? posted_ms + dispatch->fleet->settings->contacts[contact].least_interval_ms
                     : INT64_MIN;
}

/* A clock that was set back must not make a rest of hours. */
static bool rests(const struct dispatch *dispatch, size_t contact, int64_t now_ms) {
    return now_ms >= dispatch->endpoints[contact].posted_ms &&
           now_ms < rests_until(dispatch, contact);
}

static void bring_forward(int64_t time_ms, int64_t now_ms, int64_t *next_ms) {
    if (time_ms > now_ms && time_ms < *next_ms)
        *next_ms = time_ms;
}

/* Contacts with a POST chosen or under way, gone, or that asked for a pause; `resting`: those too.
 */
static size_t list_busy(const struct dispatch *dispatch, int64_t now_ms, bool resting,
                        const char **busy, int64_t *next_ms) {
    const struct settings *settings = dispatch->fleet->settings;
    size_t count = 0;
    for (size_t i = 0; i < settings->contact_count; i++) {
        const struct endpoint *endpoint = &dispatch->endpoints[i];
        bool paused = endpoint->not_before_ms > now_ms;
        if (paused)
            bring_forward(endpoint->not_before_ms, now_ms, next_ms);
        if (paused || endpoint->gone || endpoint->chosen ||
            (resting && rests(dispatch, i, now_ms)) ||
            delivery_busy(dispatch->delivery, settings->contacts[i].id))
            busy[count++] = settings->contacts[i].id;
    }
    return count;
}

/* One row a contact: true when this is the one that goes, noted as begun. */
static bool choose(struct dispatch *dispatch, struct store_turn *turn,
                   struct outbox_message *message, int64_t now_ms, int64_t *next_ms, bool *rested) {
    size_t contact = contact_index(dispatch->fleet, message->contact);
    if (contact == FLEET_NONE) {
        if (store_turn_begin(turn))
            store_turn_note(turn, outbox_failed(turn->store, message->row, now_ms,
                                                "the contact is no longer in the settings"));
        return false;
    }
    if (dispatch->endpoints[contact].chosen)
        return false;
    if (message->priority < PRIORITY_HIGH && rests(dispatch, contact, now_ms)) {
        bring_forward(rests_until(dispatch, contact), now_ms, next_ms);
        *rested = true;
        return false;
    }
    bool is_begun = message->last_answer != NULL;
    if (!is_begun && store_turn_begin(turn))
        is_begun = store_turn_note(turn, outbox_begun(turn->store, message->row));
    if (is_begun)
        dispatch->endpoints[contact].chosen = message;
    return is_begun;
}

/* True when contacts that rest may have kept others from their turn. */
static bool choose_due(struct dispatch *dispatch, struct store_turn *turn, bool resting,
                       int64_t now_ms, int64_t *next_ms) {
    struct outbox_message *due[DUE_AT_ONCE];
    size_t count = 0;
    bool rested = false;
    const char **busy = calloc(dispatch->fleet->settings->contact_count + 1, sizeof(char *));
    if (!busy)
        return false;
    size_t busy_count = list_busy(dispatch, now_ms, resting, busy, next_ms);
    if (outbox_due(turn->store, now_ms, busy, busy_count, due, DUE_AT_ONCE, &count) != STORE_OK)
        count = 0;
    for (size_t i = 0; i < count; i++) {
        if (!choose(dispatch, turn, due[i], now_ms, next_ms, &rested))
            outbox_message_free(due[i]);
    }
    free(busy);
    return rested;
}

int64_t dispatch_choose(struct dispatch *dispatch, struct store_turn *turn, int64_t now_ms) {
    int64_t next_ms = now_ms + idle_ms, waiting_ms = INT64_MAX;
    if (turn->failed != STORE_OK)
        return now_ms;
    if (choose_due(dispatch, turn, false, now_ms, &next_ms))
        choose_due(dispatch, turn, true, now_ms, &next_ms);
    if (outbox_next(turn->store, &waiting_ms) == STORE_OK)
        bring_forward(waiting_ms, now_ms, &next_ms);
    return next_ms;
}

void dispatch_send(struct dispatch *dispatch, int64_t now_ms) {
    const struct settings *settings = dispatch->fleet->settings;
    for (size_t i = 0; i < settings->contact_count; i++) {
        const struct outbox_message *message = dispatch->endpoints[i].chosen;
        if (!message)
            continue;
        const struct envelope envelope = {message->id, message->content_type, message->body,
                                          message->row};
        dispatch->endpoints[i].posted_ms = now_ms;
        post(dispatch, &settings->contacts[i], &envelope, now_ms);
    }
    dispatch_drop(dispatch);
}

void dispatch_drop(struct dispatch *dispatch) {
    for (size_t i = 0; i < dispatch->fleet->settings->contact_count; i++) {
        outbox_message_free(dispatch->endpoints[i].chosen);
        dispatch->endpoints[i].chosen = NULL;
    }
}

/* ---- taking in answers ---- */

static double random_unit(void) {
    uint32_t bits = 0;
    if (getrandom(&bits, sizeof bits, 0) != (ssize_t)sizeof bits)
        return 0.5;
    return bits / 4294967296.0;
}

static enum store_status retry(struct dispatch *dispatch, struct store *store,
                               const struct answer *answer, int64_t next_ms) {
    struct endpoint *endpoint = &dispatch->endpoints[answer->contact];
    /* Retry-After speaks for the endpoint as a whole, not for one message. */
    if (answer->retry_after_s > 0)
        endpoint->not_before_ms = next_ms;
    dispatch->counters.retried++;
    return outbox_retry(store, answer->row, next_ms, answer->text);
}

static enum store_status give_up(struct dispatch *dispatch, struct announce *announce,
                                 const struct answer *answer, const struct outbox_message *message,
                                 int64_t now_ms) {
    struct endpoint *endpoint = &dispatch->endpoints[answer->contact];
    dispatch->counters.failed++;
    endpoint->failing = true;
    endpoint->gone |= answer->status == STATUS_GONE;
    enum store_status status =
        announce_undelivered(announce, &dispatch->fleet->settings->contacts[answer->contact],
                             message, answer->text, now_ms);
    return status == STORE_OK ? outbox_failed(announce->store, answer->row, now_ms, answer->text)
                              : status;
}

static enum store_status note_failure(struct dispatch *dispatch, struct announce *announce,
                                      const struct answer *answer, enum retry_verdict verdict,
                                      int64_t now_ms) {
    struct store *store = announce->store;
    struct outbox_message *message = NULL;
    enum store_status status = outbox_get(store, answer->row, &message);
    if (status != STORE_OK)
        return status;
    const struct retry_situation situation = {
        .tries = message->tries + 1,
        .created_ms = message->created_ms,
        .now_ms = now_ms,
        .retry_after_s = answer->retry_after_s,
        .random = random_unit(),
        .denied = verdict == RETRY_DENIED,
    };
    int64_t next_ms = 0;
    dispatch->endpoints[answer->contact].failing |= situation.tries >= FAILING_TRIES;
    if (verdict != RETRY_NEVER && retry_schedule_next(&situation, &next_ms))
        status = retry(dispatch, store, answer, next_ms);
    else
        status = give_up(dispatch, announce, answer, message, now_ms);
    outbox_message_free(message);
    return status;
}

static enum store_status note(struct dispatch *dispatch, struct announce *announce,
                              const struct answer *answer, int64_t now_ms) {
    struct endpoint *endpoint = &dispatch->endpoints[answer->contact];
    enum retry_verdict verdict = retry_verdict(answer->status);
    if (verdict != RETRY_DONE)
        return note_failure(dispatch, announce, answer, verdict, now_ms);
    dispatch->counters.sent++;
    endpoint->failing = false;
    endpoint->works = true;
    enum store_status status =
        announce_reached(announce, &dispatch->fleet->settings->contacts[answer->contact]);
    return status == STORE_OK ? outbox_sent(announce->store, answer->row, now_ms, answer->text)
                              : status;
}

/* Loud once when the last contact that could be reached cannot be any more. */
static void judge_all(struct dispatch *dispatch) {
    size_t count = dispatch->fleet->settings->contact_count, failing = 0;
    for (size_t i = 0; i < count; i++)
        failing += dispatch->endpoints[i].failing;
    bool nobody = count > 0 && failing == count;
    if (nobody && !dispatch->nobody_reached)
        log_line(LOG_LEVEL_ERROR, "contacts", "no message reaches anybody: every contact fails");
    if (!nobody && dispatch->nobody_reached)
        log_line(LOG_LEVEL_NOTICE, "contacts", "messages reach somebody again");
    dispatch->nobody_reached = nobody;
}

static void judge_contacts(struct dispatch *dispatch, struct monitor *monitor, int64_t now_ms) {
    const struct settings *settings = dispatch->fleet->settings;
    judge_all(dispatch);
    for (size_t i = 0; i < settings->contact_count; i++) {
        if (dispatch->endpoints[i].failing) {
            monitor_daemon(monitor, CONDITION_DELIVERY_FAILING, true, settings->contacts[i].id, NAN,
                           now_ms);
            return;
        }
    }
    monitor_daemon(monitor, CONDITION_DELIVERY_FAILING, false, NULL, NAN, now_ms);
}

void dispatch_finish(struct dispatch *dispatch, struct store_turn *turn, struct announce *announce,
                     struct monitor *monitor, int64_t now_ms) {
    delivery_turn(dispatch->delivery, now_ms);
    if (dispatch->answer_count == 0)
        return;
    bool good = store_turn_begin(turn);
    for (size_t i = 0; i < dispatch->answer_count && good; i++) {
        const struct answer *answer = &dispatch->answers[i];
        good = store_turn_note(turn, note(dispatch, announce, answer, now_ms));
        if (retry_verdict(answer->status) != RETRY_DONE)
            log_line(LOG_LEVEL_WARNING, "delivery", "%s: %s",
                     dispatch->fleet->settings->contacts[answer->contact].id, answer->text);
    }
    dispatch->answer_count = 0;
    judge_contacts(dispatch, monitor, now_ms);
}
