/*
 * What no file has changed of since a fleet was read is shared with the next; what a file changed
 * is read again, whichever file it is.
 */
#include "host/fleet_files.h"

#include "test_support.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static char folder[64];

static void write_text(const char *name, const char *text) {
    char path[160];
    snprintf(path, sizeof path, "%s/%s", folder, name);
    FILE *file = fopen(path, "w");
    ck_assert_ptr_nonnull(file);
    ck_assert_int_ge(fputs(text, file), 0);
    ck_assert_int_eq(fclose(file), 0);
}

static void write_system(const char *id, const char *name) {
    char file[60], text[200];
    snprintf(file, sizeof file, "systems/%s.yaml", id);
    snprintf(text, sizeof text,
             "id: %s\nname: %s\nfan: {model: small}\n"
             "points:\n  - {id: suction, quantity: suction, unit: Pa}\n",
             id, name);
    write_text(file, text);
}

static void write_settings(const char *more) {
    char text[300];
    snprintf(text, sizeof text,
             "broker: {host: 127.0.0.1}\nstore: {file: test.db}\noperator_socket: test.sock\n"
             "systems: systems/\nfans: fans/\n%s",
             more);
    write_text("subslabd.yaml", text);
}

static void set_up(void) {
    char path[160];
    strcpy(folder, "/tmp/fleet_files_XXXXXX");
    ck_assert_ptr_nonnull(mkdtemp(folder));
    snprintf(path, sizeof path, "%s/systems", folder);
    ck_assert_int_eq(mkdir(path, 0700), 0);
    snprintf(path, sizeof path, "%s/fans", folder);
    ck_assert_int_eq(mkdir(path, 0700), 0);
    write_settings("");
    write_text("fans/small.yaml", "id: small\ncurve: [[0 cfm, 300 Pa], [100 cfm, 0 Pa]]\n");
    write_system("a", "Ash");
    write_system("b", "Birch");
    write_system("c", "Cedar");
}

static void tear_down(void) {
    char command[100];
    snprintf(command, sizeof command, "rm -r '%s'", folder);
    ck_assert_int_eq(system(command), 0);
}

static void let_it_settle(void) {
    usleep(1100 * 1000);
}

static struct fleet *load(const struct fleet *former) {
    struct settings_errors errors = {0};
    char path[160];
    snprintf(path, sizeof path, "%s/subslabd.yaml", folder);
    struct fleet *fleet = fleet_files_load(path, former, &errors);
    ck_assert_msg(fleet != NULL, "%s", errors.count ? errors.lines[0] : "no fleet");
    settings_errors_free(&errors);
    return fleet;
}

static const struct system_description *about(const struct fleet *fleet, const char *id) {
    size_t system = fleet_find_system(fleet, id);
    return system == FLEET_NONE ? NULL : fleet->systems[system].description;
}

START_TEST(one_changed_file_is_read_and_the_others_are_shared) {
    let_it_settle();
    struct fleet *first = load(NULL);
    write_system("b", "Beech");
    write_system("aa", "Alder");
    struct fleet *second = load(first);
    ck_assert_ptr_eq(second->settings, first->settings);
    ck_assert_ptr_eq(about(second, "a"), about(first, "a"));
    ck_assert_ptr_eq(about(second, "c"), about(first, "c"));
    ck_assert_str_eq(about(second, "b")->name, "Beech");
    ck_assert_str_eq(about(second, "aa")->name, "Alder");
    ck_assert_str_eq(about(first, "b")->name, "Birch");
    fleet_destroy(first);
    ck_assert_str_eq(about(second, "a")->name, "Ash");
    ck_assert_ptr_nonnull(about(second, "a")->branches[0].fan.curve);
    let_it_settle();
    struct fleet *third = load(second);
    fleet_destroy(second);
    ck_assert_str_eq(about(third, "b")->name, "Beech");
    fleet_destroy(third);
}
END_TEST

/* A change of the same length within the second of the first, which a coarse clock cannot tell. */
START_TEST(what_changed_lately_is_always_read) {
    struct fleet *first = load(NULL);
    struct fleet *second = load(first);
    ck_assert_ptr_ne(about(second, "a"), about(first, "a"));
    ck_assert_ptr_ne(second->settings, first->settings);
    fleet_destroy(first);
    fleet_destroy(second);
}
END_TEST

START_TEST(other_settings_or_fans_read_all_again) {
    static const char *const changed[] = {"settings", "fan", "new fan"};
    for (size_t i = 0; i < sizeof changed / sizeof changed[0]; i++) {
        let_it_settle();
        struct fleet *first = load(NULL);
        if (i == 0)
            write_settings("units: si\n");
        else
            write_text(i == 1 ? "fans/small.yaml" : "fans/other.yaml",
                       i == 1 ? "id: small\ncurve: [[0 cfm, 250 Pa], [90 cfm, 0 Pa]]\n"
                              : "id: other\ncurve: [[0 cfm, 300 Pa], [100 cfm, 0 Pa]]\n");
        struct fleet *second = load(first);
        ck_assert_msg(second->settings != first->settings, "%s", changed[i]);
        ck_assert_msg(about(second, "a") != about(first, "a"), "%s", changed[i]);
        fleet_destroy(first);
        fleet_destroy(second);
    }
}
END_TEST

START_TEST(a_file_that_went_is_gone_and_an_error_leaves_the_former_as_it_was) {
    let_it_settle();
    struct fleet *first = load(NULL);
    char path[160];
    snprintf(path, sizeof path, "%s/systems/c.yaml", folder);
    ck_assert_int_eq(unlink(path), 0);
    write_text("systems/b.yaml", "id: b\nnonsense: 1\n");
    struct settings_errors errors = {0};
    snprintf(path, sizeof path, "%s/subslabd.yaml", folder);
    ck_assert_ptr_null(fleet_files_load(path, first, &errors));
    ck_assert_uint_gt(errors.count, 0);
    settings_errors_free(&errors);
    write_system("b", "Birch");
    struct fleet *second = load(first);
    ck_assert_ptr_null(about(second, "c"));
    ck_assert_str_eq(about(first, "c")->name, "Cedar");
    fleet_destroy(first);
    fleet_destroy(second);
}
END_TEST

START_TEST(zones_lie_where_TZDIR_says) {
    char path[160];
    size_t length;
    char *tokyo = test_read_file("/usr/share/zoneinfo/Asia/Tokyo", &length);
    snprintf(path, sizeof path, "%s/Here", folder);
    FILE *file = fopen(path, "wb");
    ck_assert_ptr_nonnull(file);
    ck_assert_uint_eq(fwrite(tokyo, 1, length, file), length);
    ck_assert_int_eq(fclose(file), 0);
    free(tokyo);
    ck_assert_int_eq(unsetenv("TZDIR"), 0);
    ck_assert_ptr_null(fleet_files_zone("Here"));
    ck_assert_int_eq(setenv("TZDIR", folder, 1), 0);
    struct time_zone *here = fleet_files_zone("Here");
    ck_assert_ptr_nonnull(here);
    ck_assert_ptr_null(fleet_files_zone("Asia/Tokyo"));
    time_zone_destroy(here);
    ck_assert_int_eq(setenv("TZDIR", "", 1), 0);
    here = fleet_files_zone("Asia/Tokyo");
    ck_assert_ptr_nonnull(here);
    time_zone_destroy(here);
    ck_assert_int_eq(unsetenv("TZDIR"), 0);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("fleet_files");
    tcase_add_checked_fixture(tcase, set_up, tear_down);
    tcase_set_timeout(tcase, 60);
    tcase_add_test(tcase, one_changed_file_is_read_and_the_others_are_shared);
    tcase_add_test(tcase, what_changed_lately_is_always_read);
    tcase_add_test(tcase, other_settings_or_fans_read_all_again);
    tcase_add_test(tcase, zones_lie_where_TZDIR_says);
    tcase_add_test(tcase, a_file_that_went_is_gone_and_an_error_leaves_the_former_as_it_was);
    return run_test_case(tcase);
}
