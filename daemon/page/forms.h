/*
 * forms: how somebody signed in changes something. Each form is written on a sheet; when it is
 * posted it keeps what was typed, or shows it once more with what is wrong beside its fields.
 */
#ifndef DAEMON_PAGE_FORMS_H
#define DAEMON_PAGE_FORMS_H

#include "alarm/alarm.h"
#include "page/form.h"
#include "page/view.h"

/* alarm_forms.c */
/** Acknowledge, shelve, unshelve; afterwards the sheet of the system `only` is shown, the list of
    alarms for FLEET_NONE. */
void page_alarm_forms(struct page_view *view, const struct alarm *alarm, size_t only);
void page_alarm_take(struct page_view *view, const struct page_form *typed);

/* service_form.c */
/** Taking a system out of service, and back: the form that its sheet has now. */
void page_service_form(struct page_view *view, size_t system);
/** Is it out of service? */
bool page_out_of_service(const struct page_view *view, size_t system);
void page_service_take(struct page_view *view, size_t system, const struct page_form *typed);

/* visit_form.c */
/** A visit: what was found, done and measured, and the fan that was put in; folded. */
void page_visit_form(struct page_view *view, size_t system);
void page_visit_take(struct page_view *view, size_t system, const struct page_form *typed);

/* commission.c, commission_take.c */
/** By it somebody on site makes what is measured now the normal of a system: what its sensors read
    beside what a hand-held instrument shows, test holes at several fan settings, radon before, the
    back-draft test. With what the sensors read now. */
void page_commission(struct page_view *view, size_t system);
void page_commission_take(struct page_view *view, size_t system, const struct page_form *typed);

/* radon_tests.c */
/** The result of a radon test. */
void page_radon_test_form(struct page_view *view, size_t system);
void page_radon_test_take(struct page_view *view, size_t system, const struct page_form *typed);
/** Takes back a wrong one of the system's; nothing where there is none. */
void page_take_back_form(struct page_view *view, size_t system);
void page_take_back_take(struct page_view *view, size_t system, const struct page_form *typed);

#endif
