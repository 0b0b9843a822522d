/*
 * The cross checks over all systems of system_description.h. Sorted, so that 40 000 points cost no
 * quadratic time.
 */
#include "complaints.h"
#include "settings/name_index.h"
#include "settings/system_description.h"

#include <stdlib.h>
#include <string.h>

struct source {
    const struct system_description *system;
    const struct point_description *point;
};

static int compare_ids(const void *a, const void *b) {
    const struct source *x = a, *y = b;
    int order = strcmp(x->system->id, y->system->id);
    return order ? order : strcmp(x->system->file, y->system->file);
}

static void check_ids(struct system_description *const *systems, size_t count,
                      struct settings_errors *errors) {
    struct source *sorted = calloc(count ? count : 1, sizeof *sorted);
    if (!sorted) {
        settings_errors_add(errors, "systems:0: out of memory");
        return;
    }
    for (size_t i = 0; i < count; i++)
        sorted[i].system = systems[i];
    if (count > 1)
        qsort(sorted, count, sizeof *sorted, compare_ids);
    for (size_t i = 1; i < count; i++)
        if (strcmp(sorted[i].system->id, sorted[i - 1].system->id) == 0)
            settings_errors_add(errors, "%s:%d: id: " SAY_TAKEN, sorted[i].system->file,
                                sorted[i].system->id_line, sorted[i].system->id,
                                sorted[i - 1].system->file);
    free(sorted);
}

static int compare_texts(const char *a, const char *b) {
    return strcmp(a ? a : "", b ? b : "");
}

/* Zero when two points would take the same value out of the same messages. */
static int compare_places(const struct point_description *x, const struct point_description *y) {
    int order = strcmp(x->topic, y->topic);
    if (order == 0)
        order = compare_texts(x->binding.value_pointer, y->binding.value_pointer);
    if (order == 0)
        order = compare_texts(x->binding.senml_name, y->binding.senml_name);
    return order;
}

bool point_description_same_source(const struct point_description *one,
                                   const struct point_description *other) {
    return compare_places(one, other) == 0;
}

static int compare_sources(const void *a, const void *b) {
    const struct source *x = a, *y = b;
    int order = compare_places(x->point, y->point);
    if (order == 0)
        order = strcmp(x->system->file, y->system->file);
    return order ? order : (x->point->line > y->point->line) - (x->point->line < y->point->line);
}

static void check_sources(struct system_description *const *systems, size_t count,
                          struct settings_errors *errors) {
    size_t total = 0, used = 0;
    for (size_t i = 0; i < count; i++)
        total += systems[i]->point_count;
    struct source *sources = malloc((total ? total : 1) * sizeof *sources);
    if (!sources) {
        settings_errors_add(errors, "systems:0: out of memory");
        return;
    }
    for (size_t i = 0; i < count; i++)
        for (size_t p = 0; p < systems[i]->point_count; p++)
            sources[used++] = (struct source){systems[i], &systems[i]->points[p]};
    if (total > 1)
        qsort(sources, total, sizeof *sources, compare_sources);
    for (size_t i = 1; i < total; i++)
        if (compare_places(sources[i - 1].point, sources[i].point) == 0)
            settings_errors_add(errors,
                                "%s:%d: points[%s].topic: \"%.200s\" with the same value is taken "
                                "by %s:%d; allowed: another topic, value or senml_name",
                                sources[i].system->file, sources[i].point->line,
                                sources[i].point->id, sources[i].point->topic,
                                sources[i - 1].system->file, sources[i - 1].point->line);
    free(sources);
}

static void check_contacts(struct system_description *const *systems, size_t count,
                           const struct settings *settings, struct settings_errors *errors) {
    static char *const nobody = NULL;
    struct name_index index;
    bool some = settings->contact_count > 0;
    if (!name_index_build(&index, some ? &settings->contacts[0].id : &nobody,
                          sizeof *settings->contacts, some ? settings->contact_count : 0)) {
        settings_errors_add(errors, "systems:0: out of memory");
        return;
    }
    for (size_t i = 0; i < count; i++)
        for (size_t c = 0; c < systems[i]->contact_count; c++)
            if (name_index_find(&index, systems[i]->contacts[c]) == NAME_INDEX_NONE)
                settings_errors_add(errors, "%s:%d: contacts: " SAY_NO_CONTACT, systems[i]->file,
                                    systems[i]->contacts_line, systems[i]->contacts[c],
                                    settings->file);
    name_index_free(&index);
}

void system_descriptions_check(struct system_description *const *systems, size_t count,
                               const struct settings *settings, struct settings_errors *errors) {
    check_ids(systems, count, errors);
    check_sources(systems, count, errors);
    if (settings)
        check_contacts(systems, count, settings, errors);
}

void system_description_zone_unknown(const struct system_description *system,
                                     struct settings_errors *errors) {
    settings_errors_add(errors, "%s:%d: time_zone: " SAY_UNKNOWN_TIME_ZONE, system->file,
                        system->time_zone_line, system->time_zone);
}
