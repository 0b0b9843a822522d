/*
 * broker_reason: what a code from the broker means, in words for people. Codes of MQTT 5.0 (OASIS
 * Standard, 7 March 2019, section 2.4), most by the names that they have there (libmosquitto knows
 * them), and return codes of MQTT 3.1.1 (OASIS Standard, 29 October 2014, table 3.1 and section
 * 3.9.3).
 */
#ifndef LINK_BROKER_REASON_H
#define LINK_BROKER_REASON_H

#include <stddef.h>

/** A refused CONNECT: "bad user name or password". `protocol` is 4 or 5. A literal. */
const char *broker_reason_refused(int protocol, int code);
/** Why the broker closed (MQTT 5 DISCONNECT, codes from 128). A literal. */
const char *broker_reason_closed(int code);
/** One code of a SUBACK that is not "granted at QoS 1". A literal. */
const char *broker_reason_subscription(int code);

#endif
