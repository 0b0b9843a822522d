#include "link/web_server_response.h"

#include <assert.h>
#include <microhttpd.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#define STREAM_BLOCK_BYTES (16 * 1024)

static const char *const security_headers[][2] = {
    {"X-Content-Type-Options", "nosniff"},
    {"Referrer-Policy", "no-referrer"},
    {"Content-Security-Policy",
     "default-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'; "
     "object-src 'none'"},
    {"X-Frame-Options", "DENY"},
    {"Cross-Origin-Opener-Policy", "same-origin"},
    {"Cross-Origin-Resource-Policy", "same-origin"},
};

static bool add_headers(struct MHD_Response *response, const struct web_answer *answer) {
    bool has_cache_control = false;
    for (size_t i = 0; i < sizeof(security_headers) / sizeof(security_headers[0]); i++) {
        if (MHD_add_response_header(response, security_headers[i][0], security_headers[i][1]) ==
            MHD_NO)
            return false;
    }
    for (size_t i = 0; i < answer->header_count; i++) {
        if (strcasecmp(answer->headers[i].name, "Cache-Control") == 0)
            has_cache_control = true;
        if (!answer->headers[i].value ||
            MHD_add_response_header(response, answer->headers[i].name, answer->headers[i].value) ==
                MHD_NO) /* such as a line break in it */
            return false;
    }
    if (!has_cache_control &&
        MHD_add_response_header(response, "Cache-Control", "no-store") == MHD_NO)
        return false;
    return !answer->content_type ||
           MHD_add_response_header(response, "Content-Type", answer->content_type) == MHD_YES;
}

static ssize_t read_stream(void *context, uint64_t position, char *buffer, size_t size) {
    (void)position;
    const struct web_stream *stream = context;
    ssize_t length = stream->next(stream->context, buffer, size);
    if (length == WEB_STREAM_END)
        return MHD_CONTENT_READER_END_OF_STREAM;
    return length < 0 ? MHD_CONTENT_READER_END_WITH_ERROR : length;
}

static void close_stream(void *context) {
    const struct web_stream *stream = context;
    stream->close(stream->context);
    free(context);
}

/** Takes the answer's stream over when it can be made. */
static struct MHD_Response *make_streaming(struct web_answer *answer) {
    struct web_stream *stream = malloc(sizeof(*stream));
    if (!stream)
        return NULL;
    *stream = answer->stream;
    struct MHD_Response *response = MHD_create_response_from_callback(
        MHD_SIZE_UNKNOWN, STREAM_BLOCK_BYTES, read_stream, stream, close_stream);
    if (response)
        answer->stream = (struct web_stream){0};
    else
        free(stream);
    return response;
}

static struct MHD_Response *try_response(struct web_answer *answer) {
    struct MHD_Response *response;
    if (answer->stream.next) {
        response = make_streaming(answer);
    } else if (answer->static_body) {
        response = MHD_create_response_from_buffer(
            answer->body_length, (void *)(uintptr_t)answer->static_body, MHD_RESPMEM_PERSISTENT);
    } else {
        size_t length = answer->body ? answer->body_length : 0;
        response = MHD_create_response_from_buffer(length, answer->body, MHD_RESPMEM_MUST_FREE);
        if (response)
            answer->body = NULL; /* the library frees it now */
    }
    if (response && !add_headers(response, answer)) {
        MHD_destroy_response(response);
        response = NULL;
    }
    return response;
}

static void answer_free(struct web_answer *answer) {
    free(answer->body);
    if (answer->stream.close)
        answer->stream.close(answer->stream.context);
    for (size_t i = 0; i < answer->header_count; i++)
        free(answer->headers[i].value);
}

static struct MHD_Response *failure(void) {
    static const char text[] = "The answer could not be made.\n";
    struct web_answer answer = {.content_type = "text/plain; charset=utf-8",
                                .static_body = text,
                                .body_length = sizeof(text) - 1};
    return try_response(&answer);
}

struct MHD_Response *web_response_make(struct web_answer *answer, bool has_body, unsigned *status) {
    assert(answer->header_count <= sizeof(answer->headers) / sizeof(answer->headers[0]));
    bool streams = answer->stream.next != NULL;
    struct MHD_Response *response = try_response(answer);
    *status = (unsigned)answer->status;
    if (!response || answer->status < 200 || answer->status > 599) {
        if (response)
            MHD_destroy_response(response);
        response = failure();
        *status = MHD_HTTP_INTERNAL_SERVER_ERROR;
    }
    answer_free(answer);
    if (response && streams && !has_body)
        /* The library (0.9.75) would send the end of a chunked body that is not there. */
        MHD_set_response_options(response, MHD_RF_HTTP_VERSION_1_0_ONLY, MHD_RO_END);
    return response;
}

/* ---- refusals ---- */

static const struct {
    int status;
    const char *text;
} refusals[] = {
    {MHD_HTTP_BAD_REQUEST, "This request is not well formed.\n"},
    {MHD_HTTP_METHOD_NOT_ALLOWED, "Only GET, HEAD and POST are answered here.\n"},
    {MHD_HTTP_CONTENT_TOO_LARGE, "The body is too large.\n"},
    {MHD_HTTP_URI_TOO_LONG, "The address is too long.\n"},
    {MHD_HTTP_MISDIRECTED_REQUEST, "This host name is not answered here.\n"},
};

struct web_answer web_refusal(int status) {
    struct web_answer answer = {.status = status, .content_type = "text/plain; charset=utf-8"};
    for (size_t i = 0; i < sizeof(refusals) / sizeof(refusals[0]); i++) {
        if (refusals[i].status == status)
            answer.static_body = refusals[i].text;
    }
    answer.body_length = answer.static_body ? strlen(answer.static_body) : 0;
    if (status == MHD_HTTP_METHOD_NOT_ALLOWED) {
        answer.headers[0].name = "Allow";
        answer.headers[0].value = strdup("GET, HEAD, POST");
        answer.header_count = 1;
    }
    if (status == MHD_HTTP_BAD_REQUEST) { /* whatever follows may be a part of it */
        answer.headers[0].name = "Connection";
        answer.headers[0].value = strdup("close");
        answer.header_count = 1;
    }
    return answer;
}
