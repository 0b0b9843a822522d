#include "words/page_texts.h"

#include "words/wording_texts.h"

#include <string.h>

const char *page_text(size_t language, enum page_text text) {
    return wording_languages[language].texts->page[text];
}

const char *page_text_of(size_t language, const char *english) {
    for (int text = 0; language != WORDING_ENGLISH && english && text < PAGE_TEXT_COUNT; text++)
        if (strcmp(page_text(WORDING_ENGLISH, (enum page_text)text), english) == 0)
            return page_text(language, (enum page_text)text);
    return english;
}
