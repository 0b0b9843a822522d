/*
 * Local time against Python's zoneinfo, an independent reader of the same time zone files: both
 * sides of every change from 1900 to 2101 in zones that are hard in different ways, the first
 * instants of the days around them, and random instants in all zones.
 */
#include "measure/time_zone.h"
#include "test_support.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define ZONE_FOLDER "/usr/share/zoneinfo/"

static struct time_zone *zone; /* of the line before */

static void open_zone(const char *name) {
    if (zone && strcmp(time_zone_name(zone), name) == 0)
        return;
    time_zone_destroy(zone);
    char path[256];
    snprintf(path, sizeof(path), ZONE_FOLDER "%s", name);
    size_t length = 0;
    char *bytes = test_read_file(path, &length);
    zone = time_zone_create(name, bytes, length);
    free(bytes);
    ck_assert_msg(zone != NULL, "%s is not read", name);
}

static void check_offset(const char *name, int64_t time_s, int offset_s, const char *abbreviation) {
    int ours = time_zone_offset_s(zone, time_s * 1000);
    ck_assert_msg(ours == offset_s, "%s at %" PRId64 ": %d, Python %d", name, time_s, ours,
                  offset_s);
    ck_assert_int_eq(time_zone_offset_s(zone, time_s * 1000 + 999), offset_s);
    ck_assert_msg(strcmp(time_zone_abbreviation(zone, time_s * 1000), abbreviation) == 0,
                  "%s at %" PRId64 ": %s, Python %s", name, time_s,
                  time_zone_abbreviation(zone, time_s * 1000), abbreviation);
}

static void check_day(const char *name, int64_t day, int64_t start_s) {
    int64_t ours = time_zone_day_start_ms(zone, day);
    ck_assert_msg(ours == start_s * 1000, "%s day %" PRId64 ": %" PRId64 ", Python %" PRId64 "000",
                  name, day, ours, start_s);
    ck_assert_int_eq(time_zone_local_day(zone, ours), day);
    ck_assert_int_lt(time_zone_local_day(zone, ours - 1), day);
}

START_TEST(local_time_agrees_with_zoneinfo) {
    char command[512], line[256], name[128], abbreviation[64];
    snprintf(command, sizeof(command), "python3 '%s/time_zone_reference.py' %" PRIu64,
             TEST_DATA_DIR, test_seed());
    FILE *python = popen(command, "r"); /* NOLINT: the command is our own */
    ck_assert_ptr_nonnull(python);
    long offsets = 0, days = 0;
    while (fgets(line, sizeof(line), python)) {
        int64_t first = 0, second = 0;
        if (sscanf(line, "offset %127s %" SCNd64 " %" SCNd64 " %63s", name, &first, &second,
                   abbreviation) == 4) {
            open_zone(name);
            check_offset(name, first, (int)second, abbreviation);
            offsets++;
        } else if (sscanf(line, "day %127s %" SCNd64 " %" SCNd64, name, &first, &second) == 3) {
            open_zone(name);
            check_day(name, first, second);
            days++;
        } else {
            ck_abort_msg("not understood: %s", line);
        }
    }
    ck_assert_int_eq(pclose(python), 0);
    time_zone_destroy(zone);
    zone = NULL;
    printf("%ld offsets and %ld days compared\n", offsets, days);
    ck_assert_int_gt(offsets, 10000);
    ck_assert_int_gt(days, 3000);
}
END_TEST

int main(void) {
    TCase *reference = tcase_create("time_zone_reference");
    tcase_add_test(reference, local_time_agrees_with_zoneinfo);
    return run_test_case(reference);
}
