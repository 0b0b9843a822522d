/*
 * small_fleet: a fleet from YAML text, for tests that judge readings. Header only, so that programs
 * linked with core alone can use it.
 */
#ifndef SMALL_FLEET_H
#define SMALL_FLEET_H

#include "monitor/fleet.h"
#include "test_support.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static inline struct time_zone *small_fleet_zone(void *context, const char *name) {
    char path[256];
    size_t length = 0;
    (void)context;
    snprintf(path, sizeof path, "/usr/share/zoneinfo/%s", name);
    char *bytes = test_read_file(path, &length);
    struct time_zone *zone = time_zone_create(name, bytes, length);
    free(bytes);
    return zone;
}

/** Settings text (NULL: the least there can be) and system texts to a fleet; fails the test. */
static inline struct fleet *small_fleet(const char *settings_text, const char *const *systems,
                                        size_t count) {
    static const char least[] = "broker: {host: 127.0.0.1}\n"
                                "store: {file: test.db}\n"
                                "operator_socket: test.sock\n"
                                "systems: systems/\n"
                                "contacts:\n"
                                "  - id: office\n"
                                "    role: contractor\n"
                                "    webhook: {url: \"http://127.0.0.1:9/\"}\n";
    struct settings_errors errors = {0};
    if (!settings_text)
        settings_text = least;
    struct settings *settings =
        settings_parse("test.yaml", settings_text, strlen(settings_text), &errors);
    ck_assert_msg(settings != NULL, "%s", errors.count ? errors.lines[0] : "settings");
    struct system_description **list = calloc(count + 1, sizeof(struct system_description *));
    for (size_t i = 0; i < count; i++) {
        list[i] = system_description_parse("system.yaml", systems[i], strlen(systems[i]), settings,
                                           &errors);
        ck_assert_msg(list[i] != NULL, "%s", errors.count ? errors.lines[0] : "system");
    }
    struct fleet *fleet = fleet_create(settings, list, count, small_fleet_zone, NULL, &errors);
    ck_assert_ptr_nonnull(fleet);
    settings_errors_free(&errors);
    return fleet;
}

#endif
