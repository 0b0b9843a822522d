#include "link/broker_reason.h"

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

/* MQTT 5.0, table 2-6. */
static const struct reason reasons_5[] = {
    {128, "unspecified error"},
    {129, "the broker found our packet malformed"},
    {130, "the broker found a protocol error"},
    {131, "refused for a reason of the broker's own"},
    {132, "the broker does not speak this protocol version; set broker.protocol"},
    {133, "the broker does not accept the client id"},
    {134, "bad user name or password"},
    {135, "not authorised; check the user name, the password and the broker's access list"},
    {136, "the broker is not available"},
    {137, "the broker is busy"},
    {138, "this client is banned by the broker"},
    {139, "the broker is shutting down"},
    {140, "bad authentication method"},
    {141, "the broker heard nothing from us for too long"},
    {142, "another client connected with the same id"},
    {143, "the broker does not accept this topic filter"},
    {144, "the broker does not accept a topic name"},
    {145, "packet identifier in use"},
    {147, "more messages under way than the broker allows"},
    {148, "topic alias not valid"},
    {149, "packet larger than the broker allows"},
    {150, "messages come faster than the broker allows"},
    {151, "a quota of the broker is used up"},
    {152, "closed by the broker's administrator"},
    {153, "payload format not valid"},
    {154, "the broker does not keep retained messages"},
    {155, "the broker does not offer this QoS"},
    {156, "use another broker for now"},
    {157, "the broker has moved"},
    {158, "the broker does not offer shared subscriptions"},
    {159, "connected too often; the broker limits the rate"},
    {160, "the longest connection time of the broker is over"},
    {161, "the broker does not offer subscription identifiers"},
    {162, "the broker does not offer wildcards in subscriptions"},
};

static const char *find(const struct reason *table, size_t count, int code, const char *otherwise) {
    for (size_t i = 0; i < count; i++) {
        if (table[i].code == code)
            return table[i].text;
    }
    return otherwise;
}

#define FIND(table, code, otherwise)                                                               \
    find(table, sizeof(table) / sizeof((table)[0]), code, otherwise)

const char *broker_reason_refused(int protocol, int code) {
    /* A broker that knows only 3.1.1 answers an MQTT 5 CONNECT with a 3.1.1 code. */
    if (protocol == 4 || code < 128)
        return FIND(refused_311, code, "refused with a code that the standard does not know");
    return FIND(reasons_5, code, "refused with a code that the standard does not know");
}

const char *broker_reason_closed(int code) {
    return FIND(reasons_5, code, "closed with a code that the standard does not know");
}

const char *broker_reason_subscription(int code) {
    if (code == 0)
        return "granted at QoS 0 only, at which readings are lost without a sign";
    if (code == 128)
        return "refused by the broker; check its access list";
    if (code < 128)
        return "granted at a QoS that was not asked for";
    return FIND(reasons_5, code, "refused with a code that the standard does not know");
}
