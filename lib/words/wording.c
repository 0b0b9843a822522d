/*
 * Which pieces make up a message for which role and kind. The words are in wording_en and
 * wording_es, the pieces in wording_writer.
 */
#include "words/wording.h"

#include "words/wording_writer.h"

#include <string.h>

bool wording_language_find(const char *code, enum wording_language *language) {
    static const char *const codes[] = {"en", "es"};
    *language = WORDING_ENGLISH;
    for (size_t i = 0; code && i < sizeof codes / sizeof codes[0]; i++)
        if (strncmp(code, codes[i], 2) == 0 && (code[2] == '\0' || code[2] == '-')) {
            *language = (enum wording_language)i;
            return true;
        }
    return false;
}

/* Is a message of this kind about one alarm? */
static bool is_about_alarm(enum wording_kind kind) {
    static const bool about_none[WORDING_KIND_COUNT] = {
        [WORDING_TEST] = true,       [WORDING_DIGEST] = true,      [WORDING_VISIT_DUE] = true,
        [WORDING_BUNDLE] = true,     [WORDING_BUNDLE_OVER] = true, [WORDING_SERVICE_ENDS] = true,
        [WORDING_UNDELIVERED] = true};
    return !about_none[kind];
}

static void add_bundle(struct wording_writer *writer) {
    const struct wording_facts *facts = writer->facts;
    bool over = facts->kind == WORDING_BUNDLE_OVER;
    wording_writer_where(writer);
    wording_writer_paragraph(writer,
                             over ? writer->texts->bundle_over_plain : writer->texts->bundle_plain);
    wording_writer_list(writer, over ? writer->texts->bundle_over_list : writer->texts->bundle_list,
                        &facts->lines);
    wording_writer_more(writer);
}

static void add_undelivered(struct wording_writer *writer) {
    wording_writer_where(writer);
    wording_writer_details(writer);
    wording_writer_paragraph(writer, writer->texts->undelivered_plain);
    wording_writer_list(writer, writer->texts->undelivered_list, &writer->facts->lines);
    wording_writer_more(writer);
}

static void add_service_ends(struct wording_writer *writer) {
    wording_writer_where(writer);
    wording_writer_put_aside(writer);
    wording_writer_paragraph(writer, writer->texts->service_ends);
}

/* ---- homeowner ---- */

static void add_advice(struct wording_writer *writer, enum wording_advice which, bool to_do) {
    const struct wording_advice_text *advice = &writer->texts->advice[which];
    text_buffer_format(&writer->out, "\n%s: ", writer->texts->meaning);
    wording_writer_paragraph(writer, advice->meaning);
    if (to_do) {
        text_buffer_format(&writer->out, "\n%s:\n", writer->texts->can_do);
        wording_writer_filled(writer, advice->can_do);
    }
    if (!advice->leave_alone)
        return;
    text_buffer_format(&writer->out, "\n%s:\n", writer->texts->leave_alone);
    wording_writer_filled(writer, advice->leave_alone);
}

static void add_plain_over(struct wording_writer *writer) {
    const struct wording_facts *facts = writer->facts;
    if (facts->kind == WORDING_RAISED_AND_RETURNED || facts->kind == WORDING_RETURNED)
        wording_writer_paragraph(writer, writer->texts->it_was);
    wording_writer_paragraph(writer, writer->condition->plain_over);
    wording_writer_where(writer);
    wording_writer_time(writer, writer->texts->since, facts->since_ms);
    wording_writer_time(writer, writer->texts->ended, facts->returned_ms);
    wording_writer_plain_radon(writer);
    text_buffer_add(&writer->out, "\n");
    wording_writer_paragraph(writer, writer->texts->nothing_to_do);
}

static void add_plain_unwatched(struct wording_writer *writer) {
    wording_writer_paragraph(writer, writer->texts->it_was);
    wording_writer_paragraph(writer, writer->texts->unwatched_plain);
    wording_writer_where(writer);
    wording_writer_time(writer, writer->texts->since, writer->facts->since_ms);
}

static void add_plain_alarm(struct wording_writer *writer) {
    const struct wording_facts *facts = writer->facts;
    bool taken_on = facts->kind == WORDING_ACKNOWLEDGED;
    wording_writer_paragraph(writer, writer->condition->plain_what);
    if (taken_on)
        wording_writer_paragraph(writer, writer->texts->taken_on);
    if (facts->kind == WORDING_CHATTERING)
        wording_writer_paragraph(writer, writer->texts->chattering_plain);
    if (facts->kind == WORDING_RECURRING)
        wording_writer_paragraph(writer, writer->texts->recurring_plain);
    wording_writer_where(writer);
    wording_writer_time(writer, writer->texts->since, facts->since_ms);
    wording_writer_plain_radon(writer);
    add_advice(writer, writer->condition->advice, !taken_on);
    if (facts->kind == WORDING_RAISED || facts->kind == WORDING_REMINDER ||
        facts->kind == WORDING_ESCALATED) {
        text_buffer_add(&writer->out, "\n");
        wording_writer_paragraph(writer, writer->texts->will_tell);
    }
}

static void add_plain_digest(struct wording_writer *writer) {
    wording_writer_where(writer);
    if (writer->facts->lines.count == 0)
        wording_writer_paragraph(writer, writer->texts->digest_none);
    wording_writer_list(writer, writer->texts->digest_plain, &writer->facts->lines);
    wording_writer_more(writer);
}

static void write_homeowner(struct wording_writer *writer) {
    switch (writer->facts->kind) {
    case WORDING_RETURNED:
    case WORDING_RAISED_AND_RETURNED:
        add_plain_over(writer);
        return;
    case WORDING_UNWATCHED:
        add_plain_unwatched(writer);
        return;
    case WORDING_TEST:
        wording_writer_paragraph(writer, writer->texts->plain_test);
        wording_writer_where(writer);
        wording_writer_time(writer, writer->texts->since, writer->facts->since_ms);
        return;
    case WORDING_DIGEST:
        add_plain_digest(writer);
        return;
    case WORDING_VISIT_DUE:
        wording_writer_paragraph(writer, writer->texts->plain_visit);
        wording_writer_where(writer);
        wording_writer_time(writer, writer->texts->since, writer->facts->since_ms);
        add_advice(writer, ADVICE_VISIT, true);
        return;
    case WORDING_BUNDLE:
    case WORDING_BUNDLE_OVER:
        add_bundle(writer);
        return;
    case WORDING_UNDELIVERED:
        add_undelivered(writer);
        return;
    case WORDING_SERVICE_ENDS:
        add_service_ends(writer);
        return;
    default:
        add_plain_alarm(writer);
    }
}

/* ---- contractor and technician ---- */

static void add_cautions(struct wording_writer *writer) {
    if (writer->facts->role != WORDING_TECHNICIAN)
        return;
    enum wording_advice advice = writer->condition ? writer->condition->advice : ADVICE_VISIT;
    bool hands_on = advice != ADVICE_SENSOR && advice != ADVICE_SERVICE && advice != ADVICE_TEST;
    text_buffer_format(&writer->out, "%s: ", writer->texts->cautions);
    if (hands_on)
        text_buffer_format(&writer->out, "%s %s ", writer->texts->caution_power,
                           writer->texts->caution_backdraft);
    text_buffer_format(&writer->out, "%s\n", writer->texts->caution_codes);
}

static void add_findings(struct wording_writer *writer) {
    const struct wording_facts *facts = writer->facts;
    wording_writer_cause(writer);
    if (facts->role == WORDING_TECHNICIAN)
        wording_writer_list(writer, writer->texts->evidence, &facts->evidence);
    wording_writer_list(writer, writer->texts->systems, &facts->lines);
    if (facts->kind == WORDING_ACKNOWLEDGED)
        wording_writer_acknowledged(writer);
    text_buffer_format(&writer->out, "%s: %s\n", writer->texts->action, writer->condition->action);
    if (facts->role == WORDING_TECHNICIAN) {
        wording_writer_list(writer, writer->texts->check, &facts->check);
        wording_writer_list(writer, writer->texts->bring, &facts->bring);
    }
    add_cautions(writer);
}

static void add_trade_alarm(struct wording_writer *writer) {
    const struct wording_facts *facts = writer->facts;
    bool unwatched = facts->kind == WORDING_UNWATCHED;
    bool over =
        unwatched || facts->kind == WORDING_RETURNED || facts->kind == WORDING_RAISED_AND_RETURNED;
    wording_writer_paragraph(writer, unwatched ? writer->texts->unwatched
                                     : over    ? writer->condition->over
                                               : writer->condition->what);
    if (facts->kind == WORDING_REMINDER)
        wording_writer_paragraph(writer, writer->texts->still_open);
    if (facts->kind == WORDING_ESCALATED)
        wording_writer_paragraph(writer, writer->texts->not_taken_up);
    if (facts->kind == WORDING_CHATTERING)
        wording_writer_paragraph(writer, writer->texts->chattering);
    if (facts->kind == WORDING_RECURRING)
        wording_writer_paragraph(writer, writer->texts->recurring);
    if (facts->kind == WORDING_SHELVING_ENDS)
        wording_writer_paragraph(writer, writer->texts->shelving_ends);
    wording_writer_where(writer);
    wording_writer_details(writer);
    if (facts->kind == WORDING_SHELVING_ENDS)
        wording_writer_put_aside(writer);
    wording_writer_numbers(writer);
    wording_writer_other_unit(writer);
    wording_writer_time(writer, writer->texts->since, facts->since_ms);
    if (over)
        wording_writer_time(writer, writer->texts->ended, facts->returned_ms);
    wording_writer_times(writer);
    if (over) {
        wording_writer_cause(writer);
        wording_writer_list(writer, writer->texts->systems, &facts->lines);
        text_buffer_format(&writer->out, "%s: %s\n", writer->texts->action,
                           unwatched ? writer->texts->unwatched_check : writer->texts->over_check);
    } else {
        add_findings(writer);
    }
}

static void add_trade_visit(struct wording_writer *writer) {
    const struct wording_facts *facts = writer->facts;
    wording_writer_where(writer);
    wording_writer_time(writer, writer->texts->since, facts->since_ms);
    wording_writer_list(writer, writer->texts->reasons, &facts->lines);
    wording_writer_cause(writer);
    text_buffer_format(&writer->out, "%s: %s\n", writer->texts->action,
                       writer->texts->conditions[CONDITION_VISIT_DUE].action);
    wording_writer_list(writer, writer->texts->check, &facts->check);
    wording_writer_list(writer, writer->texts->bring, &facts->bring);
    add_cautions(writer);
}

static void write_trade(struct wording_writer *writer) {
    switch (writer->facts->kind) {
    case WORDING_TEST:
        wording_writer_paragraph(writer, writer->texts->test);
        wording_writer_where(writer);
        wording_writer_time(writer, writer->texts->since, writer->facts->since_ms);
        return;
    case WORDING_DIGEST:
        wording_writer_where(writer);
        if (writer->facts->lines.count == 0)
            wording_writer_paragraph(writer, writer->texts->digest_none);
        wording_writer_list(writer, writer->texts->digest, &writer->facts->lines);
        wording_writer_more(writer);
        return;
    case WORDING_VISIT_DUE:
        add_trade_visit(writer);
        return;
    case WORDING_BUNDLE:
    case WORDING_BUNDLE_OVER:
        add_bundle(writer);
        return;
    case WORDING_UNDELIVERED:
        add_undelivered(writer);
        return;
    case WORDING_SERVICE_ENDS:
        add_service_ends(writer);
        return;
    default:
        add_trade_alarm(writer);
    }
}

static const struct wording_texts *const languages[] = {&wording_english, &wording_spanish};

char *wording_line(const struct wording_facts *facts) {
    struct wording_writer writer = {.facts = facts, .texts = languages[facts->language]};
    writer.condition = &writer.texts->conditions[facts->condition];
    wording_writer_line(&writer);
    return text_buffer_take(&writer.out);
}

char *wording_status_line(enum wording_language language, enum wording_role role,
                          const struct wording_status *status) {
    const struct wording_facts facts = {
        .role = role, .language = language, .system_name = status->name};
    struct wording_writer writer = {.facts = &facts, .texts = languages[language]};
    if (status->kind == WORDING_SHELVED || status->kind == WORDING_DUE)
        writer.condition = &writer.texts->conditions[status->condition];
    wording_writer_status(&writer, status);
    return text_buffer_take(&writer.out);
}

char *wording_render(const struct wording_facts *facts) {
    struct wording_writer writer = {.facts = facts, .texts = languages[facts->language]};
    if (is_about_alarm(facts->kind))
        writer.condition = &writer.texts->conditions[facts->condition];
    wording_writer_subject(&writer);
    if (facts->role == WORDING_HOMEOWNER)
        write_homeowner(&writer);
    else
        write_trade(&writer);
    return text_buffer_take(&writer.out);
}
