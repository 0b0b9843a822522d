/*
 * home_text_names: what a homeowner's link says besides the messages about alarms, by name; the
 * texts are `home.NAME` in the files language_CODE.txt. Plain words, as in the messages: no name,
 * number or note of the trade. {a}, {b} and {c} are filled by whoever writes the text.
 */
#ifndef WORDS_HOME_TEXT_NAMES_H
#define WORDS_HOME_TEXT_NAMES_H

enum home_text {
    /* around the sheet */
    HOME_SKIP,
    HOME_AS_OF,
    HOME_UNITS,
    HOME_UNITS_US,
    HOME_UNITS_SI,
    HOME_TO_US,
    HOME_TO_SI,
    HOME_LANGUAGE,
    HOME_LANGUAGE_NAME, /* of itself: "English" */
    HOME_OLD,           /* nothing new comes in since {a} */
    HOME_OLD_CLOCK,
    HOME_OLD_STORE,
    HOME_BACK,
    /* what is wrong with a request: title, then sentence */
    HOME_GONE_TITLE,
    HOME_GONE,
    HOME_NOTHING_TITLE,
    HOME_NOTHING,
    HOME_BUSY_TITLE,
    HOME_BUSY,
    HOME_BUSY_FORM,
    HOME_METHOD_TITLE,
    HOME_METHOD,
    HOME_FOREIGN_TITLE,
    HOME_FOREIGN,
    HOME_NO_FORM_TITLE,
    HOME_NO_FORM,
    /* how it stands */
    HOME_RECORD_OF, /* {a}: name */
    HOME_MADE_ON,
    HOME_PRINT,
    HOME_TO_RECORD,
    HOME_IN_SPEC,
    HOME_DRIFTING,
    HOME_OUT_OF_SPEC,
    HOME_NOT_HEARD, /* {a}: since when */
    HOME_NEVER_HEARD,
    HOME_OUT_OF_SERVICE, /* {a}: until when */
    HOME_CALL,           /* {a}: name and number */
    HOME_NOW,
    HOME_NOTHING_WRONG,
    /* the pull */
    HOME_PULL,
    HOME_PULL_MEANS,
    HOME_PIPE, /* {a}: number */
    HOME_READS_NOW,
    HOME_SENSOR_AT, /* {a}: when */
    HOME_HAND_AT,   /* {a}: when */
    HOME_AT_SET_UP,
    HOME_SHARE_OF_SET_UP, /* {a}: percent */
    HOME_NO_SET_UP,
    HOME_NO_READING,
    HOME_NEXT_READING, /* {a}: day */
    HOME_READING_DUE,
    HOME_BY_HAND,
    HOME_NO_PULL,
    /* radon */
    HOME_RADON,
    HOME_LEVEL,   /* {a}: action level */
    HOME_MONITOR, /* {a}: number */
    HOME_SPAN,
    HOME_MEAN,
    HOME_BETWEEN,
    HOME_COVERED,
    HOME_BETWEEN_VALUES, /* {a} and {b} */
    HOME_TOO_FEW,
    HOME_YEAR,         /* {a} mean, {b} and {c} bounds */
    HOME_YEAR_CHANCE,  /* {a}: chance */
    HOME_YEAR_SEASONS, /* {a} of 4 quarters */
    HOME_NO_MONITOR,
    /* tests */
    HOME_TESTS,
    HOME_NO_TEST,
    HOME_TEST_DAYS, /* {a} to {b} */
    HOME_TEST_SHORT,
    HOME_TEST_LONG,
    HOME_TEST_CLOSED,
    HOME_TEST_YOURS,
    HOME_MONITOR_READ, /* {a} monitor, {b} value */
    HOME_AGREES,
    HOME_DISAGREES,
    HOME_MONITOR_TOO_FEW, /* {a} monitor */
    HOME_THE_MONITOR,
    /* what happened */
    HOME_HAPPENED,
    HOME_SET_UP,       /* {a}: day */
    HOME_RADON_BEFORE, /* {a} */
    HOME_RADON_AFTER,  /* {a} */
    HOME_NO_RECORD,
    HOME_VISITS,
    HOME_VISITED,
    HOME_NO_VISIT,
    HOME_PAST,
    HOME_NO_PAST,
    HOME_STILL,   /* behind what still stands */
    HOME_FROM_TO, /* {a} to {b} */
    /* what it is worth, cautions */
    HOME_WORTH,
    HOME_WORTH_SHOWS,
    HOME_WORTH_NOT,
    HOME_CAUTION_RISK,
    HOME_CAUTION_ALARM,
    HOME_CAUTION_LEAVE,
    HOME_CAUTION_CODES,
    /* what a household can send */
    HOME_SEND,
    HOME_SEND_U_TUBE,
    HOME_SEND_TEST,
    HOME_SEND_FAN,
    HOME_SENT, /* after it was noted */
    HOME_SENT_BEFORE,
    HOME_SENT_U_TUBE,
    HOME_SENT_TEST,
    HOME_SENT_SOUNDS,
    HOME_SENT_OFF,
    HOME_SUBMIT,
    HOME_REFUSED, /* above a form that was not taken */
    HOME_TOO_MUCH,
    HOME_CLOCK_WRONG,
    HOME_STORE_FAILS,
    /* the U-tube */
    HOME_TUBE_TITLE,
    HOME_TUBE_HOW_1,
    HOME_TUBE_HOW_2,
    HOME_TUBE_HOW_3,
    HOME_TUBE_CAUTION,
    HOME_TUBE_DRAWING,
    HOME_TUBE_MIDDLE_CAPTION,
    HOME_TUBE_BOTTOM_CAPTION,
    HOME_TUBE_SIDES,
    HOME_TUBE_LEFT,
    HOME_TUBE_RIGHT,
    HOME_TUBE_ZERO,
    HOME_TUBE_ZERO_MIDDLE,
    HOME_TUBE_ZERO_BOTTOM,
    HOME_TUBE_OR,
    HOME_TUBE_DIFFERENCE,
    HOME_TUBE_IN, /* {a}: unit */
    HOME_TUBE_WHICH,
    HOME_TUBE_DAY,
    HOME_TUBE_SURE,
    HOME_WRONG_NUMBER, /* {a}: unit */
    HOME_WRONG_BOTH,
    HOME_WRONG_ZERO,
    HOME_WRONG_NOTHING,
    HOME_WRONG_TWO_WAYS,
    HOME_WRONG_IMPOSSIBLE,
    HOME_WRONG_DAY,
    HOME_WRONG_AHEAD,
    HOME_WRONG_THAT_DAY,
    HOME_WRONG_OLD,
    HOME_WRONG_UNSURE, /* {a}: what it gives; {b}: at set-up */
    HOME_WRONG_CHOICE,
    HOME_WRONG_MISSING,
    HOME_WRONG_LONG,
    /* a test's result */
    HOME_TEST_TITLE,
    HOME_TEST_INTRO,
    HOME_TEST_FROM,
    HOME_TEST_TO,
    HOME_TEST_VALUE,
    HOME_TEST_VALUE_HINT,
    HOME_TEST_UNCERTAINTY,
    HOME_TEST_UNCERTAINTY_HINT,
    HOME_TEST_PLACE,
    HOME_TEST_PLACE_HINT,
    HOME_TEST_DEVICE,
    HOME_TEST_DEVICE_HINT,
    HOME_TEST_KIND,
    HOME_TEST_KIND_BY_DAYS,
    HOME_TEST_CLOSED_QUESTION,
    HOME_YES,
    HOME_NO,
    HOME_UNKNOWN,
    HOME_WRONG_VALUE,
    HOME_WRONG_UNCERTAINTY,
    HOME_WRONG_TURNED,
    HOME_WRONG_TOO_LONG,
    /* the fan */
    HOME_FAN_TITLE,
    HOME_FAN_INTRO,
    HOME_FAN_WHAT,
    HOME_FAN_SOUNDS,
    HOME_FAN_OFF,
    HOME_FAN_NOTE,
    HOME_FAN_LOOK,
    /* to the trade, about what a household sent */
    HOME_REPORT_SUBJECT, /* before the name of the house */
    HOME_REPORT_SAYS,
    HOME_REPORT_DO,
    HOME_REPORT_DO_TEST,
    HOME_TEXT_COUNT
};

#endif
