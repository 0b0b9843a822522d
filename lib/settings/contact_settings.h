/*
 * contact_settings: the list `contacts:` of the settings. Pure.
 */
#ifndef SETTINGS_CONTACT_SETTINGS_H
#define SETTINGS_CONTACT_SETTINGS_H

#include "settings/key_table.h"

/** Reads the list into settings->contacts and checks it as a whole: ids, escalations. */
key_read_function contact_settings_read;

/** Frees what the contact holds. */
void contact_settings_clear(struct settings_contact *contact);

#endif
