/* Every .txt in tests/scenario is one check: a script run through the real pipeline on a virtual
   clock. SCENARIO=PART runs only files whose name contains PART. */
#include "scenario_play.h"

#include <glob.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static glob_t files;

START_TEST(scenario) {
    play_file(files.gl_pathv[_i]);
}
END_TEST

/* A scenario that fails leaves its folder: all of them stand in one that goes in the end. */
static void make_room(char *folder, size_t size) {
    const char *base = getenv("TMPDIR");
    /* In memory where that can be had: thousands of commits need no disk to be judged. */
    const char *shared = access("/dev/shm", W_OK) == 0 ? "/dev/shm" : "/tmp";
    snprintf(folder, size, "%s/scenarios-XXXXXX", base ? base : shared);
    if (!mkdtemp(folder) || setenv("TMPDIR", folder, 1) != 0) {
        perror(folder);
        exit(EXIT_FAILURE);
    }
}

int main(void) {
    char room[200];
    const char *part = getenv("SCENARIO");
    char pattern[600];
    snprintf(pattern, sizeof pattern, "%s/tests/scenario/*%s*.txt", SOURCE_DIR, part ? part : "");
    if (glob(pattern, 0, NULL, &files) != 0) {
        printf("no scenario matches %s\n0 passed, 1 failed\n", pattern);
        return EXIT_FAILURE;
    }
    make_room(room, sizeof room);
    TCase *tcase = tcase_create("scenarios");
    tcase_add_loop_test(tcase, scenario, 0, (int)files.gl_pathc);
    int status = run_test_case(tcase);
    globfree(&files);
    world_remove_folder(room);
    return status;
}
