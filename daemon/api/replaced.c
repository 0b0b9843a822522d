#include "api/replaced.h"

#include "pipeline/equipment_json.h"

bool replaced_fan(const struct api *api, size_t system, const json_t *fan, int64_t record_ms,
                  struct replaced_fan *before) {
    const struct fleet_system *owner = &api->fleet->systems[system];
    const struct system_description *about = owner->description;
    struct equipment put_in;
    if (!equipment_json_read(fan, &put_in))
        return false;
    size_t branch = branch_description_find(about->branches, about->branch_count, put_in.branch);
    if (branch == BRANCH_NONE)
        return false;
    int64_t since_ms = equipment_since_ms(&put_in, owner->zone, record_ms);
    const struct fan_description *file = &about->branches[branch].fan;
    const struct fitted_fan *fitted =
        fitted_fans_at(monitor_fans(pipeline_monitor(api->pipeline), system, branch), since_ms - 1);
    *before = fitted ? (struct replaced_fan){fitted->model, fitted->serial}
                     : (struct replaced_fan){file->model, file->serial};
    return before->model || before->serial;
}
