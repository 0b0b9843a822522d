/*
 * web: a request to whom it belongs: the page, or the API.
 */
#ifndef DAEMON_WEB_H
#define DAEMON_WEB_H

#include "link/web_server.h"

/** Answers one request (context is a struct api). */
web_handler web_handle;

#endif
