/*
 * proved_field: a commissioning record with what follows from its test holes at several fan
 * settings: the exponent of the ground. Pure.
 */
#ifndef MONITOR_PROVED_FIELD_H
#define MONITOR_PROVED_FIELD_H

#include "settings/system_description.h"

/**
 * commissioning_parse; where the record gives no ground_exponent, it is fitted through the settings
 * of which suction and flow are known (ground_exponent_fit). A fit that is impossible is an error
 * of the record.
 */
struct commissioning *proved_field_record(const char *file, const char *text, size_t length,
                                          const struct system_description *system,
                                          const struct time_zone *zone, int64_t now_ms,
                                          struct settings_errors *errors);

#endif
