#include "tool/ctl_client.h"

#include "tool/text.h"
#include "words/percent.h"
#include "words/wording.h"

#include <curl/curl.h>
#include <errno.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define ANSWER_BYTES_MAX ((size_t)512 << 20)
#define CONNECT_TIMEOUT_MS 5000L
#define ANSWER_TIMEOUT_S 600L /* an import of years is judged before it is answered */

static CURL *handle; /* one connection for the whole run */

void ctl_client_clear(void) {
    if (!handle)
        return;
    curl_easy_cleanup(handle);
    curl_global_cleanup();
    handle = NULL;
}

/* ---- one exchange ---- */

static size_t keep_bytes(char *bytes, size_t size, size_t count, void *context) {
    struct ctl_answer *answer = context;
    size_t length = size * count;
    if (answer->length + length > ANSWER_BYTES_MAX)
        return 0;
    char *grown = realloc(answer->body, answer->length + length + 1);
    if (!grown)
        return 0;
    memcpy(grown + answer->length, bytes, length);
    answer->length += length;
    answer->body = grown;
    answer->body[answer->length] = '\0';
    return length;
}

static void say_unreachable(const struct ctl *ctl, CURLcode code) {
    long reason = 0;
    curl_easy_getinfo(handle, CURLINFO_OS_ERRNO, &reason);
    if (code == CURLE_OPERATION_TIMEDOUT)
        ctl_error(ctl, CTL_FAILED,
                  "the daemon does not answer on %s; look at: journalctl -u subslabd", ctl->socket);
    else if (code == CURLE_COULDNT_CONNECT && (reason == EACCES || reason == EPERM))
        ctl_error(ctl, CTL_FAILED,
                  "not allowed to use %s; run this as root or as a member of the socket's group",
                  ctl->socket);
    else if (code == CURLE_COULDNT_CONNECT)
        ctl_error(ctl, CTL_FAILED,
                  "no daemon answers on %s; start it with: systemctl start subslabd, or name the "
                  "settings with --settings FILE",
                  ctl->socket);
    else
        ctl_error(ctl, CTL_FAILED, "the exchange with the daemon on %s broke off (%s); try again",
                  ctl->socket, curl_easy_strerror(code));
}

static bool set_up(const struct ctl *ctl) {
    if (!handle) {
        if (curl_global_init(CURL_GLOBAL_DEFAULT) != CURLE_OK)
            return false;
        handle = curl_easy_init();
    }
    if (!handle)
        return false;
    curl_easy_reset(handle);
    return curl_easy_setopt(handle, CURLOPT_UNIX_SOCKET_PATH, ctl->socket) == CURLE_OK &&
           curl_easy_setopt(handle, CURLOPT_CONNECTTIMEOUT_MS, CONNECT_TIMEOUT_MS) == CURLE_OK &&
           curl_easy_setopt(handle, CURLOPT_TIMEOUT, ANSWER_TIMEOUT_S) == CURLE_OK &&
           curl_easy_setopt(handle, CURLOPT_NOSIGNAL, 1L) == CURLE_OK &&
           curl_easy_setopt(handle, CURLOPT_PROXY, "") == CURLE_OK;
}

static CURLcode exchange(const char *path, const struct ctl_body *body, struct ctl_answer *answer) {
    char url[2304], type[80];
    struct curl_slist *headers = NULL;
    snprintf(url, sizeof url, "http://localhost%s", path);
    curl_easy_setopt(handle, CURLOPT_URL, url);
    curl_easy_setopt(handle, CURLOPT_WRITEFUNCTION, keep_bytes);
    curl_easy_setopt(handle, CURLOPT_WRITEDATA, answer);
    if (body) {
        snprintf(type, sizeof type, "Content-Type: %s",
                 body->content_type ? body->content_type : "application/json");
        headers = curl_slist_append(headers, type);
        headers = curl_slist_append(headers, "Expect:"); /* no pause before a large body */
        curl_easy_setopt(handle, CURLOPT_HTTPHEADER, headers);
        curl_easy_setopt(handle, CURLOPT_POSTFIELDSIZE_LARGE, (curl_off_t)body->length);
        curl_easy_setopt(handle, CURLOPT_POSTFIELDS, body->length ? body->bytes : "");
    }
    CURLcode code = curl_easy_perform(handle);
    if (code == CURLE_OK)
        curl_easy_getinfo(handle, CURLINFO_RESPONSE_CODE, &answer->status);
    curl_easy_setopt(handle, CURLOPT_HTTPHEADER, NULL);
    curl_slist_free_all(headers);
    return code;
}

bool ctl_request_any(struct ctl *ctl, const char *path, const struct ctl_body *body,
                     struct ctl_answer *answer) {
    *answer = (struct ctl_answer){0};
    if (!ctl_settings(ctl))
        return false;
    if (!set_up(ctl)) {
        ctl_error(ctl, CTL_FAILED, "the path of the operator socket is not usable: %s",
                  ctl->socket);
        return false;
    }
    CURLcode code = exchange(path, body, answer);
    if (code == CURLE_OK && !answer->body)
        answer->body = strdup("");
    if (code == CURLE_OK && answer->body)
        return true;
    say_unreachable(ctl, code);
    free(answer->body);
    answer->body = NULL;
    return false;
}

/* Prints the error sentence or lines of an answer that is none of 2xx. */
static void print_error_of(const struct ctl *ctl, const struct ctl_answer *answer) {
    json_t *root = json_loads(answer->body, 0, NULL), *line;
    json_t *lines = json_object_get(root, "errors");
    const char *sentence = json_string_value(json_object_get(root, "error"));
    size_t i;
    json_array_foreach(lines, i, line)
        ctl_text_put(stderr, json_is_string(line) ? json_string_value(line) : "");
    if (sentence && json_array_size(lines) == 0)
        ctl_error(ctl, CTL_FAILED, "%s", sentence);
    else if (json_array_size(lines) == 0)
        ctl_error(ctl, CTL_FAILED, "the daemon answered with HTTP status %ld and no reason",
                  answer->status);
    json_decref(root);
}

bool ctl_request(struct ctl *ctl, const char *path, const struct ctl_body *body,
                 struct ctl_answer *answer) {
    if (!ctl_request_any(ctl, path, body, answer))
        return false;
    if (answer->status >= 200 && answer->status < 300)
        return true;
    print_error_of(ctl, answer);
    free(answer->body);
    return false;
}

long ctl_status_of(struct ctl *ctl, const char *path) {
    struct ctl_answer answer;
    if (!ctl_request_any(ctl, path, NULL, &answer))
        return 0;
    free(answer.body);
    return answer.status;
}

/* ---- paths ---- */

struct ctl_path ctl_path(const char *start) {
    struct ctl_path path = {.length = 0};
    ctl_path_add(&path, start);
    return path;
}

void ctl_path_add(struct ctl_path *path, const char *text) {
    for (; *text && path->length + 1 < sizeof path->text; text++)
        path->text[path->length++] = *text;
    path->text[path->length] = '\0';
}

void ctl_path_encode(struct ctl_path *path, const char *text) {
    for (; *text; text++)
        ctl_path_add(path, percent_encode(*text).text);
}

struct ctl_path ctl_path_of(const char *start, const char *part, const char *end) {
    struct ctl_path path = ctl_path(start);
    ctl_path_encode(&path, part);
    ctl_path_add(&path, end);
    return path;
}

void ctl_path_query(struct ctl_path *path, const char *name, const char *value) {
    if (!value)
        return;
    ctl_path_add(path, strchr(path->text, '?') ? "&" : "?");
    ctl_path_add(path, name);
    ctl_path_add(path, "=");
    ctl_path_encode(path, value);
}

void ctl_path_language(struct ctl_path *path, const struct ctl *ctl) {
    if (ctl->language != WORDING_ENGLISH)
        ctl_path_query(path, "language", wording_language_code(ctl->language));
}

/* ---- JSON ---- */

void ctl_print_answer(const struct ctl_answer *answer) {
    fwrite(answer->body, 1, answer->length, stdout);
    if (answer->length == 0 || answer->body[answer->length - 1] != '\n')
        putchar('\n');
}

void ctl_print_json(json_t *json) {
    json_dumpf(json, stdout, JSON_INDENT(2));
    putchar('\n');
    json_decref(json);
}

void ctl_set(json_t *object, const char *key, const char *text) {
    if (text)
        json_object_set_new(object, key, json_string(text));
}

json_t *ctl_body(const struct ctl_arguments *given, ...) {
    json_t *body = json_object();
    const char *name;
    va_list names;
    va_start(names, given);
    while ((name = va_arg(names, const char *))) {
        char key[40];
        snprintf(key, sizeof key, "%s", name + strlen("--"));
        for (char *at = key; (at = strchr(at, '-'));)
            *at = '_';
        ctl_set(body, key, ctl_option(given, name));
    }
    va_end(names);
    return body;
}

json_t *ctl_json_of(struct ctl_answer *answer) {
    json_t *root = json_loadb(answer->body, answer->length, 0, NULL);
    free(answer->body);
    return root;
}

static json_t *parse(const struct ctl *ctl, struct ctl_answer *answer) {
    json_t *root = ctl_json_of(answer);
    if (!root)
        ctl_error(ctl, CTL_FAILED,
                  "the daemon's answer is not JSON; are daemon and tool of the same version?");
    return root;
}

static enum ctl_status hand_out(const struct ctl *ctl, struct ctl_answer *answer, json_t **root) {
    if (!ctl->json) {
        *root = parse(ctl, answer);
        return *root ? CTL_DONE : CTL_FAILED;
    }
    ctl_print_answer(answer);
    free(answer->body);
    return CTL_DONE;
}

json_t *ctl_ask(struct ctl *ctl, const char *path) {
    struct ctl_answer answer;
    return ctl_request(ctl, path, NULL, &answer) ? parse(ctl, &answer) : NULL;
}

enum ctl_status ctl_get_json(struct ctl *ctl, const char *path, json_t **root) {
    struct ctl_answer answer;
    *root = NULL;
    return ctl_request(ctl, path, NULL, &answer) ? hand_out(ctl, &answer, root) : CTL_FAILED;
}

enum ctl_status ctl_post_json(struct ctl *ctl, const char *path, json_t *body, json_t **root) {
    struct ctl_answer answer;
    char *text = json_dumps(body, JSON_COMPACT);
    enum ctl_status status = CTL_FAILED;
    *root = NULL;
    json_decref(body);
    if (!text)
        return ctl_error(ctl, CTL_FAILED, "the arguments are not UTF-8");
    const struct ctl_body request = {"application/json", text, strlen(text)};
    if (ctl_request(ctl, path, &request, &answer))
        status = hand_out(ctl, &answer, root);
    free(text);
    return status;
}
