#include "words/home_report.h"

#include <string.h>

static const char *const words[HOME_REPORT_COUNT] = {
    [HOME_REPORT_U_TUBE] = "u-tube",
    [HOME_REPORT_RADON_TEST] = "radon-test",
    [HOME_REPORT_SOUNDS_DIFFERENT] = "sounds-different",
    [HOME_REPORT_OFF] = "off",
};

const char *home_report_word(enum home_report report) {
    return words[report];
}

bool home_report_find(const char *word, enum home_report *report) {
    for (int i = 0; i < HOME_REPORT_COUNT; i++) {
        if (strcmp(words[i], word) == 0) {
            *report = (enum home_report)i;
            return true;
        }
    }
    return false;
}
