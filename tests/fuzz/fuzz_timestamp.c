/* Instants and dates from any bytes; what is read must come back when written and read again. */
#include "measure/timestamp.h"

#include <assert.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    char *exact = malloc(size ? size : 1); /* not terminated: reads beyond it are seen */
    if (!exact)
        return 0;
    memcpy(exact, data, size);
    int year, month, day;
    if (timestamp_parse_date(exact, size, &year, &month, &day)) {
        int64_t days = timestamp_days_from_civil(year, month, day);
        int year_again, month_again, day_again;
        timestamp_civil_from_days(days, &year_again, &month_again, &day_again);
        assert(year == year_again && month == month_again && day == day_again);
    }
    int64_t time_ms = 0, again = 0;
    if (timestamp_parse(exact, size, &time_ms)) {
        char text[32];
        timestamp_format(text, sizeof(text), time_ms);
        if (text[4] == '-' && text[0] != '-') { /* years 0000 to 9999 in UTC too */
            assert(timestamp_parse(text, strlen(text), &again));
            assert(again == time_ms);
        }
    }
    free(exact);
    if (size >= sizeof(time_ms)) {
        char text[32];
        memcpy(&time_ms, data, sizeof(time_ms));
        timestamp_format(text, sizeof(text), time_ms);
        assert(strlen(text) < sizeof(text) - 1);
    }
    return 0;
}
