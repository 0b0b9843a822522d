/*
 * fan_curve: which share of a fan model still runs, over its age, as a drawing.
 */
#ifndef DAEMON_PAGE_FAN_CURVE_H
#define DAEMON_PAGE_FAN_CURVE_H

#include "api/fans.h"
#include "page/view.h"

/** Nothing where too few of its ages are known for a line. */
void page_fan_curve(struct page_view *view, const struct fan_model_facts *model, const char *name);

#endif
