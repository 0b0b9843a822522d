#include "api/period_mean.h"

#include "measure/duration.h"
#include "monitor/history.h"
#include "pipeline/stored_history.h"

#include <math.h>
#include <stdlib.h>

bool period_mean(const struct api *api, size_t point, int64_t from_ms, int64_t to_ms, double *mean,
                 double *coverage) {
    const struct history history = stored_history_view(pipeline_memory(api->pipeline));
    size_t capacity = (size_t)((to_ms - from_ms) / DURATION_HOUR_MS) + 2;
    struct average_bucket *hours = malloc(capacity * sizeof *hours), sum = {0};
    size_t count = HISTORY_FAILED;
    if (hours)
        count = history_hours(&history, point, from_ms, to_ms, hours, capacity);
    bool good =
        count != HISTORY_FAILED && average_sum(hours, count, from_ms, to_ms, &sum) == AVERAGE_OK;
    free(hours);
    *coverage = good ? (double)sum.covered_ms / (double)(to_ms - from_ms) : 0.0;
    *mean = good && sum.covered_ms > 0 ? sum.value_ms / (double)sum.covered_ms : NAN;
    return *coverage >= AVERAGE_LEAST_COVERAGE;
}
