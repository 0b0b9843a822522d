/*
 * wording_writer: the pieces a message is put together from. Names and notes come from outside:
 * before they enter a text they are made valid UTF-8 on one line. What is not known is left out
 * with its label; no text ever shows a missing number. Used by wording alone. Pure.
 */
#ifndef WORDS_WORDING_WRITER_H
#define WORDS_WORDING_WRITER_H

#include "words/text_buffer.h"
#include "words/wording.h"
#include "words/wording_texts.h"

/** What one rendering works with. */
struct wording_writer {
    const struct wording_facts *facts;
    const struct wording_texts *texts;
    const struct wording_condition_text *condition; /* NULL: not about an alarm */
    struct text_buffer out;
};

/** The first line and the empty one behind it. */
void wording_writer_subject(struct wording_writer *writer);

/** A text of the tables, its placeholders filled; a placeholder that begins a sentence gets a
 *  capital. */
void wording_writer_filled(struct wording_writer *writer, const char *text);
/** The same and a line end. */
void wording_writer_paragraph(struct wording_writer *writer, const char *text);
/** "LABEL:" and a line each; nothing for an empty list. */
void wording_writer_list(struct wording_writer *writer, const char *label,
                         const struct text_list *list);

/* One line each, or nothing where the fact is missing. */
void wording_writer_where(struct wording_writer *writer);
void wording_writer_time(struct wording_writer *writer, const char *label, int64_t time_ms);
/** "Reads: 0.02 inH2O; limit 0.11 inH2O; at commissioning 1.1 inH2O (2 %)" */
void wording_writer_numbers(struct wording_writer *writer);
/** The subject of an alarm of the daemon's own. */
void wording_writer_details(struct wording_writer *writer);
/** What it seems to send, and what it read before. */
void wording_writer_other_unit(struct wording_writer *writer);
/** "Since the repair: 1.2 pCi/L over 21 days": what a verdict on radon is from, and the level. */
void wording_writer_mean(struct wording_writer *writer);
/** The one number a homeowner sees: the radon level, in the unit it is known by. */
void wording_writer_plain_radon(struct wording_writer *writer);
void wording_writer_cause(struct wording_writer *writer);
void wording_writer_acknowledged(struct wording_writer *writer);
void wording_writer_times(struct wording_writer *writer);
/** Whom to call; the firm that nobody named, only for a homeowner. */
void wording_writer_whom(struct wording_writer *writer);
/** When this reader hears of it again; nothing where another sentence says so. */
void wording_writer_again(struct wording_writer *writer);
/** The same for a homeowner; `usual` where nobody is reminded. */
void wording_writer_plain_again(struct wording_writer *writer, const char *usual);
/** Until when, by whom and why something was put aside. */
void wording_writer_put_aside(struct wording_writer *writer);

/** Tells how many the lines leave out, if any. */
void wording_writer_more(struct wording_writer *writer);
/** The line of an alarm in a bundle, and that of a status in a digest; no line end. */
void wording_writer_line(struct wording_writer *writer);
void wording_writer_status(struct wording_writer *writer, const struct wording_status *status);

#endif
