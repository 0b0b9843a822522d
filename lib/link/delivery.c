/*
 * One curl multi handle, one easy handle per POST. Connections are kept by the multi handle, so
 * posts to one host reuse them; because a reused connection skips the check at connect time, its
 * address is judged again right before the request is sent (CURLOPT_PREREQFUNCTION).
 *
 * A request that can't be started at all (a line break in a header, an address of another kind)
 * waits as a finished post and is reported in the next turn, so that the caller has one way to
 * hear of failures.
 *
 * HTTP/1.1 alone: a connection then carries one request at a time, and a hung one holds up nobody.
 */
#include "link/delivery.h"

#include "link/address_rule.h"
#include "link/retry_after.h"

#include <curl/curl.h>
#include <errno.h>
#include <openssl/crypto.h>
#include <openssl/x509.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/socket.h>

#define CONNECT_LIMIT_MS 10000L
#define TOTAL_LIMIT_MS 15000L
#define ANSWER_BODY_MAX 4096
#define ANSWER_HEAD_MAX 65536
#define KEPT_CONNECTIONS 32L
#define TEXT_SIZE 200

struct post {
    struct post *next;
    int64_t row;
    char *contact;
    struct delivery_callbacks callbacks;
    CURL *easy;
    struct curl_slist *headers;
    struct address_rule rule;
    const char *refusal; /* why it was not sent, a literal; NULL: none */
    size_t head_bytes, body_bytes;
    bool head_complete, never_started;
};

struct delivery {
    struct delivery_callbacks callbacks;
    CURLM *multi;
    struct post *posts;
    size_t count, never_started;
    struct curl_waitfd *waits;
    size_t wait_capacity;
};

struct delivery *delivery_create(const struct delivery_callbacks *callbacks) {
    if (curl_global_init(CURL_GLOBAL_DEFAULT) != CURLE_OK)
        return NULL;
    struct delivery *delivery = calloc(1, sizeof *delivery);
    CURLM *multi = delivery ? curl_multi_init() : NULL;
    if (!multi) {
        free(delivery);
        curl_global_cleanup();
        return NULL;
    }
    curl_multi_setopt(multi, CURLMOPT_MAXCONNECTS, KEPT_CONNECTIONS);
    delivery->multi = multi;
    delivery->callbacks = *callbacks;
    return delivery;
}

/* Header lines may hold secrets: wipe before freeing. */
static void headers_free(struct curl_slist *headers) {
    for (struct curl_slist *line = headers; line; line = line->next)
        OPENSSL_cleanse(line->data, strlen(line->data));
    curl_slist_free_all(headers);
}

static void post_free(struct delivery *delivery, struct post *post) {
    if (post->easy) {
        curl_multi_remove_handle(delivery->multi, post->easy);
        curl_easy_cleanup(post->easy);
    }
    headers_free(post->headers);
    free(post->contact);
    free(post);
}

void delivery_destroy(struct delivery *delivery) {
    if (!delivery)
        return;
    while (delivery->posts) {
        struct post *post = delivery->posts;
        delivery->posts = post->next;
        post_free(delivery, post);
    }
    curl_multi_cleanup(delivery->multi);
    free(delivery->waits);
    free(delivery);
    curl_global_cleanup();
}

/* ---- what libcurl asks during a post ---- */

static curl_socket_t open_socket(void *context, curlsocktype purpose,
                                 struct curl_sockaddr *address) {
    struct post *post = context;
    const char *refusal = address_refusal(&post->rule, address_kind(&address->addr));
    if (purpose != CURLSOCKTYPE_IPCXN || refusal) {
        post->refusal = refusal;
        return CURL_SOCKET_BAD;
    }
    return socket(address->family, address->socktype | SOCK_CLOEXEC, address->protocol);
}

/* Also for a connection that another contact opened. */
static int before_request(void *context, char *remote, char *local, int remote_port,
                          int local_port) {
    (void)local, (void)remote_port, (void)local_port;
    struct post *post = context;
    post->refusal = address_refusal(&post->rule, address_kind_of_text(remote));
    return post->refusal ? CURL_PREREQFUNC_ABORT : CURL_PREREQFUNC_OK;
}

static size_t take_head(char *bytes, size_t size, size_t count, void *context) {
    struct post *post = context;
    size_t length = size * count;
    post->head_bytes += length;
    if (length <= 2 && bytes[0] != ' ' && bytes[0] != '\t') {
        long status = 0;
        curl_easy_getinfo(post->easy, CURLINFO_RESPONSE_CODE, &status);
        post->head_complete = status >= 200;
    }
    return post->head_bytes > ANSWER_HEAD_MAX ? 0 : length;
}

static size_t take_body(char *bytes, size_t size, size_t count, void *context) {
    (void)bytes;
    struct post *post = context;
    post->body_bytes += size * count;
    return post->body_bytes > ANSWER_BODY_MAX ? 0 : size * count;
}

/* ---- starting a post ---- */

static bool has_control(const char *text) {
    for (; *text; text++)
        if ((unsigned char)*text < 0x20 || *text == 0x7f)
            return true;
    return false;
}

/* RFC 9110 section 5.6.2 */
static bool is_token(const char *text) {
    static const char allowed[] = "!#$%&'*+-.^_`|~0123456789"
                                  "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ";
    return *text && text[strspn(text, allowed)] == '\0';
}

static const char *request_refusal(const struct delivery_request *request) {
    if (has_control(request->url))
        return "malformed address";
    if (request->body && has_control(request->content_type))
        return "content type with a control character refused";
    for (size_t i = 0; i < request->header_count; i++)
        if (!is_token(request->headers[i].name) || has_control(request->headers[i].value))
            return "header with a character that is not allowed refused";
    return NULL;
}

static bool add_header(struct post *post, const char *name, const char *value) {
    size_t size = strlen(name) + strlen(value) + 3;
    char *line = malloc(size);
    if (!line)
        return false;
    snprintf(line, size, *value ? "%s: %s" : "%s;", name, value);
    struct curl_slist *longer = curl_slist_append(post->headers, line);
    OPENSSL_cleanse(line, size);
    free(line);
    if (longer)
        post->headers = longer;
    return longer != NULL;
}

static bool set_headers(struct post *post, const struct delivery_request *request) {
    bool good = !request->body || add_header(post, "Content-Type", request->content_type);
    for (size_t i = 0; good && i < request->header_count; i++)
        good = add_header(post, request->headers[i].name, request->headers[i].value);
    struct curl_slist *longer = good ? curl_slist_append(post->headers, "Expect:") : NULL;
    if (longer)
        post->headers = longer;
    return longer != NULL;
}

/* Options that keep it narrow; all but the two strings can't fail. */
static bool set_rules(CURL *easy) {
    curl_easy_setopt(easy, CURLOPT_NOSIGNAL, 1L);
    curl_easy_setopt(easy, CURLOPT_QUICK_EXIT, 1L); /* never join a resolver that hangs */
    curl_easy_setopt(easy, CURLOPT_FOLLOWLOCATION, 0L);
    curl_easy_setopt(easy, CURLOPT_NETRC, (long)CURL_NETRC_IGNORED);
    curl_easy_setopt(easy, CURLOPT_HTTP_VERSION, (long)CURL_HTTP_VERSION_1_1);
    curl_easy_setopt(easy, CURLOPT_SSLVERSION, (long)CURL_SSLVERSION_TLSv1_2);
    curl_easy_setopt(easy, CURLOPT_SSL_VERIFYPEER, 1L);
    curl_easy_setopt(easy, CURLOPT_SSL_VERIFYHOST, 2L);
    curl_easy_setopt(easy, CURLOPT_CONNECTTIMEOUT_MS, CONNECT_LIMIT_MS);
    curl_easy_setopt(easy, CURLOPT_TIMEOUT_MS, TOTAL_LIMIT_MS);
    return curl_easy_setopt(easy, CURLOPT_PROTOCOLS_STR, "http,https") == CURLE_OK &&
           curl_easy_setopt(easy, CURLOPT_PROXY, "") == CURLE_OK &&
           curl_easy_setopt(easy, CURLOPT_USERAGENT, "subslabd/" SUBSLAB_VERSION) == CURLE_OK;
}

static void set_callbacks(struct post *post) {
    curl_easy_setopt(post->easy, CURLOPT_PRIVATE, post);
    curl_easy_setopt(post->easy, CURLOPT_OPENSOCKETFUNCTION, open_socket);
    curl_easy_setopt(post->easy, CURLOPT_OPENSOCKETDATA, post);
    curl_easy_setopt(post->easy, CURLOPT_PREREQFUNCTION, before_request);
    curl_easy_setopt(post->easy, CURLOPT_PREREQDATA, post);
    curl_easy_setopt(post->easy, CURLOPT_HEADERFUNCTION, take_head);
    curl_easy_setopt(post->easy, CURLOPT_HEADERDATA, post);
    curl_easy_setopt(post->easy, CURLOPT_WRITEFUNCTION, take_body);
    curl_easy_setopt(post->easy, CURLOPT_WRITEDATA, post);
}

static bool set_request(struct post *post, const struct delivery_request *request) {
    CURL *easy = post->easy;
    bool good = curl_easy_setopt(easy, CURLOPT_URL, request->url) == CURLE_OK;
    if (request->body) {
        curl_easy_setopt(easy, CURLOPT_POST, 1L);
        curl_easy_setopt(easy, CURLOPT_POSTFIELDSIZE_LARGE, (curl_off_t)request->body_length);
        good = good && curl_easy_setopt(easy, CURLOPT_COPYPOSTFIELDS, request->body) == CURLE_OK;
    }
    return good && curl_easy_setopt(easy, CURLOPT_HTTPHEADER, post->headers) == CURLE_OK &&
           /* beside the system's own authorities, which stay in CURLOPT_CAPATH */
           (!request->ca_file ||
            curl_easy_setopt(easy, CURLOPT_CAINFO, request->ca_file) == CURLE_OK);
}

static bool post_start(struct delivery *delivery, struct post *post,
                       const struct delivery_request *request) {
    post->rule = (struct address_rule){
        .url_names_loopback = address_url_names_loopback(request->url),
        .allow_private = request->allow_private_address,
        .encrypted = strncasecmp(request->url, "https:", 6) == 0,
    };
    post->refusal = request_refusal(request);
    if (post->refusal) {
        post->never_started = true;
        return true;
    }
    post->easy = curl_easy_init();
    if (!post->easy || !set_rules(post->easy) || !set_headers(post, request) ||
        !set_request(post, request))
        return false;
    set_callbacks(post);
    return curl_multi_add_handle(delivery->multi, post->easy) == CURLM_OK;
}

bool delivery_post(struct delivery *delivery, const struct delivery_request *request) {
    if (delivery_busy(delivery, request->contact))
        return false;
    struct post *post = calloc(1, sizeof *post);
    if (!post)
        return false;
    post->row = request->row;
    post->callbacks = request->callbacks ? *request->callbacks : delivery->callbacks;
    post->contact = strdup(request->contact);
    if (!post->contact || !post_start(delivery, post, request)) {
        post_free(delivery, post);
        return false;
    }
    post->next = delivery->posts;
    delivery->posts = post;
    delivery->count++;
    delivery->never_started += post->never_started;
    return true;
}

bool delivery_busy(const struct delivery *delivery, const char *contact) {
    for (const struct post *post = delivery->posts; post; post = post->next)
        if (strcmp(post->contact, contact) == 0)
            return true;
    return false;
}

size_t delivery_under_way(const struct delivery *delivery) {
    return delivery->count;
}

/* ---- what became of a post, in words ---- */

static void connect_text(const struct post *post, char *text) {
    long error = 0;
    curl_easy_getinfo(post->easy, CURLINFO_OS_ERRNO, &error);
    const char *words = error == ECONNREFUSED   ? "connection refused"
                        : error == EHOSTUNREACH ? "host not reachable"
                        : error == ENETUNREACH  ? "network not reachable"
                        : error == EMFILE       ? "no descriptor left for a connection"
                                                : "no connection";
    snprintf(text, TEXT_SIZE, "%s", words);
}

static void timeout_text(const struct post *post, char *text) {
    curl_off_t resolved_us = 0, connected_us = 0;
    curl_easy_getinfo(post->easy, CURLINFO_NAMELOOKUP_TIME_T, &resolved_us);
    curl_easy_getinfo(post->easy, CURLINFO_PRETRANSFER_TIME_T, &connected_us);
    if (connected_us > 0)
        snprintf(text, TEXT_SIZE, "no answer within %ld s", TOTAL_LIMIT_MS / 1000);
    else if (resolved_us > 0)
        snprintf(text, TEXT_SIZE, "no connection within %ld s", CONNECT_LIMIT_MS / 1000);
    else
        snprintf(text, TEXT_SIZE, "host name not resolved within %ld s", CONNECT_LIMIT_MS / 1000);
}

/* The library sets "unspecified" before it checks the names and leaves it there when they differ.
 */
static void certificate_text(const struct post *post, char *text) {
    long result = 0;
    curl_easy_getinfo(post->easy, CURLINFO_SSL_VERIFYRESULT, &result);
    snprintf(text, TEXT_SIZE, "certificate: %s",
             result == X509_V_OK || result == X509_V_ERR_UNSPECIFIED
                 ? "is for another host name"
                 : X509_verify_cert_error_string(result));
}

/* The library's own texts are fixed sentences; none holds an address or a header. */
static void failure_text(const struct post *post, CURLcode code, char *text) {
    static const struct {
        CURLcode code;
        const char *words;
    } table[] = {
        {CURLE_URL_MALFORMAT, "malformed address"},
        {CURLE_UNSUPPORTED_PROTOCOL, "neither https nor http"},
        {CURLE_COULDNT_RESOLVE_HOST, "host name not found"},
        {CURLE_GOT_NOTHING, "closed without an answer"},
        {CURLE_RECV_ERROR, "connection lost before the answer"},
        {CURLE_SEND_ERROR, "connection lost while sending"},
        {CURLE_SSL_CONNECT_ERROR, "TLS handshake failed"},
        {CURLE_SSL_CACERT_BADFILE, "certificate: CA file not readable"},
        {CURLE_WRITE_ERROR, "head of the answer too large"},
        {CURLE_WEIRD_SERVER_REPLY, "answer is not HTTP"},
    };
    curl_off_t sent_after_us = 0;
    curl_easy_getinfo(post->easy, CURLINFO_PRETRANSFER_TIME_T, &sent_after_us);
    if (code == CURLE_UNSUPPORTED_PROTOCOL && sent_after_us > 0)
        code = CURLE_WEIRD_SERVER_REPLY; /* HTTP/0.9 */
    if (code == CURLE_COULDNT_CONNECT) {
        connect_text(post, text);
        return;
    }
    if (code == CURLE_OPERATION_TIMEDOUT) {
        timeout_text(post, text);
        return;
    }
    if (code == CURLE_PEER_FAILED_VERIFICATION) {
        certificate_text(post, text);
        return;
    }
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++)
        if (table[i].code == code) {
            snprintf(text, TEXT_SIZE, "%s", table[i].words);
            return;
        }
    snprintf(text, TEXT_SIZE, "%s", curl_easy_strerror(code));
}

static void redirect_text(const struct post *post, long status, char *text) {
    char *target = NULL, *host = NULL;
    curl_easy_getinfo(post->easy, CURLINFO_REDIRECT_URL, &target);
    CURLU *url = target ? curl_url() : NULL;
    if (url && curl_url_set(url, CURLUPART_URL, target, CURLU_NON_SUPPORT_SCHEME) == CURLUE_OK &&
        curl_url_get(url, CURLUPART_HOST, &host, 0) == CURLUE_OK && host && !has_control(host))
        snprintf(text, TEXT_SIZE, "redirect to %.100s refused", host);
    else
        snprintf(text, TEXT_SIZE, "redirect refused (%ld)", status);
    curl_free(host);
    curl_url_cleanup(url);
}

static int64_t asked_to_wait_s(const struct post *post, int64_t wall_ms) {
    struct curl_header *header = NULL;
    bool found =
        curl_easy_header(post->easy, "Retry-After", 0, CURLH_HEADER, -1, &header) == CURLHE_OK;
    return found ? retry_after_s(header->value, wall_ms) : -1;
}

static void answer_text(const struct post *post, long status, char *text) {
    if (status >= 300 && status < 400)
        redirect_text(post, status, text);
    else
        snprintf(text, TEXT_SIZE, "%ld", status);
}

static void post_report(struct delivery *delivery, struct post *post, CURLcode code,
                        int64_t wall_ms) {
    char text[TEXT_SIZE] = "";
    struct delivery_result result = {
        .row = post->row, .contact = post->contact, .retry_after_s = -1, .text = text};
    if (post->head_complete) {
        long status = 0;
        curl_easy_getinfo(post->easy, CURLINFO_RESPONSE_CODE, &status);
        result.status = (int)status;
        result.retry_after_s = asked_to_wait_s(post, wall_ms);
        answer_text(post, status, text);
    } else if (post->refusal && (post->never_started || code == CURLE_COULDNT_CONNECT ||
                                 code == CURLE_ABORTED_BY_CALLBACK)) {
        snprintf(text, sizeof text, "%s", post->refusal);
    } else {
        failure_text(post, code, text);
    }
    for (struct post **place = &delivery->posts; *place; place = &(*place)->next)
        if (*place == post) {
            *place = post->next;
            break;
        }
    delivery->count--;
    post->callbacks.done(post->callbacks.context, &result);
    post_free(delivery, post);
}

static void report_never_started(struct delivery *delivery, int64_t wall_ms) {
    for (size_t left = delivery->never_started; left > 0; left--) {
        struct post *post = delivery->posts;
        while (post && !post->never_started)
            post = post->next;
        delivery->never_started--;
        if (post)
            post_report(delivery, post, CURLE_OK, wall_ms);
    }
}

void delivery_turn(struct delivery *delivery, int64_t wall_ms) {
    int running = 0, waiting = 0;
    report_never_started(delivery, wall_ms);
    curl_multi_perform(delivery->multi, &running);
    const CURLMsg *message;
    while ((message = curl_multi_info_read(delivery->multi, &waiting))) {
        struct post *post = NULL;
        CURLcode code = message->data.result;
        curl_easy_getinfo(message->easy_handle, CURLINFO_PRIVATE, &post);
        if (message->msg == CURLMSG_DONE && post)
            post_report(delivery, post, code, wall_ms);
    }
}

/* ---- the wait of the loop ---- */

static bool reserve_waits(struct delivery *delivery, size_t count) {
    if (count <= delivery->wait_capacity)
        return true;
    struct curl_waitfd *longer = realloc(delivery->waits, count * sizeof *longer);
    if (!longer)
        return false;
    delivery->waits = longer;
    delivery->wait_capacity = count;
    return true;
}

void delivery_wait(struct delivery *delivery, struct delivery_descriptor *descriptors, size_t count,
                   int timeout_ms) {
    for (size_t i = 0; i < count; i++)
        descriptors[i].readable = descriptors[i].writable = false;
    if (!reserve_waits(delivery, count)) {
        poll(NULL, 0, 10); /* out of memory: the loop goes on, without spinning */
        return;
    }
    size_t used = 0;
    for (size_t i = 0; i < count; i++) {
        short events = (short)((descriptors[i].want_read ? CURL_WAIT_POLLIN : 0) |
                               (descriptors[i].want_write ? CURL_WAIT_POLLOUT : 0));
        if (descriptors[i].descriptor >= 0)
            delivery->waits[used++] =
                (struct curl_waitfd){.fd = descriptors[i].descriptor, .events = events};
    }
    int limit_ms = delivery->never_started > 0 ? 0 : timeout_ms;
    if (curl_multi_poll(delivery->multi, delivery->waits, (unsigned)used, limit_ms, NULL) !=
        CURLM_OK) {
        poll(NULL, 0, 10);
        return;
    }
    used = 0;
    for (size_t i = 0; i < count; i++) {
        if (descriptors[i].descriptor < 0)
            continue;
        short happened = delivery->waits[used++].revents;
        descriptors[i].readable = (happened & CURL_WAIT_POLLIN) != 0;
        descriptors[i].writable = (happened & CURL_WAIT_POLLOUT) != 0;
    }
}
