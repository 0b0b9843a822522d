/*
 * checked_text: is a text fit for the place where it will be used? Each check returns NULL when it
 * is, else what is wrong and what is allowed, to be put behind the text: "is not an id; allowed:
 * …". Everything that later goes into a header, an address, a topic or a file name passes here, so
 * that no line break or escape reaches those places. Pure.
 */
#ifndef SETTINGS_CHECKED_TEXT_H
#define SETTINGS_CHECKED_TEXT_H

#include <stdbool.h>
#include <stddef.h>

/** One line for people: 1 to 500 bytes, no control characters (C0, DEL, C1). */
const char *checked_text_line(const char *text);
/** Several lines for people: as above with line breaks and tabs, to 20 000 bytes. */
const char *checked_text_note(const char *text);
/** Of a contact, system, point or client: [A-Za-z0-9][A-Za-z0-9._-]{0,63}. */
const char *checked_text_id(const char *text);
const char *checked_text_file_name(const char *text);
/** A Unix socket: a file name of at most 107 bytes (sun_path of Linux). */
const char *checked_text_socket_name(const char *text);
/** A host name or an IP address, without port. */
const char *checked_text_host(const char *text);
/** The same with a port at will: "broker-3:1884", "[::1]:1884". */
const char *checked_text_host_and_port(const char *text);
/** Splits what that accepted: the length of the host within the text from *from on; its port, 0
    when it has none. */
size_t checked_text_host_of(const char *text, size_t *from, int *port);
/** An IANA time zone name such as America/Denver; whether it exists is not known here. */
const char *checked_text_time_zone(const char *text);
/** A topic to publish on: MQTT 5.0 section 4.7: no wildcard, 1 to 65535 bytes; not beginning "$".
 */
const char *checked_text_topic(const char *text);
/** A topic filter of MQTT 5.0 section 4.7.1; "$share/" and "$SYS/" are not for us. */
const char *checked_text_topic_filter(const char *text);
/** Does a topic filter take a topic (MQTT 5.0 section 4.7.1)? Both are valid. */
bool checked_text_filter_takes(const char *filter, const char *topic);
/** A JSON Pointer (RFC 6901): empty, or beginning with "/"; "~" only as "~0" or "~1". */
const char *checked_text_json_pointer(const char *text);
/** A SenML name (RFC 8428 section 4.5.1). */
const char *checked_text_senml_name(const char *text);
/** A header field name (RFC 9110 section 5.1) that the program doesn't set itself. */
const char *checked_text_header_name(const char *text);
/** A header field value: visible ASCII and single blanks inside. */
const char *checked_text_header_value(const char *text);
/** A path that others stand below: "/radon", "/house/radon"; to 100 bytes. */
const char *checked_text_base(const char *text);
/** An absolute http or https address with a host and without user or password. */
const char *checked_text_url(const char *text);

/** Of an address that checked_text_url accepted: is it https; does it name this machine? */
bool checked_text_url_is_https(const char *url);
bool checked_text_url_is_loopback(const char *url);
/** "localhost", 127.0.0.0/8 in dotted form, "::1". */
bool checked_text_host_is_loopback(const char *host);

#endif
