/*
 * How a copy of the store went, as who made it says: the daemon takes no part in copying, but it
 * knows whom to tell.
 */
#include "api/routes.h"

#include <math.h>

/* {"done": FILE} or {"failed": why} */
void api_backup(struct api_call *call) {
    struct api *api = call->api;
    const char *why = api_given(call, "failed");
    if (!why && !api_needed(call, "done"))
        return;
    if (pipeline_begin(api->pipeline))
        monitor_daemon(pipeline_monitor(api->pipeline), CONDITION_BACKUP_FAILING, why != NULL, why,
                       NAN, api->now_ms);
    if (api_commit(call))
        api_json(call, 200, json_pack("{s:b}", "failed", why != NULL));
}
