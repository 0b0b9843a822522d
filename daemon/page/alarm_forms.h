/*
 * page_alarm_forms: what a person can do with an alarm: acknowledge, shelve, unshelve.
 */
#ifndef DAEMON_PAGE_ALARM_FORMS_H
#define DAEMON_PAGE_ALARM_FORMS_H

#include "alarm/alarm.h"
#include "page/form.h"
#include "page/view.h"

/** The forms, for who is signed in; afterwards the sheet of the system `only` is shown, the list of
    alarms for FLEET_NONE. */
void page_alarm_forms(struct page_view *view, const struct alarm *alarm, size_t only);
/** What was typed in one of them. */
void page_alarm_take(struct page_view *view, const struct page_form *typed);

#endif
