/*
 * entry: a form that keeps what was typed and says beside each field what is wrong with it. The
 * same form is shown empty, and again after a refusal. Words are its caller's, in any language.
 */
#ifndef DAEMON_PAGE_ENTRY_H
#define DAEMON_PAGE_ENTRY_H

#include "page/form.h"
#include "page/view_words.h"
#include "words/complaint.h"
#include "words/home_texts.h"

enum { ENTRY_WRONG_MAX = 40, ENTRY_NAME_SIZE = 80, ENTRY_KEY_SIZE = 200 };

struct entry {
    struct page_view *view;        /* borrowed */
    const struct page_form *typed; /* borrowed; NULL: nothing yet */
    const char *behind; /* borrowed: ends the ids of fields where a page has several such forms */
    struct {
        char name[ENTRY_NAME_SIZE]; /* of the field; "": of the form as a whole */
        char why[COMPLAINT_BYTES];
    } wrong[ENTRY_WRONG_MAX];
    size_t wrong_count;
};

/** Says what is wrong with a field, or with "" the form as a whole, in the reader's language also
    where `why` is English (complaint.h); the first to say so of a field stays. */
void entry_wrong(struct entry *entry, const char *name, const char *why);
/** The same of a line that the settings or the API refuse it for, "LABEL:LINE: key: what" or
    "key: what": of the field that is called as the key where that is one of `names`. */
void entry_complain(struct entry *entry, const char *line, const char *const *names, size_t count);
/** Of such a line the key, and where the rest begins; *key is "" where the line has another form.
 */
const char *entry_error_key(const char *line, char key[ENTRY_KEY_SIZE]);
/** Each line that the API refused something for. */
void entry_each_refusal(const struct page_view *view, const struct web_answer *refused,
                        void (*take)(void *context, const char *line), void *context);
/** entry_complain of each of them. */
void entry_refused(struct entry *entry, const struct web_answer *refused, const char *const *names,
                   size_t count);
/** What is wrong with the form as a whole, NULL: nothing. */
const char *entry_whole(const struct entry *entry);
/** The same in the words of the home sheets. */
void entry_wrong_home(struct entry *entry, const char *name, enum home_text why);
/** False after saying of each that is empty that it is missing. */
bool entry_has(struct entry *entry, const char *const *names, size_t count);
/** Above the fields: that nothing was changed, and why; nothing when nothing is wrong. */
void entry_summary(const struct entry *entry);
/** What was typed, else `otherwise`. Never NULL. */
const char *entry_value(const struct entry *entry, const char *name, const char *otherwise);

/** Begins and ends a sheet that is a form come back, with what is wrong above it. */
void entry_begin_again(const struct entry *entry, size_t system, enum page_text title);
void entry_end_again(const struct entry *entry, size_t system, int status);

/** One field. What is NULL is left out. */
struct entry_field {
    const char *name, *label;
    const char *hint;      /* below the label */
    const char *type;      /* of the input; NULL: text */
    const char *otherwise; /* shown where nothing was typed */
    const char *mode;      /* inputmode: "decimal" */
    const char *most;      /* maxlength */
    bool needed;
};
void entry_input(struct entry *entry, const struct entry_field *field);
/** The same as a text of several lines. */
void entry_text(struct entry *entry, const struct entry_field *field);

/** One of several words, as radio buttons; their texts may be any HTML-free words. */
struct entry_choice {
    const char *word, *text;
};
void entry_choices(struct entry *entry, const struct entry_field *field,
                   const struct entry_choice *choices, size_t count);
/** One of many words, as a list that opens that shows their texts; "" among them stands for none.
 */
void entry_select(struct entry *entry, const struct entry_field *field, const char *const *words,
                  const char *const *texts, size_t count);
/** A box to tick. */
void entry_box(struct entry *entry, const struct entry_field *field);

/** For how long ("until", a span out of `words`, `otherwise` at first) and why ("why"). */
void entry_for_a_while(struct entry *entry, const char *otherwise, const char *const *words,
                       const char *const *texts, size_t count);

/** What a work changed, as boxes to tick: "changed-fan" and so on. */
void entry_changes(struct entry *entry, enum page_text legend);
/** What was typed of the points of a system in fields called "value-POINT": {point: "0.62 inH2O"}.
 */
json_t *entry_values(const struct entry *entry, size_t system);
/** The field that a key of a record is about: "value-riser" of "points.riser" or "values.riser",
    "changed-fan" of "changed"; "" where none of them. Returns name. */
const char *entry_record_field(const char *key, char name[ENTRY_NAME_SIZE]);

/** A fan model: one of the folder of models where the settings name one, else any. */
void entry_fan_model(struct entry *entry, const char *name);
/** Hidden: the units in which numbers without one are read, those of the form when it was made; */
void entry_units(const struct entry *entry);
/** and the view in them, for what was typed. */
void entry_take_units(const struct entry *entry);

#endif
