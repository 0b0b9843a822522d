/*
 * Which pieces make up a message for which role and kind. The words are in language_CODE.txt, the
 * pieces in wording_writer.
 */
#include "words/wording.h"

#include "words/wording_writer.h"

#include <string.h>

bool wording_language_find(const char *code, size_t *language) {
    *language = WORDING_ENGLISH;
    for (size_t i = 0; code && i < wording_language_count; i++) {
        size_t length = strlen(wording_languages[i].code);
        if (strncmp(code, wording_languages[i].code, length) == 0 &&
            (code[length] == '\0' || code[length] == '-')) {
            *language = i;
            return true;
        }
    }
    return false;
}

const char *wording_language_code(size_t language) {
    return wording_languages[language].code;
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

/* A household is thanked on its page; so this is for the trade. */
static void add_home_report(struct wording_writer *writer) {
    static const enum home_text what[HOME_REPORT_COUNT] = {HOME_SENT_U_TUBE, HOME_SENT_TEST,
                                                           HOME_SENT_SOUNDS, HOME_SENT_OFF};
    const struct wording_facts *facts = writer->facts;
    const char *const *texts = writer->texts->home;
    bool test = facts->home_report == HOME_REPORT_RADON_TEST;
    const char *says = texts[HOME_REPORT_SAYS], *open = strchr(says, '{');
    text_buffer_add_bytes(&writer->out, says, (size_t)(open - says));
    text_buffer_format(&writer->out, "%s%s\n", texts[what[facts->home_report]], open + 3);
    wording_writer_where(writer);
    wording_writer_numbers(writer);
    wording_writer_time(writer, writer->texts->since, facts->since_ms);
    wording_writer_acknowledged(writer);
    text_buffer_format(&writer->out, "%s: %s\n", writer->texts->action,
                       texts[test ? HOME_REPORT_DO_TEST : HOME_REPORT_DO]);
}

/* ---- homeowner ---- */

/* What it means, what to do and what not, when we write again, whom to call. */
static void add_advice(struct wording_writer *writer, enum wording_advice which) {
    const struct wording_advice_text *advice = &writer->texts->advice[which];
    bool flue = wording_advice_flue(which);
    bool ice = flue && wording_advice_ice(writer->facts->condition, &writer->facts->explained);
    if (flue) {
        text_buffer_add(&writer->out, "\n");
        wording_writer_paragraph(writer, writer->texts->carbon_monoxide);
    }
    text_buffer_format(&writer->out, "\n%s: ", writer->texts->meaning);
    wording_writer_paragraph(writer, advice->meaning);
    if (writer->facts->kind != WORDING_ACKNOWLEDGED) {
        text_buffer_format(&writer->out, "\n%s:\n", writer->texts->can_do);
        wording_writer_filled(writer, advice->can_do);
        if (ice)
            text_buffer_add(&writer->out, writer->texts->ice_look);
    }
    text_buffer_format(&writer->out, "\n%s:\n", writer->texts->leave_alone);
    wording_writer_filled(writer, advice->leave_alone);
    if (ice)
        text_buffer_add(&writer->out, writer->texts->ice_leave);
    text_buffer_add(&writer->out, "\n");
    wording_writer_plain_again(writer, advice->again);
    wording_writer_whom(writer);
}

static void add_plain_over(struct wording_writer *writer) {
    const struct wording_facts *facts = writer->facts;
    bool unwatched = facts->kind == WORDING_UNWATCHED;
    wording_writer_paragraph(writer, writer->texts->it_was);
    wording_writer_paragraph(writer, unwatched ? writer->texts->unwatched_plain
                                               : writer->condition->plain_over);
    wording_writer_where(writer);
    wording_writer_time(writer, writer->texts->since, facts->since_ms);
    if (!unwatched) {
        wording_writer_time(writer, writer->texts->ended, facts->returned_ms);
        wording_writer_plain_radon(writer);
        wording_writer_mean(writer);
    }
    add_advice(writer, unwatched ? ADVICE_NO_LONGER : wording_advice_over(facts->condition));
}

static void add_plain_alarm(struct wording_writer *writer) {
    const struct wording_facts *facts = writer->facts;
    wording_writer_paragraph(writer, writer->condition->plain_what);
    if (wording_only_sensor(facts->condition, &facts->explained))
        wording_writer_paragraph(writer, writer->texts->plain_sensor);
    if (facts->kind == WORDING_ACKNOWLEDGED)
        wording_writer_paragraph(writer, writer->texts->taken_on);
    if (facts->kind == WORDING_CHATTERING)
        wording_writer_paragraph(writer, writer->texts->chattering_plain);
    if (facts->kind == WORDING_RECURRING)
        wording_writer_paragraph(writer, writer->texts->recurring_plain);
    wording_writer_where(writer);
    wording_writer_time(writer, writer->texts->since, facts->since_ms);
    wording_writer_plain_radon(writer);
    wording_writer_mean(writer);
    add_advice(writer, wording_advice_of(facts->condition, &facts->explained));
}

/* `none`: said where there is nothing to list. */
static void add_digest(struct wording_writer *writer, const char *label, const char *none) {
    wording_writer_where(writer);
    if (writer->facts->lines.count == 0)
        wording_writer_paragraph(writer, none);
    wording_writer_list(writer, label, &writer->facts->lines);
    wording_writer_more(writer);
}

static void add_plain_digest(struct wording_writer *writer) {
    add_digest(writer, writer->texts->digest_plain, writer->texts->plain_digest_none);
}

/* One sentence, where and since when. */
static void add_note(struct wording_writer *writer, const char *sentence) {
    wording_writer_paragraph(writer, sentence);
    wording_writer_where(writer);
    wording_writer_time(writer, writer->texts->since, writer->facts->since_ms);
}

static void add_plain_test(struct wording_writer *writer) {
    add_note(writer, writer->texts->plain_test);
}

static void add_plain_visit(struct wording_writer *writer) {
    add_note(writer, writer->texts->plain_visit);
}

static void add_plain_home_report(struct wording_writer *writer) {
    wording_writer_paragraph(writer, writer->texts->home[HOME_SENT]);
    wording_writer_where(writer);
}

/* ---- contractor and technician ---- */

static void add_cautions(struct wording_writer *writer) {
    if (writer->facts->role != WORDING_TECHNICIAN)
        return;
    enum wording_advice advice =
        writer->condition ? wording_advice_of(writer->facts->condition, &writer->facts->explained)
                          : ADVICE_VISIT;
    bool hands_on = advice != ADVICE_SENSOR && advice != ADVICE_SERVICE && advice != ADVICE_TEST &&
                    advice != ADVICE_READING && advice != ADVICE_CALIBRATION;
    const struct wording_texts *texts = writer->texts;
    text_buffer_format(&writer->out, "%s: ", texts->cautions);
    if (hands_on)
        text_buffer_format(&writer->out, "%s %s %s ", texts->caution_power,
                           texts->caution_backdraft, texts->caution_leave);
    text_buffer_format(&writer->out, "%s\n", writer->texts->caution_codes);
}

static void add_findings(struct wording_writer *writer) {
    const struct wording_facts *facts = writer->facts;
    wording_writer_cause(writer);
    if (facts->role == WORDING_TECHNICIAN)
        wording_writer_list(writer, writer->texts->evidence, &facts->explained.evidence);
    wording_writer_list(writer, writer->texts->systems, &facts->lines);
    if (facts->kind == WORDING_ACKNOWLEDGED)
        wording_writer_acknowledged(writer);
    text_buffer_format(&writer->out, "%s: %s\n", writer->texts->action,
                       wording_do(facts->language, facts->condition, &facts->explained, false));
    if (facts->role == WORDING_TECHNICIAN) {
        wording_writer_list(writer, writer->texts->check, &facts->explained.check);
        wording_writer_list(writer, writer->texts->bring, &facts->explained.bring);
    }
    add_cautions(writer);
}

static void add_over(struct wording_writer *writer, bool unwatched) {
    const struct wording_facts *facts = writer->facts;
    wording_writer_cause(writer);
    wording_writer_list(writer, writer->texts->systems, &writer->facts->lines);
    text_buffer_format(
        &writer->out, "%s: %s\n", writer->texts->action,
        unwatched ? writer->texts->unwatched_check
                  : wording_do(facts->language, facts->condition, &facts->explained, true));
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
    wording_writer_mean(writer);
    wording_writer_other_unit(writer);
    wording_writer_time(writer, writer->texts->since, facts->since_ms);
    if (over)
        wording_writer_time(writer, writer->texts->ended, facts->returned_ms);
    wording_writer_times(writer);
    if (over)
        add_over(writer, unwatched);
    else
        add_findings(writer);
}

static void add_trade_visit(struct wording_writer *writer) {
    const struct wording_facts *facts = writer->facts;
    wording_writer_where(writer);
    wording_writer_time(writer, writer->texts->since, facts->since_ms);
    wording_writer_list(writer, writer->texts->reasons, &facts->lines);
    wording_writer_cause(writer);
    text_buffer_format(&writer->out, "%s: %s\n", writer->texts->action,
                       writer->texts->conditions[CONDITION_VISIT_DUE].action);
    wording_writer_list(writer, writer->texts->check, &facts->explained.check);
    wording_writer_list(writer, writer->texts->bring, &facts->explained.bring);
    add_cautions(writer);
}

static void add_trade_test(struct wording_writer *writer) {
    add_note(writer, writer->texts->test);
}

static void add_trade_digest(struct wording_writer *writer) {
    add_digest(writer, writer->texts->digest, writer->texts->digest_none);
}

/* ---- kinds ---- */

/* Of the kinds that are about no one alarm: what the trade reads, what a homeowner, and his advice
   (ADVICE_COUNT: none). */
static const struct {
    void (*trade)(struct wording_writer *writer);
    void (*plain)(struct wording_writer *writer);
    enum wording_advice advice;
} about_none[WORDING_KIND_COUNT] = {
    [WORDING_TEST] = {add_trade_test, add_plain_test, ADVICE_NOTE},
    [WORDING_DIGEST] = {add_trade_digest, add_plain_digest, ADVICE_SUMMARY},
    [WORDING_VISIT_DUE] = {add_trade_visit, add_plain_visit, ADVICE_VISIT},
    [WORDING_BUNDLE] = {add_bundle, add_bundle, ADVICE_LIST},
    [WORDING_BUNDLE_OVER] = {add_bundle, add_bundle, ADVICE_OVER},
    [WORDING_UNDELIVERED] = {add_undelivered, add_undelivered, ADVICE_SERVICE},
    [WORDING_SERVICE_ENDS] = {add_service_ends, add_service_ends, ADVICE_SERVICE},
    [WORDING_HOME_REPORT] = {add_home_report, add_plain_home_report, ADVICE_COUNT},
};

static bool is_about_alarm(enum wording_kind kind) {
    return !about_none[kind].trade;
}

static void write_homeowner(struct wording_writer *writer) {
    enum wording_kind kind = writer->facts->kind;
    bool over = kind == WORDING_RETURNED || kind == WORDING_RAISED_AND_RETURNED ||
                kind == WORDING_UNWATCHED;
    if (is_about_alarm(kind)) {
        if (over)
            add_plain_over(writer);
        else
            add_plain_alarm(writer);
        return;
    }
    about_none[kind].plain(writer);
    if (about_none[kind].advice != ADVICE_COUNT)
        add_advice(writer, about_none[kind].advice);
}

static void write_trade(struct wording_writer *writer) {
    enum wording_kind kind = writer->facts->kind;
    if (is_about_alarm(kind))
        add_trade_alarm(writer);
    else
        about_none[kind].trade(writer);
    wording_writer_again(writer);
    if (writer->facts->role == WORDING_TECHNICIAN)
        wording_writer_whom(writer);
}

char *wording_line(const struct wording_facts *facts) {
    struct wording_writer writer = {.facts = facts,
                                    .texts = wording_languages[facts->language].texts};
    writer.condition = &writer.texts->conditions[facts->condition];
    wording_writer_line(&writer);
    return text_buffer_take(&writer.out);
}

const char *wording_plain_subject(size_t language, enum condition condition) {
    return wording_languages[language].texts->conditions[condition].plain_subject;
}

char *wording_status_line(size_t language, enum wording_role role,
                          const struct wording_status *status) {
    const struct wording_facts facts = {
        .role = role, .language = language, .place.system_name = status->name};
    struct wording_writer writer = {.facts = &facts, .texts = wording_languages[language].texts};
    if (status->kind == WORDING_SHELVED || status->kind == WORDING_DUE)
        writer.condition = &writer.texts->conditions[status->condition];
    wording_writer_status(&writer, status);
    return text_buffer_take(&writer.out);
}

char *wording_render(const struct wording_facts *facts) {
    struct wording_writer writer = {.facts = facts,
                                    .texts = wording_languages[facts->language].texts};
    if (is_about_alarm(facts->kind))
        writer.condition = &writer.texts->conditions[facts->condition];
    wording_writer_subject(&writer);
    if (facts->role == WORDING_HOMEOWNER)
        write_homeowner(&writer);
    else
        write_trade(&writer);
    return text_buffer_take(&writer.out);
}
