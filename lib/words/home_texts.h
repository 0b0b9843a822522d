/*
 * home_texts: what a homeowner's link says, in each language. Pure.
 */
#ifndef WORDS_HOME_TEXTS_H
#define WORDS_HOME_TEXTS_H

#include "words/home_text_names.h"

#include <stddef.h>

/** In a language of `wording_languages`. Never NULL. */
const char *home_text(size_t language, enum home_text text);
/** How many languages there are. */
size_t home_text_languages(void);

#endif
