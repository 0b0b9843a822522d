/*
 * letter_text_names: what the papers of an owner (the year's letter, the sheet at
 * the fan) say besides home_text_names, by name; the
 * texts are `letter.NAME` in the files language_CODE.txt. Plain words; {a}, {b} and {c} are filled
 * by whoever writes the text.
 */
#ifndef WORDS_LETTER_TEXT_NAMES_H
#define WORDS_LETTER_TEXT_NAMES_H

enum letter_text {
    LETTER_TITLE,        /* {a}: year */
    LETTER_TITLE_SO_FAR, /* {a}: year, {b}: day */
    LETTER_THE_MONITOR,
    LETTER_MONITOR,       /* {a}: number */
    LETTER_RADON_MEAN,    /* {a} monitor, {b} mean, {c} coverage */
    LETTER_RADON_BETWEEN, /* {a} and {b} */
    LETTER_RADON_BELOW,   /* {a}: action level */
    LETTER_RADON_NEAR,    /* {a} */
    LETTER_RADON_ABOVE,   /* {a} */
    LETTER_RADON_TOO_FEW, /* {a} monitor, {b} coverage */
    LETTER_RADON_PART,    /* the time was not a whole year */
    LETTER_PULL_MEAN,     /* {a} mean, {b} at set-up */
    LETTER_PULL_TOO_FEW,
    LETTER_PULL_BY_HAND,  /* {a}: how many readings, {b}: the last, {c}: its day */
    LETTER_PULL_AT_START, /* {a} */
    LETTER_PULL_NOT_READ,
    LETTER_SHARE_TITLE,
    LETTER_SHARE,         /* {a}: percent */
    LETTER_SHARE_UNKNOWN, /* {a}: percent */
    LETTER_OUTAGES,       /* {a}: how many, {b}: days of the longest */
    LETTER_NO_OUTAGE,
    LETTER_SHARE_BY_HAND, /* nobody knows what was between two readings */
    LETTER_NOT_SET_UP,
    LETTER_HAPPENED,
    LETTER_NOTHING_HAPPENED,
    LETTER_MORE, /* {a} */
    LETTER_DONE,
    LETTER_NOTHING_DONE,
    LETTER_VISIT,   /* {a}: day */
    LETTER_NEW_FAN, /* {a}: day */
    LETTER_NO_TEST,
    LETTER_TEST, /* {a} value, {b} to {c} */
    LETTER_NEXT,
    LETTER_NEXT_TEST,      /* {a}: day */
    LETTER_NEXT_TEST_LATE, /* {a}: day */
    LETTER_NEXT_VISIT,     /* {a}: day */
    LETTER_NEXT_NOTHING,
    LETTER_KEEP_IN_MIND,
    LETTER_BACK_DRAFT_NONE,
    LETTER_BACK_DRAFT_PASSED,
    LETTER_BACK_DRAFT_FAILED,
    /* the sheet that stays at the fan */
    LETTER_SHEET_TITLE, /* {a}: name */
    LETTER_SHEET_TUBE_TITLE,
    LETTER_SHEET_TUBE, /* {a} at set-up, {b} low and {c} high limit */
    LETTER_SHEET_LEVEL,
    LETTER_SHEET_SET_UP,
    LETTER_SHEET_SHOWS_NOT,
    LETTER_SHEET_ON,
    LETTER_SHEET_WIRES,
    LETTER_SHEET_CHANGES,
    LETTER_SHEET_TEST,
    LETTER_TEXT_COUNT
};

#endif
