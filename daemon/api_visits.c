#include "api_visits.h"

#include <string.h>

json_t *api_visits(struct api *api) {
    (void)api;
    return json_array();
}

char *api_visits_calendar(struct api *api) {
    (void)api;
    return strdup("");
}
