#include "tell/contact_secrets.h"

#include "host/fleet_files.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void wipe(char *text) {
    if (text)
        explicit_bzero(text, strlen(text));
    free(text);
}

static bool read_key(struct contact_secrets *secrets, const struct settings_contact *contact,
                     char *why, size_t why_size) {
    if (!contact->signing_secret_file)
        return true;
    char *text = fleet_files_secret(contact->signing_secret_file, why, why_size);
    if (!text)
        return false;
    secrets->signs = signing_key_parse(text, &secrets->key);
    wipe(text);
    if (!secrets->signs)
        snprintf(why, why_size,
                 "%s: is not a signing secret; allowed: whsec_ and base64 of 24 to 64 bytes",
                 contact->signing_secret_file);
    return secrets->signs;
}

static bool read_headers(struct contact_secrets *secrets, const struct settings_contact *contact,
                         char *why, size_t why_size) {
    secrets->header_values = calloc(contact->header_count + 1, sizeof(char *));
    if (!secrets->header_values)
        return false;
    secrets->header_count = contact->header_count;
    for (size_t i = 0; i < contact->header_count; i++) {
        const struct settings_header *header = &contact->headers[i];
        secrets->header_values[i] = header->value_file
                                        ? fleet_files_secret(header->value_file, why, why_size)
                                        : strdup(header->value);
        if (!secrets->header_values[i])
            return false;
    }
    return true;
}

bool contact_secrets_open(struct contact_secrets *secrets, const struct settings_contact *contact,
                          char *why, size_t why_size) {
    *secrets = (struct contact_secrets){0};
    snprintf(why, why_size, "out of memory");
    return read_key(secrets, contact, why, why_size) &&
           read_headers(secrets, contact, why, why_size);
}

void contact_secrets_close(struct contact_secrets *secrets) {
    signing_key_clear(&secrets->key);
    for (size_t i = 0; i < secrets->header_count; i++)
        wipe(secrets->header_values[i]);
    free(secrets->header_values);
}
