/*
 * routes: what the files of the API answer, and what they give each other and the page.
 */
#ifndef DAEMON_API_ROUTES_H
#define DAEMON_API_ROUTES_H

#include "api/answer.h"
#include "store/records.h"

/* systems.c */
void api_systems(struct api_call *call);
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
/**
 * The list, newest first: each as its row would be now, and for one that is open as it stands in
 * memory (else NULL), until `take` answers false. False when the store can't be read, or knows no
 * such alarm as `before`.
 */
bool api_alarms_each(struct api *api, const struct api_alarm_choice *choice,
                     bool (*take)(void *context, const struct record_alarm *row,
                                  const struct alarm *open),
                     void *context);
/** One alarm, its texts in a language. */
json_t *api_alarm_json(const struct api *api, const struct alarm *alarm, size_t language);
/* alarms.c */
void api_alarm_change(struct api_call *call);
void api_out_of_service(struct api_call *call);
void api_return_to_service(struct api_call *call);
/* commission.c */
void api_commission(struct api_call *call);
/* records.c */
void api_learn_period(struct api_call *call);
void api_record_by_hand(struct api_call *call);
/** A reading that a person took, and who; within the turn's transaction. One of now is moved on by
    so many milliseconds as there are others of now. */
enum pipeline_taken api_take_by_hand(struct api *api, size_t point, struct reading *reading,
                                     const char *by);
void api_visit_done(struct api_call *call);
/* enrol.c */
void api_enrol(struct api_call *call);
/* move.c */
void api_move_out(struct api_call *call);
void api_move_in(struct api_call *call);
/* series.c */
void api_import(struct api_call *call);
void api_readings(struct api_call *call);
/* messages.c */
void api_deliveries(struct api_call *call);
void api_delivery_again(struct api_call *call);
void api_test_alert(struct api_call *call);
void api_unclaimed(struct api_call *call);
void api_refused(struct api_call *call);
/* backups.c */
void api_backup(struct api_call *call);
/* fans.c */
void api_fans(struct api_call *call);
/* letter.c */
void api_report(struct api_call *call);
/* forget.c */
void api_forget(struct api_call *call);
void api_reload(struct api_call *call);
/* health.c */
/** "connected", "connecting", "lost", or "none" without a broker (tests). */
const char *api_broker_word(const struct api *api);
void api_health(struct api_call *call);
/** For whoever is not signed in: whether it works, and nothing of what. */
void api_health_word(struct api_call *call);
/* metrics.c */
/** Of the whole. */
void api_metrics(struct api_call *call);
/** Status and newest values of each system. */
void api_metrics_of_systems(struct api_call *call);

#endif
