#include "monitor/fleet_change.h"

#include <string.h>

static bool same_text(const char *a, const char *b) {
    return a == b || (a && b && strcmp(a, b) == 0);
}

static bool same_binding(const struct payload_binding *a, const struct payload_binding *b) {
    return a->quantity == b->quantity && a->unit == b->unit && a->time_unit == b->time_unit &&
           a->time_zone == b->time_zone && a->scale == b->scale && a->offset == b->offset &&
           same_text(a->value_pointer, b->value_pointer) &&
           same_text(a->time_pointer, b->time_pointer) && same_text(a->senml_name, b->senml_name);
}

/* Limits and delays may differ: they judge what comes. A mean over 24 h needs what came. */
static bool is_unchanged(const struct fleet_change *change, size_t was, size_t is) {
    const struct point_description *before = change->former->points[was].description;
    const struct point_description *now = change->fleet->points[is].description;
    return before->every_ms == now->every_ms && same_binding(&before->binding, &now->binding) &&
           (fleet_needs_window(change->former, was) || !fleet_needs_window(change->fleet, is));
}

static size_t *places(struct fleet_change *change, size_t count) {
    size_t *made = arena_allocate(&change->memory, count * sizeof *made);
    for (size_t i = 0; made && i < count; i++)
        made[i] = FLEET_NONE;
    return made;
}

static void match_system(struct fleet_change *change, size_t is) {
    const struct fleet_system *owner = &change->fleet->systems[is];
    size_t was = fleet_find_system(change->former, owner->description->id);
    if (was == FLEET_NONE)
        return;
    change->systems_were[is] = was;
    change->systems_are[was] = is;
    for (size_t p = owner->first_point; p < owner->first_point + owner->point_count; p++) {
        size_t before = fleet_find_point(change->former, was, fleet_point_id(change->fleet, p));
        if (before == FLEET_NONE)
            continue;
        change->points_were[p] = before;
        change->points_are[before] = p;
        change->unchanged[p] = is_unchanged(change, before, p);
    }
}

bool fleet_change_open(struct fleet_change *change, const struct fleet *former,
                       const struct fleet *fleet) {
    const struct settings *before = former->settings, *now = fleet->settings;
    *change = (struct fleet_change){.former = former, .fleet = fleet};
    change->systems_were = places(change, fleet->system_count);
    change->points_were = places(change, fleet->point_count);
    change->contacts_were = places(change, now->contact_count);
    change->systems_are = places(change, former->system_count);
    change->points_are = places(change, former->point_count);
    change->unchanged =
        arena_allocate(&change->memory, fleet->point_count * sizeof *change->unchanged);
    if (!change->systems_were || !change->points_were || !change->contacts_were ||
        !change->systems_are || !change->points_are || !change->unchanged)
        return false;
    for (size_t s = 0; s < fleet->system_count; s++)
        match_system(change, s);
    for (size_t i = 0; i < now->contact_count; i++) {
        const struct settings_contact *contact = fleet_contact(former, now->contacts[i].id);
        if (contact)
            change->contacts_were[i] = (size_t)(contact - before->contacts);
    }
    return true;
}

void fleet_change_close(struct fleet_change *change) {
    arena_free(change->memory);
    *change = (struct fleet_change){0};
}
