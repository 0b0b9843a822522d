/*
 * radon_tests: results of radon tests beside the monitors, for the list, `show` and the page.
 */
#ifndef DAEMON_API_RADON_TESTS_H
#define DAEMON_API_RADON_TESTS_H

#include "api/answer.h"
#include "api/radon_test_entry.h"
#include "store/records.h"

/** What a monitor read in the days of a test. */
struct radon_test_monitor {
    bool enough; /* readings; else the mean is NaN */
    double mean_bq_m3, standard_uncertainty, coverage;
    bool agrees; /* with the test */
};
struct radon_test_monitor radon_test_monitor(const struct api *api, size_t point,
                                             const struct record_radon_test *test);

/** Is the very same test on record, whoever wrote it down? Gives it that number, and the system. */
bool radon_test_stands(struct api *api, size_t system, struct record_radon_test *test);

/** Puts a test on record, within the turn's transaction, unless it stands there; gives it number,
    system and time. */
enum store_status radon_test_keep(struct api *api, size_t system, struct record_radon_test *test);

/** Tests of a system (NULL: all), oldest first; the caller releases. NULL: the store failed. */
json_t *api_radon_tests_of(struct api *api, const char *system);

void api_radon_tests(struct api_call *call);
void api_radon_tests_of_system(struct api_call *call);
void api_radon_test(struct api_call *call);
void api_radon_test_take_back(struct api_call *call);

#endif
