/*
 * routes: what the files of the API answer, and what they give each other and the page.
 */
#ifndef DAEMON_API_ROUTES_H
#define DAEMON_API_ROUTES_H

#include "api/answer.h"

/* systems.c */
void api_systems(struct api_call *call);
/** Systems of the fleet, worst first; the caller frees. */
size_t *api_systems_worst_first(const struct api *api, size_t *count);
/** One of that list as JSON. */
json_t *api_system_line(const struct api *api, size_t system);
/* alarm_list.c */
/** Which alarms a list holds. */
struct api_alarm_choice {
    bool all;         /* those that are over too */
    size_t system;    /* FLEET_NONE: all */
    int64_t since_ms; /* raised, with `all` or standing, since then; TIMESTAMP_NONE: ever */
    int64_t before;   /* goes on behind the alarm of this number; 0: begins with the newest */
    int64_t limit;    /* 0: none */
};
void api_alarms_list(struct api_call *call);
/** The list, newest first; NULL when the store can't be read, or knows no such alarm as `before`.
 */
json_t *api_alarms(struct api *api, const struct api_alarm_choice *choice);
/** One alarm. */
json_t *api_alarm_json(const struct api *api, const struct alarm *alarm);
/* alarms.c */
void api_alarm_change(struct api_call *call);
void api_service_change(struct api_call *call, bool out);
/* records.c */
void api_commission(struct api_call *call);
void api_learn_period(struct api_call *call);
void api_record_by_hand(struct api_call *call);
void api_visit_done(struct api_call *call);
/* series.c */
void api_import(struct api_call *call);
void api_readings(struct api_call *call);
/* messages.c */
void api_deliveries(struct api_call *call);
void api_delivery_again(struct api_call *call);
void api_test_alert(struct api_call *call);
void api_unclaimed(struct api_call *call);
void api_refused(struct api_call *call);
/* health.c */
void api_health(struct api_call *call);
/** For whoever is not signed in: whether it works, and nothing of what. */
void api_health_word(struct api_call *call);
void api_metrics(struct api_call *call);

#endif
