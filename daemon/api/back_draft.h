/*
 * back_draft: what is on record of the back-draft test of a house's combustion appliances.
 */
#ifndef DAEMON_API_BACK_DRAFT_H
#define DAEMON_API_BACK_DRAFT_H

#include "api/context.h"
#include "words/letter_texts.h"

/** What papers say of it, by the newest record that was measured; LETTER_TEXT_COUNT: there is no
 * such appliance, and nothing is to be said. */
enum letter_text back_draft_text(const struct api *api, size_t system);

#endif
