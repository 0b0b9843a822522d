#include "link/broker_reason.h"

#include <mosquitto.h>

struct reason {
    int code;
    const char *text;
};

/* MQTT 3.1.1, table 3.1. */
static const struct reason refused_311[] = {
    {1, "the broker does not speak this protocol version; set broker.protocol"},
    {2, "the broker does not accept the client id"},
    {3, "the broker is not ready"},
    {4, "bad user name or password"},
    {5, "not authorised; check the user name, the password and the broker's access list"},
};

/* Where more is to be said than the name that MQTT 5.0 gives it in table 2-6. */
static const struct reason reasons_5[] = {
    {132, "the broker does not speak this protocol version; set broker.protocol"},
    {133, "the broker does not accept the client id"},
    {134, "bad user name or password"},
    {135, "not authorised; check the user name, the password and the broker's access list"},
    {141, "the broker heard nothing from us for too long"},
    {142, "another client connected with the same id"},
    {147, "more messages under way than the broker allows"},
};

/* NULL: the table has no such code. */
static const char *find(const struct reason *table, size_t count, int code) {
    for (size_t i = 0; i < count; i++) {
        if (table[i].code == code)
            return table[i].text;
    }
    return NULL;
}

static const char *reason_5(int code) {
    const char *text = find(reasons_5, sizeof reasons_5 / sizeof *reasons_5, code);
    return text ? text : mosquitto_reason_string(code);
}

const char *broker_reason_refused(int protocol, int code) {
    /* A broker that knows only 3.1.1 answers an MQTT 5 CONNECT with a 3.1.1 code. */
    if (protocol == 5 && code >= 128)
        return reason_5(code);
    const char *text = find(refused_311, sizeof refused_311 / sizeof *refused_311, code);
    return text ? text : "refused with a code that the standard does not know";
}

const char *broker_reason_closed(int code) {
    return reason_5(code);
}

const char *broker_reason_subscription(int code) {
    if (code == 0)
        return "granted at QoS 0 only, at which readings are lost without a sign";
    if (code == 128)
        return "refused by the broker; check its access list";
    if (code < 128)
        return "granted at a QoS that was not asked for";
    return reason_5(code);
}
