/*
 * complaint: why something that was typed is refused, in the language of who typed it. The settings
 * and the API answer in English, for programs and logs; a page finds their sentence among the texts
 * `complaints.NAME` of the English file and says it in another language. There is one English text:
 * the code takes it from there too (SAY_NAME in complaints.h). Pure.
 */
#ifndef WORDS_COMPLAINT_H
#define WORDS_COMPLAINT_H

#include <stddef.h>

#define COMPLAINT_BYTES 600

/**
 * What `english` is in a language of `wording_languages`; its parts alike, as are the texts of the
 * pages and the names of quantities. What no file has stays as it is. Returns text.
 */
const char *complaint_text(char text[COMPLAINT_BYTES], size_t language, const char *english);

#endif
