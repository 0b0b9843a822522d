/*
 * home_report: what a household can send by the link of its house. Pure.
 */
#ifndef WORDS_HOME_REPORT_H
#define WORDS_HOME_REPORT_H

#include <stdbool.h>

enum home_report {
    HOME_REPORT_U_TUBE,
    HOME_REPORT_RADON_TEST,
    HOME_REPORT_SOUNDS_DIFFERENT,
    HOME_REPORT_OFF,
    HOME_REPORT_COUNT
};

/** "u-tube", "radon-test", "sounds-different", "off": in addresses, JSON and the store. */
const char *home_report_word(enum home_report report);
bool home_report_find(const char *word, enum home_report *report);

#endif
