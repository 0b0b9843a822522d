/*
 * page_texts: what the contractor's sheets and the operator's tool say, in each language. Pure.
 */
#ifndef WORDS_PAGE_TEXTS_H
#define WORDS_PAGE_TEXTS_H

#include "words/page_text_names.h"

#include <stddef.h>

/** In a language of `wording_languages`. Never NULL. */
const char *page_text(size_t language, enum page_text text);

/**
 * A text that was made in English (why something is not known, a status, why a change was refused),
 * as another language says it; `english` itself where no language's file has it.
 */
const char *page_text_of(size_t language, const char *english);

#endif
