#include "link/broker_tls.h"

#include "link/name_lookup.h"

#include <openssl/err.h>
#include <openssl/ssl.h>
#include <openssl/x509_vfy.h>
#include <openssl/x509v3.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct broker_tls {
    SSL_CTX *context;
    char *host, *ca;
    bool host_is_address;
    char failure[256];
};

/** What is wrong with the certificate and what to look at. */
static void describe_certificate(struct broker_tls *tls, X509_STORE_CTX *store) {
    int error = X509_STORE_CTX_get_error(store);
    const char *text = X509_verify_cert_error_string(error);
    const char *trusted = tls->ca ? tls->ca : "the system's certification authorities";
    switch (error) {
    case X509_V_ERR_HOSTNAME_MISMATCH:
    case X509_V_ERR_IP_ADDRESS_MISMATCH:
        snprintf(tls->failure, sizeof(tls->failure), "the certificate is for another name than %s",
                 tls->host);
        break;
    case X509_V_ERR_CERT_HAS_EXPIRED:
        snprintf(tls->failure, sizeof(tls->failure),
                 "the certificate has expired (or our clock is wrong)");
        break;
    case X509_V_ERR_CERT_NOT_YET_VALID:
        snprintf(tls->failure, sizeof(tls->failure),
                 "the certificate is not valid yet (or our clock is wrong)");
        break;
    default:
        snprintf(tls->failure, sizeof(tls->failure), "the certificate is not trusted by %s: %s",
                 trusted, text);
    }
}

static int verify(int accepted, X509_STORE_CTX *store) {
    const SSL *ssl = X509_STORE_CTX_get_ex_data(store, SSL_get_ex_data_X509_STORE_CTX_idx());
    struct broker_tls *tls = SSL_CTX_get_app_data(SSL_get_SSL_CTX(ssl));
    if (!accepted && !tls->failure[0])
        describe_certificate(tls, store);
    return accepted;
}

/**
 * The library sets the server name indication to the address it connects to; the broker should hear
 * the name. Any other failed handshake (a plain server, no common version) is put in words here.
 */
static void watch_handshake(const SSL *ssl, int where, int result) {
    struct broker_tls *tls = SSL_CTX_get_app_data(SSL_get_SSL_CTX(ssl));
    if (where & SSL_CB_HANDSHAKE_START) {
        SSL *changing = (SSL *)(uintptr_t)ssl; /* the callback's type is const, its object is not */
        SSL_set_tlsext_host_name(changing, tls->host_is_address ? NULL : tls->host);
    }
    if (tls->failure[0])
        return;
    if ((where & SSL_CB_READ_ALERT) == SSL_CB_READ_ALERT && (result >> 8) == SSL3_AL_FATAL)
        snprintf(tls->failure, sizeof(tls->failure), "the broker refuses: %s",
                 SSL_alert_desc_string_long(result));
    else if ((where & SSL_CB_CONNECT_EXIT) == SSL_CB_CONNECT_EXIT && result <= 0 &&
             ERR_peek_last_error() != 0) /* 0: it only waits for the socket */
        snprintf(tls->failure, sizeof(tls->failure), "no TLS with this broker and port: %s",
                 ERR_reason_error_string(ERR_peek_last_error()));
}

static bool load_files(struct broker_tls *tls, const struct broker_tls_files *files, char *why,
                       size_t why_size) {
    const char *failed = NULL;
    if (files->ca ? !SSL_CTX_load_verify_locations(tls->context, files->ca, NULL)
                  : !SSL_CTX_set_default_verify_paths(tls->context))
        failed = files->ca ? files->ca : "the system's certification authorities";
    else if (files->certificate &&
             SSL_CTX_use_certificate_chain_file(tls->context, files->certificate) != 1)
        failed = files->certificate;
    else if (files->key &&
             (SSL_CTX_use_PrivateKey_file(tls->context, files->key, SSL_FILETYPE_PEM) != 1 ||
              SSL_CTX_check_private_key(tls->context) != 1))
        failed = files->key;
    if (!failed)
        return true;
    const char *reason = ERR_reason_error_string(ERR_peek_last_error());
    snprintf(why, why_size, "%s: cannot be used for TLS: %s", failed,
             reason ? reason : "unreadable");
    ERR_clear_error();
    return false;
}

static bool set_up(struct broker_tls *tls) {
    SSL_CTX_set_app_data(tls->context, tls);
    SSL_CTX_set_min_proto_version(tls->context, TLS1_2_VERSION);
    SSL_CTX_set_mode(tls->context,
                     SSL_MODE_ENABLE_PARTIAL_WRITE | SSL_MODE_ACCEPT_MOVING_WRITE_BUFFER);
    SSL_CTX_set_verify(tls->context, SSL_VERIFY_PEER, verify);
    SSL_CTX_set_info_callback(tls->context, watch_handshake);
    X509_VERIFY_PARAM *rules = SSL_CTX_get0_param(tls->context);
    X509_VERIFY_PARAM_set_hostflags(rules, X509_CHECK_FLAG_NO_PARTIAL_WILDCARDS);
    return tls->host_is_address ? X509_VERIFY_PARAM_set1_ip_asc(rules, tls->host) == 1
                                : X509_VERIFY_PARAM_set1_host(rules, tls->host, 0) == 1;
}

struct broker_tls *broker_tls_create(const char *host, const struct broker_tls_files *files,
                                     char *why, size_t why_size) {
    struct broker_tls *tls = calloc(1, sizeof(*tls));
    if (tls) {
        tls->host = strdup(host);
        tls->ca = files->ca ? strdup(files->ca) : NULL;
        tls->host_is_address = name_lookup_is_address(host);
        tls->context = SSL_CTX_new(TLS_client_method());
    }
    if (!tls || !tls->host || (files->ca && !tls->ca) || !tls->context || !set_up(tls))
        snprintf(why, why_size, "TLS cannot be set up for %s", host);
    else if (load_files(tls, files, why, why_size))
        return tls;
    broker_tls_destroy(tls);
    return NULL;
}

void broker_tls_destroy(struct broker_tls *tls) {
    if (!tls)
        return;
    SSL_CTX_free(tls->context);
    free(tls->host);
    free(tls->ca);
    free(tls);
}

void *broker_tls_context(struct broker_tls *tls) {
    return tls->context;
}

void broker_tls_begin(struct broker_tls *tls) {
    tls->failure[0] = '\0';
}

const char *broker_tls_failure(struct broker_tls *tls) {
    return tls->failure;
}

bool broker_tls_pending(void *ssl) {
    return ssl && SSL_pending(ssl) > 0;
}
