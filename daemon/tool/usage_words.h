/*
 * usage_words: what stands for the words of usages ("SYSTEM", "FILE.csv"). A command whose usage
 * has a new word adds a row here; tests ask for one of each.
 */
#ifndef DAEMON_TOOL_USAGE_WORDS_H
#define DAEMON_TOOL_USAGE_WORDS_H

enum usage_kind {
    USAGE_FREE,     /* whatever people write: nothing can be offered */
    USAGE_FILES,    /* a file or folder */
    USAGE_STATUSES, /* a status of systems */
    USAGE_CHANGES,  /* what work changed */
    USAGE_IDS       /* what a list of the daemon holds */
};

struct usage_meaning {
    const char *word;
    enum usage_kind kind;
    const char *path;        /* of ids: the list; "*" stands for the system that was named before */
    const char *within;      /* the key of the list in that answer; NULL: the answer is the list */
    const char *key, *about; /* of an item: its id, and a text about it or NULL */
};

/** NULL: the word is not known. */
const struct usage_meaning *usage_meaning(const char *word);

#endif
