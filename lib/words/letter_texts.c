#include "words/letter_texts.h"

#include "words/wording_texts.h"

const char *letter_text(size_t language, enum letter_text text) {
    return wording_languages[language].texts->letter[text];
}
