#include "pipeline/explain.h"

#include "diagnosis/diagnosis_claim.h"
#include "monitor/system_diagnosis.h"
#include "monitor/year_assessment.h"
#include "pipeline/stored_history.h"
#include "tell/fact_json.h"

#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static json_t *items_json(const enum visit_item *items, size_t count) {
    json_t *list = json_array();
    for (size_t i = 0; i < count; i++)
        json_array_append_new(list, json_string(visit_item_word(items[i])));
    return list;
}

static json_t *evidence_json(const struct diagnosis *diagnosis) {
    json_t *list = json_array();
    for (size_t i = 0; i < diagnosis->evidence_count; i++)
        json_array_append_new(list, fact_json(&diagnosis->evidence[i]));
    return list;
}

static json_t *candidates_json(const struct diagnosis *diagnosis) {
    json_t *list = json_array();
    for (size_t i = 0; i < diagnosis->candidate_count; i++)
        json_array_append_new(list, json_pack("{s:s, s:f}", "cause",
                                              diagnosis_cause_word(diagnosis->candidates[i].cause),
                                              "confidence", diagnosis->candidates[i].confidence));
    return list;
}

char *explain_json(const struct diagnosis *diagnosis) {
    char claim[DIAGNOSIS_CLAIM_BYTES];
    double confidence = diagnosis_claim_confidence(diagnosis);
    json_t *root = json_pack(
        "{s:s, s:f, s:o, s:b, s:o, s:o, s:o}", "cause", diagnosis_claim(diagnosis, claim),
        "confidence", isfinite(confidence) ? confidence : 0.0, "candidates",
        candidates_json(diagnosis), "frost", diagnosis->frost, "evidence", evidence_json(diagnosis),
        "check", items_json(diagnosis->check, diagnosis->check_count), "bring",
        items_json(diagnosis->bring, diagnosis->bring_count));
    char *text = root ? json_dumps(root, JSON_COMPACT | JSON_REAL_PRECISION(6)) : NULL;
    json_decref(root);
    return text;
}

/* A slow fault is told before it can be told apart from the usual variation, and one of three may
   become one of two: look again later. */
static bool is_settled(const struct alarm *alarm) {
    json_t *root = alarm->details ? json_loads(alarm->details, 0, NULL) : NULL;
    const char *cause = json_string_value(json_object_get(root, "cause"));
    enum diagnosis_cause causes[DIAGNOSIS_CAUSES_MAX];
    size_t count = diagnosis_claim_causes(cause, causes);
    bool settled = count == 2 || (count == 1 && causes[0] != CAUSE_NONE &&
                                  causes[0] != CAUSE_UNKNOWN && causes[0] != CAUSE_UNDECIDED);
    json_decref(root);
    return settled;
}

/* What a verdict on radon's year is from, set into the new details or else into those so far; the
   new ones as they are where it is not known. */
static char *with_year(struct monitor_memory *memory, const struct alarm *alarm, char *details) {
    const struct monitor *monitor = memory->monitor;
    const struct history history = stored_history_view(memory);
    const struct time_zone *zone = monitor_fleet(monitor)->systems[alarm->system].zone;
    int64_t newest_ms = monitor_point(monitor, alarm->point)->newest_ms;
    struct year_assessment found = {.known = false};
    if (newest_ms == TIMESTAMP_NONE ||
        !year_assessment_make(monitor, &history, alarm->point, time_zone_local_day(zone, newest_ms),
                              &found) ||
        !found.known)
        return details;
    const char *known = details ? details : alarm->details;
    json_t *root = known ? json_loads(known, 0, NULL) : json_object();
    json_object_set_new(root, "year",
                        json_pack("{s:f, s:f, s:f, s:I, s:b}", "mean", found.year.mean, "lower",
                                  found.year.lower, "upper", found.year.upper, "days",
                                  (json_int_t)found.year.days, "repair",
                                  found.basis == YEAR_BASIS_REPAIR));
    char *text =
        json_is_object(root) ? json_dumps(root, JSON_COMPACT | JSON_REAL_PRECISION(6)) : NULL;
    json_decref(root);
    if (!text)
        return details;
    free(details);
    return text;
}

/* What probably causes a standing alarm; NULL: nothing new, or that was settled. */
static char *with_cause(struct monitor_memory *memory, const struct alarm *alarm) {
    struct diagnosis diagnosis;
    struct monitor *monitor = memory->monitor;
    const struct history history = stored_history_view(memory);
    /* Event time: in a backlog the clock on the wall is hours ahead of what was measured. */
    int64_t newest_ms = monitor_system_newest_ms(monitor, alarm->system);
    if (alarm_stands(alarm) && system_diagnosis_applies(alarm->condition) && !is_settled(alarm) &&
        newest_ms != TIMESTAMP_NONE &&
        system_diagnosis_make(monitor, &history, alarm, newest_ms + 1, &diagnosis))
        return explain_json(&diagnosis);
    return NULL;
}

void explain_alarm(struct monitor_memory *memory, struct alarm *alarm) {
    if (alarm->system == ALARM_NO_INDEX || !memory->store)
        return;
    char *details = with_cause(memory, alarm);
    if (alarm->condition == CONDITION_RADON_ABOVE_ACTION)
        details = with_year(memory, alarm, details);
    if (!details || (alarm->details && strcmp(alarm->details, details) == 0)) {
        free(details);
        return;
    }
    free(alarm->details);
    alarm->details = details;
    alarm_book_touch(monitor_alarms(memory->monitor), alarm);
}
