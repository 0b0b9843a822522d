/*
 * page_facts: parts that the sheet of a system and its printed record share: averages in words,
 * fan and ground, commissioning, visits.
 */
#ifndef DAEMON_PAGE_FACTS_H
#define DAEMON_PAGE_FACTS_H

#include "page/view.h"

/** Averages of a point as a table, each with coverage and uncertainty in words. */
void page_averages(struct page_view *view, const struct point_facts *facts,
                   enum dimension dimension);
/** A sentence on each average over some windows ("91 d"): "1.3 pCi/L, 95 % sure between …". */
void page_average_sentences(struct page_view *view, const struct point_facts *facts,
                            const char *const *windows, size_t count, enum dimension dimension);
/** What the readings of a radon point say of a whole year, as a paragraph. */
void page_year(struct page_view *view, const struct point_facts *facts);
/** The name of a radon point with its place as a heading, where the system has several. */
void page_radon_name(struct page_view *view, size_t system, size_t point);
/** A trend in words; nothing is claimed that is not sure. */
void page_trend_sentence(struct page_view *view, const struct point_facts *facts,
                         enum dimension dimension);
/** The fan that stands there, by the records, else by the system file; nothing when none is named.
 */
void page_equipment(struct page_view *view, size_t system, size_t branch);
/** Fan and ground, apart. */
void page_fan_and_ground(struct page_view *view, size_t system, const struct system_facts *facts);

/** A list of what is on record; it begins with its first row. */
struct page_records {
    struct page_view *view;
    size_t system, most; /* rows to write */
    size_t rows;         /* so far */
};
/** May another row come? Then what stands before it is written. */
bool page_records_next(struct page_records *records);
/** Its end; `none`: what is said in its place. */
void page_records_end(const struct page_records *records, const char *none);
/** Commissioning records, newest first; at most `most`. */
void page_commissioning(struct page_view *view, size_t system, size_t most);
/** What a commissioning record says of the back-draft test, also when there was none; */
void page_back_draft(struct page_view *view, const json_t *record);
/** of the holes by fan setting, and how far the field reaches; nothing without them. */
void page_test_holes(struct page_view *view, const json_t *record);
/** The newest `most` radon tests, each beside what the monitors read in its days. */
void page_radon_tests(struct page_view *view, size_t system, size_t most);
/** Visits that were done, newest first; at most `most`. */
void page_past_visits(struct page_view *view, size_t system, size_t most);

#endif
