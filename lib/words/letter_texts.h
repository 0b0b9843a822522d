/*
 * letter_texts: what the year's letter says, in each language. Pure.
 */
#ifndef WORDS_LETTER_TEXTS_H
#define WORDS_LETTER_TEXTS_H

#include "words/letter_text_names.h"

#include <stddef.h>

/** In a language of `wording_languages`. Never NULL. */
const char *letter_text(size_t language, enum letter_text text);

#endif
