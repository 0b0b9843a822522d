#include "words/complaint.h"

#include "measure/quantity.h"
#include "words/fill.h"
#include "words/page_texts.h"
#include "words/wording_texts.h"

#include <stdbool.h>
#include <stdio.h>
#include <string.h>

/* A sentence holds parts, of which some hold parts. */
enum { PARTS_MOST = 3, DEPTH_MOST = 4 };

struct complaint_part {
    const char *from;
    size_t length;
};

/* Is a sentence of this form? Then which parts stand at its places. */
static bool fits(const char *form, const char *sentence, struct complaint_part parts[PARTS_MOST]) {
    const char *end = sentence + strlen(sentence);
    size_t before = strcspn(form, "{");
    if (strncmp(form, sentence, before) != 0)
        return false;
    form += before;
    sentence += before;
    while (*form) {
        struct complaint_part *part = &parts[form[1] - 'a'];
        const char *behind = form + 3;
        size_t length = strcspn(behind, "{"), rest = (size_t)(end - sentence);
        const char *from = behind[length] || rest < length ? sentence : end - length;
        const char *at = memmem(from, (size_t)(end - from), behind, length);
        if (!at)
            return false;
        *part = (struct complaint_part){sentence, (size_t)(at - sentence)};
        sentence = at + length;
        form = behind + length;
    }
    return sentence == end;
}

/* The first that it fits: in the file, what fits many stands last. */
static enum complaint find(const char *sentence, struct complaint_part parts[PARTS_MOST]) {
    int i = 0;
    while (i < COMPLAINT_COUNT &&
           !fits(wording_languages[WORDING_ENGLISH].texts->complaints[i], sentence, parts))
        i++;
    return (enum complaint)i;
}

static const char *alone(size_t language, const char *english) {
    enum quantity quantity;
    return quantity_find(english, &quantity)
               ? wording_languages[language].texts->quantities[quantity]
               : page_text_of(language, english);
}

static void say(char text[COMPLAINT_BYTES], size_t language, const char *english, int depth) {
    struct complaint_part parts[PARTS_MOST] = {0};
    char said[PARTS_MOST][COMPLAINT_BYTES];
    enum complaint found = depth < DEPTH_MOST ? find(english, parts) : COMPLAINT_COUNT;
    if (found == COMPLAINT_COUNT) {
        snprintf(text, COMPLAINT_BYTES, "%s", alone(language, english));
        return;
    }
    for (size_t i = 0; i < PARTS_MOST; i++) {
        char part[COMPLAINT_BYTES];
        snprintf(part, sizeof part, "%.*s", (int)parts[i].length,
                 parts[i].length ? parts[i].from : "");
        say(said[i], language, part, depth + 1);
    }
    const char *const values[PARTS_MOST] = {said[0], said[1], said[2]};
    fill_places(text, COMPLAINT_BYTES, wording_languages[language].texts->complaints[found],
                values);
}

const char *complaint_text(char text[COMPLAINT_BYTES], size_t language, const char *english) {
    if (language == WORDING_ENGLISH)
        snprintf(text, COMPLAINT_BYTES, "%s", english);
    else
        say(text, language, english, 0);
    return text;
}
