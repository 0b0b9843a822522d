#include "api_show.h"

#include "api_private.h"

json_t *api_show(struct api *api, size_t system) {
    const struct system_description *description = api->fleet->systems[system].description;
    int64_t since_ms = 0;
    enum monitor_status status = monitor_status(pipeline_monitor(api->pipeline), system, &since_ms);
    return json_pack("{s:s,s:s,s:s}", "id", description->id, "name", description->name, "status",
                     monitor_status_word(status));
}

json_t *api_learn(struct api *api, size_t system, int64_t from_ms, int64_t to_ms, const char *by,
                  int64_t now_ms) {
    (void)api, (void)system, (void)from_ms, (void)to_ms, (void)by, (void)now_ms;
    return NULL;
}
