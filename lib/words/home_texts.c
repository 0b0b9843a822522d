#include "words/home_texts.h"

#include "words/wording_texts.h"

const char *home_text(size_t language, enum home_text text) {
    return wording_languages[language].texts->home[text];
}

size_t home_text_languages(void) {
    return wording_language_count;
}
