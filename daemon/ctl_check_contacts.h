/*
 * ctl_check_contacts: the files of secrets that settings name, and the templates of contacts.
 */
#ifndef DAEMON_CTL_CHECK_CONTACTS_H
#define DAEMON_CTL_CHECK_CONTACTS_H

#include "settings/settings.h"

/** Adds an error "FILE:LINE: key: …" for each secret or template that would not work. */
void ctl_check_contacts(const struct settings *settings, struct settings_errors *errors);

#endif
