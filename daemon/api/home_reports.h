/*
 * home_reports: what households sent by the links of their houses: a U-tube's reading, a radon
 * test, "the fan sounds different" or "is off". Kept with the house, told to its contractors. None
 * of it is judged, but readings of points that are `by: hand`, which are readings like any other.
 */
#ifndef DAEMON_API_HOME_REPORTS_H
#define DAEMON_API_HOME_REPORTS_H

#include "api/radon_tests.h"
#include "words/home_report.h"

/** By whom, of what came through a link. */
extern const char home_reports_by[];

/** May this house send more today? A link is known to whoever was given it. */
bool home_reports_may(struct api *api, size_t system);

/** One U-tube of a house. */
struct home_gauge {
    size_t branch;
    size_t by_hand; /* point that a person reads; FLEET_NONE: none, so its reading is a note only */
    size_t point;   /* by_hand, else a sensor's of the same pipe; FLEET_NONE: none */
};
struct home_gauge home_gauge_of(const struct fleet *fleet, size_t system, size_t branch);

enum home_kept { HOME_KEPT, HOME_KEPT_CONFLICT, HOME_KEPT_NOT };
/** Within the turn's transaction; the caller commits. A conflict changes nothing. */
enum home_kept home_reports_u_tube(struct api *api, size_t system, const struct home_gauge *gauge,
                                   double pa, int64_t time_ms);
enum home_kept home_reports_test(struct api *api, size_t system, struct record_radon_test *test);
enum home_kept home_reports_fan(struct api *api, size_t system, enum home_report kind,
                                const char *note);

/** The newest of a house as JSON, newest first; the caller's. */
json_t *home_reports_json(struct api *api, size_t system);

#endif
