#include "words/wording_writer.h"

#include "measure/duration.h"
#include "words/fill.h"
#include "words/text_repair.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static bool present(const char *text) {
    return text && *text;
}

static size_t characters(const char *text) {
    size_t count = 0;
    for (; *text; text++)
        count += ((unsigned char)*text & 0xC0) != 0x80;
    return count;
}

/* Adds at most `most` characters, the last one "…" where it is cut. */
static void add_cut(struct text_buffer *out, const char *text, size_t most) {
    if (characters(text) <= most) {
        text_buffer_add(out, text);
        return;
    }
    size_t count = 0, length = 0;
    while (text[length]) {
        if (((unsigned char)text[length] & 0xC0) != 0x80 && count++ == most - 1)
            break;
        length++;
    }
    while (length > 0 && text[length - 1] == ' ')
        length--;
    text_buffer_add_bytes(out, text, length);
    text_buffer_add(out, "…");
}

/* ---- placeholders ---- */

static const char *system_name(const struct wording_writer *writer) {
    const struct wording_facts *facts = writer->facts;
    if (present(facts->place.system_name))
        return facts->place.system_name;
    if (present(facts->place.system_id))
        return facts->place.system_id;
    bool fleet = writer->condition
                     ? condition_info(facts->condition)->scope == SCOPE_FLEET
                     : facts->kind == WORDING_DIGEST || facts->kind == WORDING_BUNDLE ||
                           facts->kind == WORDING_BUNDLE_OVER;
    return fleet ? writer->texts->no_fleet : writer->texts->no_system;
}

void wording_writer_filled(struct wording_writer *writer, const char *text) {
    const struct wording_facts *facts = writer->facts;
    char every[40], call[400];
    const char *contractor =
        present(facts->contractor.name) ? facts->contractor.name : writer->texts->the_contractor;
    snprintf(call, sizeof call, "%s%s%s", contractor,
             present(facts->contractor.telephone) ? ", " : "",
             present(facts->contractor.telephone) ? facts->contractor.telephone : "");
    const struct fill_value values[] = {
        {"contractor", contractor},
        {"call", call},
        {"every", duration_format(every, sizeof every, facts->remind_every_ms)},
        {"name", system_name(writer)},
        {"by", present(facts->by) ? facts->by : contractor},
        {"subject", writer->condition ? writer->condition->plain_subject : ""},
        {"sent", facts->mixup.sent_unit},
        {"declared", facts->mixup.declared_unit},
    };
    fill_text(&writer->out, text, values, sizeof values / sizeof values[0]);
}

/* ---- pieces ---- */

void wording_writer_paragraph(struct wording_writer *writer, const char *text) {
    wording_writer_filled(writer, text);
    text_buffer_add(&writer->out, "\n");
}

static void add_labelled(struct wording_writer *writer, const char *label, const char *text) {
    if (!present(text))
        return;
    text_buffer_format(&writer->out, "%s: ", label);
    fill_clean(&writer->out, text);
    text_buffer_add(&writer->out, "\n");
}

void wording_writer_list(struct wording_writer *writer, const char *label,
                         const struct text_list *list) {
    if (list->count == 0)
        return;
    text_buffer_format(&writer->out, "%s:\n", label);
    for (size_t i = 0; i < list->count; i++) {
        text_buffer_add(&writer->out, "- ");
        fill_clean(&writer->out, list->items[i]);
        text_buffer_add(&writer->out, "\n");
    }
}

static void add_date(struct wording_writer *writer, int64_t time_ms) {
    const struct time_zone *zone = writer->facts->zone;
    int year, month, day;
    timestamp_civil_from_days(time_zone_local_day(zone, time_ms), &year, &month, &day);
    int minute = time_zone_minute_of_day(zone, time_ms);
    for (const char *at = writer->texts->date; *at; at++) {
        if (*at != '{') {
            text_buffer_add_bytes(&writer->out, at, 1);
            continue;
        }
        if (at[1] == 'd')
            text_buffer_format(&writer->out, "%d", day);
        else if (at[1] == 'y')
            text_buffer_format(&writer->out, "%d", year);
        else if (at[1] == 'm')
            text_buffer_add(&writer->out, writer->texts->months[month - 1]);
        else
            text_buffer_format(&writer->out, "%02d:%02d", minute / 60, minute % 60);
        at += strcspn(at, "}");
    }
}

void wording_writer_time(struct wording_writer *writer, const char *label, int64_t time_ms) {
    char text[64];
    if (time_ms == TIMESTAMP_NONE)
        return;
    text_buffer_format(&writer->out, "%s: ", label);
    if (writer->facts->role == WORDING_HOMEOWNER)
        add_date(writer, time_ms);
    else
        text_buffer_add(&writer->out,
                        time_zone_format(text, sizeof text, writer->facts->zone, time_ms));
    text_buffer_add(&writer->out, "\n");
}

void wording_writer_where(struct wording_writer *writer) {
    const struct wording_facts *facts = writer->facts;
    bool plain = facts->role == WORDING_HOMEOWNER;
    const char *name = system_name(writer), *address = facts->place.system_address;
    /* Many systems are named by the first line of their address. */
    bool same = present(address) && strncmp(address, name, strlen(name)) == 0;
    text_buffer_format(&writer->out, "%s: ", writer->texts->where);
    fill_clean(&writer->out, same ? address : name);
    if (!plain && present(facts->place.system_name) && present(facts->place.system_id) &&
        strcmp(facts->place.system_name, facts->place.system_id) != 0) {
        text_buffer_add(&writer->out, " (");
        fill_clean(&writer->out, facts->place.system_id);
        text_buffer_add(&writer->out, ")");
    }
    if (present(address) && !same) {
        text_buffer_add(&writer->out, ", ");
        fill_clean(&writer->out, address);
    }
    const char *point =
        present(facts->place.point_name) ? facts->place.point_name : facts->place.point_id;
    if (!plain && present(point)) {
        text_buffer_add(&writer->out, "; ");
        fill_clean(&writer->out, point);
        if (facts->quantity < QUANTITY_COUNT &&
            strcmp(point, writer->texts->quantities[facts->quantity]) != 0)
            text_buffer_format(&writer->out, " (%s)", writer->texts->quantities[facts->quantity]);
    }
    text_buffer_add(&writer->out, "\n");
}

/* ---- who and how often ---- */

void wording_writer_acknowledged(struct wording_writer *writer) {
    add_labelled(writer, writer->texts->acknowledged_by, writer->facts->by);
    add_labelled(writer, writer->texts->note, writer->facts->note);
}

void wording_writer_details(struct wording_writer *writer) {
    add_labelled(writer, writer->texts->details, writer->facts->subject);
}

void wording_writer_times(struct wording_writer *writer) {
    if (writer->facts->occurrences > 1)
        text_buffer_format(&writer->out, "%s: %d\n",
                           writer->facts->kind == WORDING_CHATTERING ? writer->texts->changes
                                                                     : writer->texts->times,
                           writer->facts->occurrences);
}

void wording_writer_whom(struct wording_writer *writer) {
    if (writer->facts->role != WORDING_HOMEOWNER && !present(writer->facts->contractor.name))
        return;
    wording_writer_paragraph(writer, writer->texts->whom);
}

static bool is_reminded(const struct wording_facts *facts) {
    return facts->remind_every_ms > 0 &&
           (facts->kind == WORDING_RAISED || facts->kind == WORDING_REMINDER ||
            facts->kind == WORDING_ESCALATED);
}

void wording_writer_again(struct wording_writer *writer) {
    const struct wording_texts *texts = writer->texts;
    const char *again =
        is_reminded(writer->facts) ? texts->again_reminded : texts->again[writer->facts->kind];
    if (!again)
        return;
    text_buffer_format(&writer->out, "%s: ", texts->again_label);
    wording_writer_paragraph(writer, again);
}

void wording_writer_plain_again(struct wording_writer *writer, const char *usual) {
    wording_writer_paragraph(
        writer, is_reminded(writer->facts) ? writer->texts->plain_again_reminded : usual);
}

void wording_writer_put_aside(struct wording_writer *writer) {
    const struct wording_facts *facts = writer->facts;
    if (facts->until_ms > 0)
        wording_writer_time(writer, writer->texts->until, facts->until_ms);
    add_labelled(writer, writer->texts->shelved_by, facts->by);
    add_labelled(writer, writer->texts->why, facts->note);
}

/* ---- lines of lists ---- */

static void add_prefix(struct wording_writer *writer) {
    const char *prefix = writer->texts->subject_prefix[writer->facts->kind];
    if (present(prefix))
        text_buffer_format(&writer->out, "%s ", prefix);
}

void wording_writer_more(struct wording_writer *writer) {
    char more[24];
    snprintf(more, sizeof more, "%zu", writer->facts->more);
    if (writer->facts->more == 0)
        return;
    text_buffer_add(&writer->out, "- ");
    fill_text(&writer->out, writer->texts->and_more, &(struct fill_value){"more", more}, 1);
    text_buffer_add(&writer->out, "\n");
}

void wording_writer_line(struct wording_writer *writer) {
    const struct wording_facts *facts = writer->facts;
    char text[64];
    bool plain = facts->role == WORDING_HOMEOWNER;
    bool over = facts->returned_ms != TIMESTAMP_NONE;
    int64_t time_ms = over ? facts->returned_ms : facts->since_ms;
    bool marked = facts->kind == WORDING_RAISED_AND_RETURNED || facts->kind == WORDING_UNWATCHED;
    if (marked && !plain)
        add_prefix(writer);
    text_buffer_format(&writer->out, "%s: ",
                       plain ? writer->condition->plain_subject : writer->condition->subject);
    fill_clean(&writer->out, system_name(writer));
    const char *point =
        present(facts->place.point_name) ? facts->place.point_name : facts->place.point_id;
    if (!plain && present(point)) {
        text_buffer_add(&writer->out, ", ");
        fill_clean(&writer->out, point);
    }
    if (time_ms == TIMESTAMP_NONE)
        return;
    text_buffer_add(&writer->out, "; ");
    if (plain)
        add_date(writer, time_ms);
    else
        text_buffer_add(&writer->out, time_zone_format(text, sizeof text, facts->zone, time_ms));
}

/* Days from two days on, hours from two hours on: nobody needs the minutes of a week. */
static int64_t round_age(int64_t age_ms) {
    int64_t step = age_ms >= 2 * DURATION_DAY_MS    ? DURATION_DAY_MS
                   : age_ms >= 2 * DURATION_HOUR_MS ? DURATION_HOUR_MS
                                                    : DURATION_MINUTE_MS;
    return age_ms / step * step;
}

void wording_writer_status(struct wording_writer *writer, const struct wording_status *status) {
    char age[40];
    bool plain = writer->facts->role == WORDING_HOMEOWNER;
    const char *const *words = plain ? writer->texts->plain_statuses : writer->texts->statuses;
    text_buffer_add(&writer->out, words[status->kind]);
    if (status->age_ms >= DURATION_MINUTE_MS)
        text_buffer_format(&writer->out, " %s %s", writer->texts->for_age,
                           duration_format(age, sizeof age, round_age(status->age_ms)));
    text_buffer_add(&writer->out, ": ");
    if (writer->condition)
        text_buffer_format(&writer->out, "%s, ",
                           plain ? writer->condition->plain_subject : writer->condition->subject);
    fill_clean(&writer->out, status->name);
}

/* ---- the first line ---- */

static const char *list_title(const struct wording_writer *writer) {
    switch (writer->facts->kind) {
    case WORDING_DIGEST:
        return writer->texts->digest;
    case WORDING_BUNDLE:
        return writer->texts->bundle;
    case WORDING_UNDELIVERED:
        return writer->texts->undelivered;
    default:
        return writer->texts->bundle_over;
    }
}

/* What a subject says besides the name of the house: behind it in plain words, else before it. */
static char *subject_rest(const struct wording_writer *writer) {
    const struct wording_facts *facts = writer->facts;
    struct wording_writer part = {
        .facts = facts, .texts = writer->texts, .condition = writer->condition};
    if (facts->kind == WORDING_HOME_REPORT) {
        const char *what = writer->texts->home[HOME_REPORT_SUBJECT];
        bool plain = facts->role == WORDING_HOMEOWNER;
        text_buffer_format(&part.out, "%s%s%s", plain ? ": " : "", what, plain ? "" : ": ");
        return text_buffer_take(&part.out);
    }
    if (facts->role == WORDING_HOMEOWNER) {
        bool done =
            facts->kind == WORDING_RETURNED && wording_advice_over(facts->condition) == ADVICE_DONE;
        text_buffer_add(&part.out, ": ");
        wording_writer_filled(&part, done ? writer->texts->plain_done
                                          : writer->texts->plain_suffix[facts->kind]);
        return text_buffer_take(&part.out);
    }
    add_prefix(&part);
    if (facts->kind == WORDING_TEST)
        text_buffer_add(&part.out, writer->texts->test_subject);
    else if (facts->kind == WORDING_VISIT_DUE)
        text_buffer_add(&part.out, writer->texts->visit);
    else if (facts->kind == WORDING_SERVICE_ENDS)
        text_buffer_add(&part.out, writer->texts->service);
    else if (!writer->condition)
        text_buffer_format(&part.out, "%s (%zu)", list_title(writer),
                           facts->lines.count + facts->more);
    else
        text_buffer_add(&part.out, writer->condition->subject);
    text_buffer_add(&part.out, ": ");
    return text_buffer_take(&part.out);
}

void wording_writer_subject(struct wording_writer *writer) {
    bool plain = writer->facts->role == WORDING_HOMEOWNER;
    char *rest = subject_rest(writer), *name = text_repair_line(system_name(writer)), *shown = NULL;
    if (rest && name) {
        size_t used = characters(rest);
        size_t left = used + 8 < WORDING_SUBJECT_MAX ? WORDING_SUBJECT_MAX - used : 8;
        struct text_buffer head = {0};
        add_cut(&head, name, left);
        shown = text_buffer_take(&head);
    }
    if (shown && plain) {
        fill_capital(&writer->out, shown);
        text_buffer_add(&writer->out, rest);
    } else if (shown) {
        text_buffer_add(&writer->out, rest);
        text_buffer_add(&writer->out, shown);
    } else {
        writer->out.failed = true;
    }
    free(shown);
    free(rest);
    free(name);
    text_buffer_add(&writer->out, "\n\n");
}
