/* settings_bench: the text of a settings file, parsed. */
#ifndef SETTINGS_BENCH_H
#define SETTINGS_BENCH_H

#include "measure/duration.h"
#include "settings/settings.h"
#include "settings/yaml_tree.h"
#include "test_support.h"

#include <string.h>

static inline struct settings *parse(const char *text, struct settings_errors *errors) {
    return settings_parse("bad.yaml", text, strlen(text), errors);
}

static inline struct settings *parse_good(const char *text) {
    struct settings_errors errors = {0};
    struct settings *settings = parse(text, &errors);
    ck_assert_msg(errors.count == 0, "%s", errors.count ? errors.lines[0] : "");
    ck_assert_ptr_nonnull(settings);
    settings_errors_free(&errors);
    return settings;
}

static const char full[] =
    "broker:\n  host: broker.example\n  port: 8884\n  client_id: north\n  protocol: 3.1.1\n"
    "  username: subslabd\n  password_file: broker-password\n"
    "  tls: {ca_file: ca.pem, certificate_file: client.pem, key_file: client.key}\n"
    "  subscribe: [\"a/#\", \"+/b\"]\n  keepalive: 1 min\n  receive_maximum: 20\n"
    "  maximum_packet: 70000\n"
    "store:\n  file: north.db\n  keep_readings: 3 y\n"
    "page: {address: 0.0.0.0, port: 0, access_file: accounts, hosts: [north.example], base: "
    "/radon}\n"
    "operator_socket: north.sock\nunits: si\nradon_action_level: 100 Bq/m3\n"
    "retest_every: none\nvisit_every: 1 y\nsystems: [one.yaml, two.yaml]\n"
    "contacts:\n"
    "  - id: office\n    role: contractor\n"
    "    webhook:\n      url: https://alerts.example:8443/hook\n      body: template\n"
    "      template: '{\"text\": {{text}}, \"why\": {{ diagnosis }}}'\n"
    "      signing_secret_file: office-secret\n"
    "      headers: {Authorization: file:office-token, X-Tenant: north}\n"
    "      tls_ca_file: office.pem\n"
    "    quiet_hours: 21:00-07:30\n    time_zone: Europe/Oslo\n    units: us\n    language: en\n"
    "    remind_every: 24 h\n    escalate_to: {contact: owner, after: 4 h}\n    digest: weekly\n"
    "    at_most_every: 5 min\n"
    "  - id: owner\n    role: homeowner\n"
    "    webhook: {url: 'http://10.0.0.2/x', body: text, allow_private: true}\n"
    "  - {id: bench, role: technician, webhook: {url: 'http://[::1]:8080/'}}\n"
    "conditions:\n"
    "  suction-low: {setpoint: 65 %, deadband: 5 %, on_delay: 2 h, off_delay: 1 h, priority: "
    "high}\n"
    "  radon-rising: {enabled: no}\n"
    "  radon-high: {setpoint: 300 Bq/m3}\n"
    "  sensor-silent: {setpoint: 45 min}\n"
    "  fan-weak: {setpoint: 85 %}\n"
    "  radon-above-action: {setpoint: 0.9}\n"
    "  suction-high: {setpoint: 2.5 inH2O, deadband: 0.1 inH2O}\n"
    "  battery-low: {setpoint: 20 %}\n";

#endif
