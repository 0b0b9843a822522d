/* Settings of contacts: what each hears of, how it is told, and whom it hands on to. */
#include "settings_bench.h"

#include <stdio.h>
#include <stdlib.h>

START_TEST(a_contact_says_what_it_hears_of) {
    struct settings *settings = parse_good(
        "contacts:\n  - id: a\n    role: homeowner\n    language: es-MX\n"
        "    webhook: {url: 'https://h.example/'}\n"
        "    hears: {suction-low: no, radon-rising: yes, low: no, medium: Yes}\n"
        "conditions:\n  fan-weak: {tell: [technician, contractor]}\n  battery-low: {tell: none}\n");
    const struct settings_contact *contact = &settings->contacts[0];
    ck_assert_str_eq(contact->language, "es-MX");
    ck_assert_uint_eq(contact->hears.conditions, UINT64_C(1) << CONDITION_RADON_RISING);
    ck_assert_uint_eq(contact->hears_not.conditions, UINT64_C(1) << CONDITION_SUCTION_LOW);
    ck_assert_uint_eq(contact->hears.priorities, 1U << PRIORITY_MEDIUM);
    ck_assert_uint_eq(contact->hears_not.priorities, 1U << PRIORITY_LOW);
    struct condition_rule rule = condition_rule_default(CONDITION_FAN_WEAK);
    ck_assert(!rule.tell_given);
    condition_rule_apply(&rule, settings->conditions, settings->condition_count);
    ck_assert(rule.tell_given);
    ck_assert_uint_eq(rule.hears, HEARS_CONTRACTOR | HEARS_TECHNICIAN);
    rule = condition_rule_default(CONDITION_BATTERY_LOW);
    condition_rule_apply(&rule, settings->conditions, settings->condition_count);
    ck_assert(rule.tell_given);
    ck_assert_uint_eq(rule.hears, 0);
    settings_free(settings);
}
END_TEST

static const struct {
    const char *text, *error;
} wrong_hears[] = {
    {"hears: {suction-lo: yes}",
     "bad.yaml:1: contacts[a].hears.suction-lo: is no condition; did you mean \"suction-low\"?; "
     "allowed: names of conditions, or high, medium, low for all of that priority"},
    {"hears: {high: perhaps}",
     "bad.yaml:1: contacts[a].hears.high: perhaps is not a switch; allowed: yes or no"},
};

START_TEST(a_wrong_hears_is_refused) {
    struct settings_errors errors = {0};
    char text[300];
    snprintf(text, sizeof text,
             "contacts: [{id: a, role: contractor, webhook: {url: 'https://h.example/'}, %s}]\n",
             wrong_hears[_i].text);
    ck_assert_ptr_null(parse(text, &errors));
    ck_assert_uint_eq(errors.count, 1);
    ck_assert_str_eq(errors.lines[0], wrong_hears[_i].error);
    settings_errors_free(&errors);
}
END_TEST

START_TEST(tell_names_roles_only) {
    struct settings_errors errors = {0};
    ck_assert_ptr_null(parse("conditions: {fan-weak: {tell: [boss]}}\n", &errors));
    ck_assert_uint_eq(errors.count, 1);
    ck_assert_str_eq(errors.lines[0],
                     "bad.yaml:1: conditions.fan-weak.tell: boss is not a role; allowed: none, or "
                     "a list of contractor, homeowner, technician");
    settings_errors_free(&errors);
}
END_TEST

START_TEST(a_template_must_fill) {
    static const char *const templates[] = {"{\"a\": {{texts}}}", "{\"a\": {{text}",
                                            "{\"a\": {{text}}", "{{text}} {{text}}"};
    for (size_t i = 0; i < sizeof templates / sizeof templates[0]; i++) {
        char text[300];
        snprintf(text, sizeof text,
                 "contacts: [{id: a, role: contractor, webhook: {url: 'https://h.example/', body: "
                 "template, template: '%s'}}]\n",
                 templates[i]);
        struct settings_errors errors = {0};
        ck_assert_ptr_null(parse(text, &errors));
        ck_assert_uint_eq(errors.count, 1);
        ck_assert_ptr_eq(strstr(errors.lines[0], "bad.yaml:1: contacts[a].webhook.template: "),
                         errors.lines[0]);
        ck_assert_ptr_nonnull(strstr(errors.lines[0], "; allowed: JSON with {{NAME}} of text, "));
        settings_errors_free(&errors);
    }
}
END_TEST

START_TEST(every_setting_of_a_contact_is_read) {
    struct settings *settings = parse_good(full);
    ck_assert_uint_eq(settings->contact_count, 3);
    const struct settings_contact *office = &settings->contacts[0];
    ck_assert_str_eq(office->id, "office");
    ck_assert_int_eq(office->role, ROLE_CONTRACTOR);
    ck_assert_str_eq(office->url, "https://alerts.example:8443/hook");
    ck_assert_int_eq(office->body, BODY_TEMPLATE);
    ck_assert_str_eq(office->template_text, "{\"text\": {{text}}, \"why\": {{ diagnosis }}}");
    ck_assert_str_eq(office->signing_secret_file, "office-secret");
    ck_assert_uint_eq(office->header_count, 2);
    ck_assert_str_eq(office->headers[0].value_file, "office-token");
    ck_assert_ptr_null(office->headers[0].value);
    ck_assert_str_eq(office->headers[1].value, "north");
    ck_assert(office->quiet.given);
    ck_assert_int_eq(office->quiet.from_minute, 21 * 60);
    ck_assert_int_eq(office->quiet.to_minute, 7 * 60 + 30);
    ck_assert_str_eq(office->time_zone, "Europe/Oslo");
    ck_assert(office->has_units && office->units == UNIT_SYSTEM_US);
    ck_assert_int_eq(office->remind_every_ms, DURATION_DAY_MS);
    ck_assert_str_eq(office->escalate_to, "owner");
    ck_assert_int_eq(office->escalate_after_ms, 4 * DURATION_HOUR_MS);
    ck_assert_str_eq(office->digest, "weekly");
    ck_assert_int_eq(office->least_interval_ms, 5 * DURATION_MINUTE_MS);
    ck_assert_str_eq(office->tls_ca_file, "office.pem");
    const struct settings_contact *owner = &settings->contacts[1];
    ck_assert_int_eq(owner->role, ROLE_HOMEOWNER);
    ck_assert_int_eq(owner->body, BODY_TEXT);
    ck_assert(owner->allow_private_address && !owner->quiet.given && !owner->has_units);
    ck_assert_ptr_null(owner->language); /* what is not said is the reader's to choose */
    ck_assert_int_eq(owner->remind_every_ms, 0);
    ck_assert_int_eq(settings->contacts[2].body, BODY_CLOUDEVENTS);
    settings_free(settings);
}
END_TEST

/* Ten thousand contacts are two MiB; what fits into one must still be read quickly. */
START_TEST(a_chain_of_thousands_of_contacts_is_checked) {
    char *text = malloc(YAML_TREE_BYTES_MAX);
    int used = sprintf(text, "contacts:\n");
    for (int i = 0; i < 8000; i++)
        used += sprintf(text + used,
                        "- {id: c%d, role: homeowner, webhook: {url: 'https://h.example/'}, "
                        "escalate_to: {contact: c%d, after: 1 h}}\n",
                        i, i == 7999 ? 5000 : i + 1);
    struct settings_errors errors = {0};
    ck_assert_ptr_null(settings_parse("bad.yaml", text, (size_t)used, &errors));
    ck_assert_uint_eq(errors.count, 1);
    ck_assert_str_eq(errors.lines[0],
                     "bad.yaml:5002: contacts[c5000].escalate_to.contact: \"c5001\" leads back to "
                     "the contact itself; allowed: a chain that ends");
    settings_errors_free(&errors);
    free(text);
}
END_TEST

int main(void) {
    TCase *settings = tcase_create("settings");
    tcase_add_test(settings, a_contact_says_what_it_hears_of);
    tcase_add_loop_test(settings, a_wrong_hears_is_refused, 0, 2);
    tcase_add_test(settings, tell_names_roles_only);
    tcase_add_test(settings, a_template_must_fill);
    tcase_add_test(settings, every_setting_of_a_contact_is_read);
    tcase_add_test(settings, a_chain_of_thousands_of_contacts_is_checked);
    return run_test_case(settings);
}
