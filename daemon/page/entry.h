/*
 * entry: a form that keeps what was typed and says beside each field what is wrong with it. The
 * same form is shown empty, and again after a refusal. Words are its caller's, in any language.
 */
#ifndef DAEMON_PAGE_ENTRY_H
#define DAEMON_PAGE_ENTRY_H

#include "page/form.h"
#include "page/html.h"
#include "page/view.h"

#define ENTRY_WRONG_MAX 40

struct entry {
    struct html *html;             /* borrowed */
    const struct page_form *typed; /* borrowed; NULL: nothing yet */
    struct {
        const char *name, *why; /* of the field; borrowed */
    } wrong[ENTRY_WRONG_MAX];
    size_t wrong_count;
};

/** Says what is wrong with a field; the first to say so stays. */
void entry_wrong(struct entry *entry, const char *name, const char *why);
/** Above the fields: that nothing was changed, and how many fields are wrong; nothing when none is.
 */
void entry_summary(struct page_view *view, const struct entry *entry);
/** What was typed, else `otherwise`. Never NULL. */
const char *entry_value(const struct entry *entry, const char *name, const char *otherwise);

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

/** A fan model: one of the folder of models where the settings name one, else any. */
void entry_fan_model(const struct page_view *view, struct entry *entry, const char *name);
/** Hidden: the units in which numbers without one are read, those of the form when it was made; */
void entry_units(struct page_view *view, struct entry *entry);
/** and the view in them, for what was typed. */
void entry_take_units(struct page_view *view, const struct entry *entry);

#define ENTRY_KEY_SIZE 200
/**
 * Of an error of a settings file, "LABEL:LINE: key: what", the key, and where the rest begins; *key
 * is "" where the line has another form.
 */
const char *entry_error_key(const char *line, char key[ENTRY_KEY_SIZE]);

#endif
