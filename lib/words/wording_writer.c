#include "words/wording_writer.h"

#include "measure/duration.h"
#include "words/text_repair.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static bool present(const char *text) {
    return text && *text;
}

/* Valid UTF-8, control characters and runs of blanks to one blank. The caller frees. */
static char *clean(const char *text) {
    char *copy = text_repair(text);
    if (!copy)
        return NULL;
    char *to = copy;
    for (const char *from = copy; *from; from++) {
        bool blank = (unsigned char)*from <= 0x20 || *from == 0x7f;
        if (!blank)
            *to++ = *from;
        else if (to > copy && to[-1] != ' ')
            *to++ = ' ';
    }
    while (to > copy && to[-1] == ' ')
        to--;
    *to = '\0';
    return copy;
}

static void add_clean(struct text_buffer *out, const char *text) {
    char *line = clean(text);
    if (line)
        text_buffer_add(out, line);
    else
        out->failed = true;
    free(line);
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
    if (present(facts->system_name))
        return facts->system_name;
    if (present(facts->system_id))
        return facts->system_id;
    bool fleet = writer->condition
                     ? condition_info(facts->condition)->scope == SCOPE_FLEET
                     : facts->kind == WORDING_DIGEST || facts->kind == WORDING_BUNDLE ||
                           facts->kind == WORDING_BUNDLE_OVER;
    return fleet ? writer->texts->no_fleet : writer->texts->no_system;
}

static const char *value_of(const struct wording_writer *writer, const char *name, size_t length) {
    const struct wording_facts *facts = writer->facts;
    const char *contractor =
        present(facts->contractor) ? facts->contractor : writer->texts->the_contractor;
    const struct {
        const char *name, *value;
    } table[] = {
        {"contractor", contractor},
        {"name", system_name(writer)},
        {"by", present(facts->by) ? facts->by : contractor},
        {"subject", writer->condition ? writer->condition->plain_subject : ""},
        {"sent", present(facts->sent_unit) ? facts->sent_unit : ""},
        {"declared", present(facts->declared_unit) ? facts->declared_unit : ""},
    };
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++)
        if (strlen(table[i].name) == length && memcmp(table[i].name, name, length) == 0)
            return table[i].value;
    return "";
}

/* First letter of a sentence: capital, in ASCII (the tables begin with no other small letter). */
static void add_capital(struct text_buffer *out, const char *text) {
    char first[2] = {(char)toupper((unsigned char)text[0]), '\0'};
    bool ascii = (unsigned char)text[0] < 0x80;
    text_buffer_add(out, ascii ? first : text);
    if (ascii && text[0])
        text_buffer_add(out, text + 1);
}

void wording_writer_filled(struct wording_writer *writer, const char *text) {
    const char *begin = text, *open;
    while ((open = strchr(text, '{'))) {
        size_t length = strcspn(open + 1, "}");
        text_buffer_add_bytes(&writer->out, text, (size_t)(open - text));
        char *value = clean(value_of(writer, open + 1, length));
        bool first = open == begin || (open - begin >= 2 && (open[-2] == '-' || open[-2] == '.'));
        if (!value)
            writer->out.failed = true;
        else if (first)
            add_capital(&writer->out, value);
        else
            text_buffer_add(&writer->out, value);
        free(value);
        text = open + 1 + length + (open[1 + length] == '}');
    }
    text_buffer_add(&writer->out, text);
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
    add_clean(&writer->out, text);
    text_buffer_add(&writer->out, "\n");
}

void wording_writer_list(struct wording_writer *writer, const char *label,
                         const struct text_list *list) {
    if (list->count == 0)
        return;
    text_buffer_format(&writer->out, "%s:\n", label);
    for (size_t i = 0; i < list->count; i++) {
        text_buffer_add(&writer->out, "- ");
        add_clean(&writer->out, list->items[i]);
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
    const char *name = system_name(writer), *address = facts->system_address;
    /* Many systems are named by the first line of their address. */
    bool same = present(address) && strncmp(address, name, strlen(name)) == 0;
    text_buffer_format(&writer->out, "%s: ", writer->texts->where);
    add_clean(&writer->out, same ? address : name);
    if (!plain && present(facts->system_name) && present(facts->system_id) &&
        strcmp(facts->system_name, facts->system_id) != 0) {
        text_buffer_add(&writer->out, " (");
        add_clean(&writer->out, facts->system_id);
        text_buffer_add(&writer->out, ")");
    }
    if (present(address) && !same) {
        text_buffer_add(&writer->out, ", ");
        add_clean(&writer->out, address);
    }
    const char *point = present(facts->point_name) ? facts->point_name : facts->point_id;
    if (!plain && present(point)) {
        text_buffer_add(&writer->out, "; ");
        add_clean(&writer->out, point);
        if (facts->quantity < QUANTITY_COUNT &&
            strcmp(point, writer->texts->quantities[facts->quantity]) != 0)
            text_buffer_format(&writer->out, " (%s)", writer->texts->quantities[facts->quantity]);
    }
    text_buffer_add(&writer->out, "\n");
}

/* ---- numbers ---- */

static const char *number_text(const struct wording_facts *facts, double number, char *text,
                               size_t size) {
    switch (facts->value_kind) {
    case WORDING_VALUE_RATIO:
        snprintf(text, size, "%.2f", number);
        return text;
    case WORDING_VALUE_PROBABILITY:
        snprintf(text, size, "%.0f %%", 100.0 * number);
        return text;
    case WORDING_VALUE_DURATION:
        return duration_format(text, size, number < 9e18 ? (int64_t)number : INT64_MAX);
    case WORDING_VALUE_MEASURED:
        break;
    }
    return unit_format(text, size, number, facts->dimension,
                       quantity_units(facts->quantity, facts->units));
}

static const char *value_label(const struct wording_writer *writer) {
    switch (writer->facts->value_kind) {
    case WORDING_VALUE_RATIO:
        return writer->texts->ratio;
    case WORDING_VALUE_PROBABILITY:
        return writer->texts->probability;
    case WORDING_VALUE_DURATION:
        return condition_info(writer->facts->condition)->measure == MEASURE_DAILY
                   ? writer->texts->time_left /* a trend's, until its limit */
                   : writer->texts->lasted;
    case WORDING_VALUE_MEASURED:
        break;
    }
    return writer->texts->value;
}

void wording_writer_numbers(struct wording_writer *writer) {
    const struct wording_facts *facts = writer->facts;
    char text[80];
    if (!isfinite(facts->value))
        return;
    text_buffer_format(&writer->out, "%s: %s", value_label(writer),
                       number_text(facts, facts->value, text, sizeof text));
    if (isfinite(facts->setpoint) && !present(facts->sent_unit))
        text_buffer_format(&writer->out, "; %s %s", writer->texts->limit,
                           number_text(facts, facts->setpoint, text, sizeof text));
    if (isfinite(facts->baseline) && facts->value_kind == WORDING_VALUE_MEASURED) {
        text_buffer_format(&writer->out, "; %s %s", writer->texts->baseline,
                           number_text(facts, facts->baseline, text, sizeof text));
        if (facts->baseline > 0.0 && facts->value >= 0.0)
            text_buffer_format(&writer->out, " (%.0f %%)", 100.0 * facts->value / facts->baseline);
    }
    text_buffer_add(&writer->out, "\n");
}

void wording_writer_other_unit(struct wording_writer *writer) {
    const struct wording_facts *facts = writer->facts;
    char text[80];
    if (!present(facts->sent_unit) || !isfinite(facts->setpoint))
        return;
    text_buffer_format(&writer->out, "%s: ", writer->texts->unit);
    wording_writer_filled(writer, writer->texts->unit_sent);
    text_buffer_format(&writer->out, " %s\n",
                       number_text(facts, facts->setpoint, text, sizeof text));
}

void wording_writer_plain_radon(struct wording_writer *writer) {
    const struct wording_facts *facts = writer->facts;
    char text[80];
    if (facts->dimension != DIMENSION_RADON || facts->value_kind != WORDING_VALUE_MEASURED ||
        facts->quantity != QUANTITY_RADON || !isfinite(facts->value))
        return;
    text_buffer_format(&writer->out, "%s: %s\n", writer->texts->measured,
                       unit_format(text, sizeof text, facts->value, DIMENSION_RADON, facts->units));
}

void wording_writer_cause(struct wording_writer *writer) {
    const struct wording_facts *facts = writer->facts;
    const char *cause = facts->cause;
    if (!present(cause) || strcmp(cause, diagnosis_cause_word(CAUSE_NONE)) == 0)
        return;
    for (int i = 0; i < CAUSE_COUNT; i++)
        if (strcmp(cause, diagnosis_cause_word((enum diagnosis_cause)i)) == 0)
            cause = writer->texts->causes[i];
    text_buffer_format(&writer->out, "%s: ", writer->texts->cause);
    add_clean(&writer->out, cause);
    if (isfinite(facts->confidence)) {
        int grade = facts->confidence >= 0.75 ? 2 : facts->confidence >= 0.4 ? 1 : 0;
        text_buffer_format(&writer->out, " (%s, %.0f %%)", writer->texts->confident[grade],
                           100.0 * facts->confidence);
    }
    text_buffer_add(&writer->out, "\n");
}

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

void wording_writer_put_aside(struct wording_writer *writer) {
    const struct wording_facts *facts = writer->facts;
    if (facts->until_ms > 0)
        wording_writer_time(writer, writer->texts->until, facts->until_ms);
    add_labelled(writer, writer->texts->shelved_by, facts->by);
    add_labelled(writer, writer->texts->why, facts->note);
}

/* ---- lines of lists ---- */

void wording_writer_more(struct wording_writer *writer) {
    const char *format = writer->texts->and_more, *place = strstr(format, "%zu");
    if (writer->facts->more == 0)
        return;
    text_buffer_add(&writer->out, "- ");
    text_buffer_add_bytes(&writer->out, format, (size_t)(place - format));
    text_buffer_format(&writer->out, "%zu%s\n", writer->facts->more, place + 3);
}

void wording_writer_line(struct wording_writer *writer) {
    const struct wording_facts *facts = writer->facts;
    char text[64];
    bool plain = facts->role == WORDING_HOMEOWNER;
    bool over = facts->returned_ms != TIMESTAMP_NONE;
    int64_t time_ms = over ? facts->returned_ms : facts->since_ms;
    bool marked = facts->kind == WORDING_RAISED_AND_RETURNED || facts->kind == WORDING_UNWATCHED;
    if (marked && !plain)
        text_buffer_add(&writer->out, writer->texts->subject_prefix[facts->kind]);
    text_buffer_format(&writer->out, "%s: ",
                       plain ? writer->condition->plain_subject : writer->condition->subject);
    add_clean(&writer->out, system_name(writer));
    const char *point = present(facts->point_name) ? facts->point_name : facts->point_id;
    if (!plain && present(point)) {
        text_buffer_add(&writer->out, ", ");
        add_clean(&writer->out, point);
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
    add_clean(&writer->out, status->name);
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
    if (facts->role == WORDING_HOMEOWNER) {
        text_buffer_add(&part.out, ": ");
        wording_writer_filled(&part, writer->texts->plain_suffix[facts->kind]);
        return text_buffer_take(&part.out);
    }
    text_buffer_add(&part.out, writer->texts->subject_prefix[facts->kind]);
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
    char *rest = subject_rest(writer), *name = clean(system_name(writer)), *shown = NULL;
    if (rest && name) {
        size_t used = characters(rest);
        size_t left = used + 8 < WORDING_SUBJECT_MAX ? WORDING_SUBJECT_MAX - used : 8;
        struct text_buffer head = {0};
        add_cut(&head, name, left);
        shown = text_buffer_take(&head);
    }
    if (shown && plain) {
        add_capital(&writer->out, shown);
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
