/* Every .txt in tests/scenario is one check: a script run through the real pipeline on a virtual
   clock. SCENARIO=PART runs only files whose name contains PART. */
#include "scenario_play.h"

#include <glob.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static glob_t files;

START_TEST(scenario) {
    play_file(files.gl_pathv[_i]);
}
END_TEST

int main(void) {
    const char *part = getenv("SCENARIO");
    char pattern[600];
    snprintf(pattern, sizeof pattern, "%s/tests/scenario/*%s*.txt", SOURCE_DIR, part ? part : "");
    if (glob(pattern, 0, NULL, &files) != 0) {
        printf("no scenario matches %s\n0 passed, 1 failed\n", pattern);
        return EXIT_FAILURE;
    }
    TCase *tcase = tcase_create("scenarios");
    tcase_add_loop_test(tcase, scenario, 0, (int)files.gl_pathc);
    int status = run_test_case(tcase);
    globfree(&files);
    return status;
}
