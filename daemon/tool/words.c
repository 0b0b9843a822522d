#include "tool/words.h"

#include "alarm/condition.h"
#include "measure/quantity.h"
#include "tool/text.h"
#include "words/text_buffer.h"
#include "words/wording_texts.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

enum { VALUES_MOST = 8 };

const char *ctl_words(const struct ctl *ctl, enum page_text text) {
    return page_text(ctl->language, text);
}

const char *ctl_words_of(const struct ctl *ctl, const char *english) {
    return page_text_of(ctl->language, english);
}

const char *ctl_word_text(const struct ctl *ctl, const struct ctl_word *table, size_t count,
                          const char *word) {
    for (size_t i = 0; i < count; i++) {
        if (strcmp(table[i].word, word) == 0)
            return ctl_words(ctl, table[i].text);
    }
    return word;
}

const char *ctl_condition(const struct ctl *ctl, const char *word) {
    enum condition condition;
    return ctl->language != WORDING_ENGLISH && condition_find(word, &condition)
               ? wording_languages[ctl->language].texts->conditions[condition].subject
               : word;
}

const char *ctl_quantity(const struct ctl *ctl, const char *word) {
    enum quantity quantity;
    return ctl->language != WORDING_ENGLISH && quantity_find(word, &quantity)
               ? wording_languages[ctl->language].texts->quantities[quantity]
               : word;
}

const char *ctl_cause(char room[EVIDENCE_CLAIM_BYTES], const struct ctl *ctl, const char *word) {
    return ctl->language != WORDING_ENGLISH ? evidence_claim_text(room, ctl->language, word) : word;
}

char *ctl_filled_list(const struct ctl *ctl, enum page_text text, va_list values) {
    const char *given[VALUES_MOST], *at = ctl_words(ctl, text), *open;
    struct text_buffer out = {0};
    size_t count = 0;
    while (count < VALUES_MOST && (given[count] = va_arg(values, const char *)))
        count++;
    for (; (open = strchr(at, '{')); at = open + 3) {
        size_t place = (size_t)(open[1] - 'a');
        text_buffer_add_bytes(&out, at, (size_t)(open - at));
        text_buffer_add(&out, place < count ? given[place] : "");
    }
    text_buffer_add(&out, at);
    return text_buffer_take(&out);
}

char *ctl_filled(const struct ctl *ctl, enum page_text text, ...) {
    va_list values;
    va_start(values, text);
    char *filled = ctl_filled_list(ctl, text, values);
    va_end(values);
    return filled;
}

void ctl_tell(const struct ctl *ctl, enum page_text text, ...) {
    va_list values;
    va_start(values, text);
    char *filled = ctl_filled_list(ctl, text, values);
    va_end(values);
    ctl_text_put(stdout, filled ? filled : "");
    free(filled);
}

void ctl_tell_all(const struct ctl *ctl, const char *indent, enum page_text text, ...) {
    va_list values;
    va_start(values, text);
    char *filled = ctl_filled_list(ctl, text, values);
    va_end(values);
    ctl_text_say(stdout, "", indent, "%s", filled ? filled : "");
    free(filled);
}

bool ctl_is_yes(const struct ctl *ctl, const char *answer) {
    const char *yes = ctl_words(ctl, PAGE_TOOL_YES_LETTER);
    return strncasecmp(answer, yes, strlen(yes)) == 0;
}

char *ctl_count_text(char text[24], long long number) {
    snprintf(text, 24, "%lld", number);
    return text;
}
