/*
 * page_text: values, times and status as people read them. A number never stands alone: its unit,
 * its age or its coverage stands beside it.
 */
#ifndef DAEMON_PAGE_VIEW_TEXT_H
#define DAEMON_PAGE_VIEW_TEXT_H

#include "monitor/monitor.h"
#include "page/view.h"
#include "words/evidence.h"
#include "words/text_list.h"

#define PAGE_TEXT_SIZE 64

/** "0.62 inH2O" in the page's units. Returns text. */
char *page_value_text(const struct page_view *view, char text[PAGE_TEXT_SIZE], double si,
                      enum dimension dimension);
/** The same as an element that does not break; "not known" for NaN. */
void page_value(struct page_view *view, double si, enum dimension dimension);
/** A fraction in percent; what is not all and not nothing is said in the words given. */
char *page_percent(char text[PAGE_TEXT_SIZE], double fraction, const char *over_99,
                   const char *under_1);
/** "68 %" of a fraction. Returns text. */
char *page_percent_text(const struct page_view *view, char text[PAGE_TEXT_SIZE], double fraction);
/** The same of what is measured against what was: it may be over 100 %, and "over 99 %" would be
   read as a chance. Returns text. */
char *page_ratio_text(char text[PAGE_TEXT_SIZE], double ratio);

/** "12 min ago". Returns text. */
char *page_age_text(const struct page_view *view, char text[PAGE_TEXT_SIZE], int64_t time_ms);
/** The same as an element, with the full time behind it. */
void page_age(struct page_view *view, int64_t time_ms, const struct time_zone *zone);
/** "2026-03-12 08:15 MST", or the day alone. */
void page_time(struct page_view *view, int64_t time_ms, const struct time_zone *zone);
void page_date(struct page_view *view, int64_t time_ms, const struct time_zone *zone);
/** ", by hand; next due 2026-09-11" of a point that a person reads: it is never silent. */
void page_due(struct page_view *view, size_t point);
/** "2026-03-12 08:15 MST". Returns text. */
char *page_time_text(char text[PAGE_TEXT_SIZE], int64_t time_ms, const struct time_zone *zone);
/** "2026-03-12". Returns text. */
char *page_date_text(char text[PAGE_TEXT_SIZE], int64_t time_ms, const struct time_zone *zone);

/** The mark of a status and its word. The marks differ in shape, so that ink alone tells them. */
void page_status(struct page_view *view, enum monitor_status status);
/** The mark alone. */
void page_status_mark(struct page_view *view, enum monitor_status status);
/** Since when: "since 2026-03-12", of a silent one "not heard since 2026-03-12". */
void page_status_since(struct page_view *view, size_t system, enum monitor_status status,
                       int64_t since_ms);
/** The shapes, once a page. */
void page_status_shapes(struct page_view *view);

/** The dimension of a point's values. */
enum dimension page_dimension(const struct page_view *view, size_t point);
/** The unit in which they are shown and typed: that of unit_format, also of the air's pressure. */
const struct unit *page_unit(const struct page_view *view, size_t point);
const struct unit *page_unit_of(enum quantity quantity, enum dimension dimension,
                                enum unit_system units);
/**
 * Changes to the units in which the trade reads this point, whatever the page shows else: pascals
 * at a test hole and for a velocity pressure. Returns those to go back to (view->units).
 */
enum unit_system page_units_of_point(struct page_view *view, size_t point);
/** Texts as <ul>. */
void page_list(struct page_view *view, struct text_list list);

#endif
