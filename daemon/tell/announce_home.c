/*
 * What a household sent by the link of its house, to those who look after it.
 */
#include "tell/announce_private.h"

#include <math.h>
#include <string.h>

static char *data_of(const struct announce *announce, const struct announce_home_report *report) {
    char time[40];
    bool has_value = isfinite(report->value);
    json_t *json = json_pack("{s:s, s:s, s:s, s:o, s:o, s:s?}", "system",
                             fleet_system_id(announce->fleet, report->system), "kind",
                             home_report_word(report->kind), "time",
                             timestamp_format(time, sizeof time, report->time_ms), "value",
                             has_value ? json_real(report->value) : json_null(), "unit",
                             has_value ? json_string(unit_si_word(report->dimension)) : json_null(),
                             "note", report->note);
    char *text = json ? json_dumps(json, JSON_COMPACT | JSON_REAL_PRECISION(12)) : NULL;
    json_decref(json);
    return text;
}

static enum store_status tell(struct announce *announce, const struct settings_contact *contact,
                              const struct announce_home_report *report, int64_t now_ms) {
    struct wording_facts facts =
        announce_facts(announce->fleet, contact, report->system, WORDING_HOME_REPORT);
    facts.home_report = report->kind;
    facts.since_ms = report->time_ms;
    facts.dimension = report->dimension;
    facts.quantity = report->dimension == DIMENSION_RADON ? QUANTITY_RADON : QUANTITY_SUCTION;
    facts.value = report->value;
    facts.baseline = report->baseline;
    facts.note = report->note;
    const struct announce_draft draft = {.contact = contact,
                                         .system = report->system,
                                         .data = data_of(announce, report),
                                         .priority = PRIORITY_MEDIUM,
                                         .now_ms = now_ms};
    return draft.data ? announce_facts_row(announce, &facts, draft, NULL) : STORE_OUT_OF_MEMORY;
}

/* Has the house a contractor of its own? Else all hear of it, so that somebody does. */
static bool looked_after(const struct fleet *fleet, size_t system) {
    const struct settings *settings = fleet->settings;
    for (size_t i = 0; i < settings->contact_count; i++) {
        if (settings->contacts[i].role == ROLE_CONTRACTOR &&
            fleet_concerns(fleet, &settings->contacts[i], system))
            return true;
    }
    return false;
}

enum store_status announce_home_report(struct announce *announce,
                                       const struct announce_home_report *report, int64_t now_ms) {
    const struct settings *settings = announce->fleet->settings;
    enum store_status status = STORE_OK;
    bool any = looked_after(announce->fleet, report->system);
    for (size_t i = 0; i < settings->contact_count && status == STORE_OK; i++) {
        const struct settings_contact *contact = &settings->contacts[i];
        if (contact->role == ROLE_CONTRACTOR &&
            (!any || fleet_concerns(announce->fleet, contact, report->system)))
            status = tell(announce, contact, report, now_ms);
    }
    return status;
}
