#include "host/named_files.h"

#include "host/fleet_files.h"
#include "link/signing.h"
#include "measure/hash.h"
#include "words/template.h"

#include <errno.h>
#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define NAMED_FILE_BYTES_MAX ((size_t)1 << 20)

struct checker {
    const struct settings *settings;
    struct settings_errors *errors;
};

/* ---- secrets ---- */

/* All names are paths already: fleet_files has put the folder of the settings before them. */

/* Reads one secret; NULL after the error was added. The caller frees. */
static char *read_secret(const struct checker *checker, const char *name, const char *key,
                         int line) {
    char why[512] = "out of memory";
    char *secret = fleet_files_secret(name, why, sizeof why);
    if (!secret)
        settings_errors_add(checker->errors,
                            "%s:%d: %s: %s; allowed: a file that the daemon can "
                            "read and others can't",
                            checker->settings->file, line, key, why);
    return secret;
}

static void check_secret(const struct checker *checker, const char *name, const char *key,
                         int line) {
    if (name)
        free(read_secret(checker, name, key, line));
}

static void check_readable(const struct checker *checker, const char *name, const char *key,
                           int line) {
    if (!name)
        return;
    if (access(name, R_OK) != 0)
        settings_errors_add(checker->errors, "%s:%d: %s: %s: %s; allowed: a file that can be read",
                            checker->settings->file, line, key, name, strerror(errno));
}

static void check_signing(const struct checker *checker, const char *name, const char *key,
                          int line) {
    struct signing_key parsed;
    if (!name)
        return;
    char *secret = read_secret(checker, name, key, line);
    if (secret && !signing_key_parse(secret, &parsed))
        settings_errors_add(checker->errors,
                            "%s:%d: %s: the first line of %s is no signing secret; allowed: "
                            "whsec_ and base64 of 24 to 64 bytes",
                            checker->settings->file, line, key, name);
    else if (secret)
        signing_key_clear(&parsed);
    free(secret);
}

/* ---- templates ---- */

/* Values that break a template which does not escape them. */
static struct template_values sample_values(void) {
    struct template_values values = {.value = NAN};
    for (size_t i = 0; i < TEMPLATE_NAME_COUNT; i++)
        values.strings[i] = "a \"quoted\" text\nof two lines \\ 3 \xC2\xB5Pa";
    return values;
}

static void check_template(const struct checker *checker, const char *template_text,
                           const char *key, int line) {
    char why[256] = "";
    const struct template_values values = sample_values();
    char *body = NULL;
    json_t *json = NULL;
    if (template_check(template_text, why, sizeof why))
        body = template_render(template_text, &values, why, sizeof why);
    if (body)
        json = json_loads(body, JSON_DECODE_ANY, NULL);
    if (!json)
        settings_errors_add(checker->errors,
                            "%s:%d: %s: %s; allowed: JSON with placeholders such as {{text}}",
                            checker->settings->file, line, key, *why ? why : "gives no JSON");
    json_decref(json);
    free(body);
}

/* ---- all ---- */

static void check_contact(const struct checker *checker, const struct settings_contact *contact) {
    char key[160];
    snprintf(key, sizeof key, "contacts[%.60s].webhook.signing_secret_file", contact->id);
    check_signing(checker, contact->signing_secret_file, key, contact->lines.signing_secret_file);
    snprintf(key, sizeof key, "contacts[%.60s].webhook.tls_ca_file", contact->id);
    check_readable(checker, contact->tls_ca_file, key, contact->lines.tls_ca_file);
    for (size_t i = 0; i < contact->header_count; i++) {
        const struct settings_header *header = &contact->headers[i];
        snprintf(key, sizeof key, "contacts[%.60s].webhook.headers.%.60s", contact->id,
                 header->name);
        check_secret(checker, header->value_file, key, header->line);
    }
    snprintf(key, sizeof key, "contacts[%.60s].webhook.template", contact->id);
    if (contact->body == BODY_TEMPLATE && contact->template_text)
        check_template(checker, contact->template_text, key, contact->lines.template_text);
}

static void check_broker(const struct checker *checker, const struct settings_broker *broker) {
    check_secret(checker, broker->password_file, "broker.password_file",
                 broker->lines.password_file);
    check_readable(checker, broker->ca_file, "broker.tls.ca_file", broker->lines.ca_file);
    check_readable(checker, broker->certificate_file, "broker.tls.certificate_file",
                   broker->lines.certificate_file);
    check_secret(checker, broker->key_file, "broker.tls.key_file", broker->lines.key_file);
}

void named_files_check(const struct settings *settings, struct settings_errors *errors) {
    const struct checker checker = {settings, errors};
    check_broker(&checker, &settings->broker);
    check_secret(&checker, settings->page.access_file, "page.access_file",
                 settings->page.access_line);
    for (size_t i = 0; i < settings->contact_count; i++)
        check_contact(&checker, &settings->contacts[i]);
}

/* ---- renewed under the same name ---- */

static void mix(uint64_t *sum, const char *bytes, size_t length) {
    *sum = hash_bytes(*sum, bytes, length);
    *sum = hash_bytes(*sum, &length, sizeof length); /* where one ends and the next begins */
}

static void mix_file(uint64_t *sum, const char *path) {
    size_t length = 0;
    char *bytes = path ? fleet_files_read(path, NAMED_FILE_BYTES_MAX, &length) : NULL;
    mix(sum, bytes, bytes ? length : 0);
    if (bytes)
        explicit_bzero(bytes, length);
    free(bytes);
}

uint64_t named_files_of_broker(const struct settings_broker *broker) {
    uint64_t sum = HASH_START;
    char why[512];
    char *password =
        broker->password_file ? fleet_files_secret(broker->password_file, why, sizeof why) : NULL;
    mix(&sum, password, password ? strlen(password) : 0);
    if (password)
        explicit_bzero(password, strlen(password));
    free(password);
    mix_file(&sum, broker->ca_file);
    mix_file(&sum, broker->certificate_file);
    mix_file(&sum, broker->key_file);
    return sum;
}
