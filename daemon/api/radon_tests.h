/*
 * radon_tests: results of radon tests as JSON, for the list, `show` and the page.
 */
#ifndef DAEMON_API_RADON_TESTS_H
#define DAEMON_API_RADON_TESTS_H

#include "api/answer.h"

/** Tests of a system (NULL: all), oldest first; the caller releases. NULL: the store failed. */
json_t *api_radon_tests_of(struct api *api, const char *system);

void api_radon_tests(struct api_call *call);
void api_radon_tests_of_system(struct api_call *call);
void api_radon_test(struct api_call *call);

#endif
