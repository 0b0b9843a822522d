/*
 * contact_secrets: what a contact's messages are signed and headed with, read from files; wiped at
 * the end.
 */
#ifndef DAEMON_TELL_CONTACT_SECRETS_H
#define DAEMON_TELL_CONTACT_SECRETS_H

#include "link/signing.h"
#include "settings/settings.h"

#include <stdbool.h>
#include <stddef.h>

struct contact_secrets {
    bool signs;
    struct signing_key key;
    char **header_values; /* in the order of the settings */
    size_t header_count;
};

/** Reads those of a contact; close it in any case. False with a sentence in `why`. */
bool contact_secrets_open(struct contact_secrets *secrets, const struct settings_contact *contact,
                          char *why, size_t why_size);
void contact_secrets_close(struct contact_secrets *secrets);

#endif
