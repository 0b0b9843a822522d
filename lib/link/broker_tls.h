/*
 * broker_tls: the TLS side of the broker connection (OpenSSL). A context of our own instead of the
 * library's, because the connection goes to an address that was looked up before while the
 * certificate must match the host name of the settings, and because a refused certificate has to
 * be told with its reason ("expired", "other name", "unknown issuer") and file. TLS 1.2 or later;
 * verification cannot be switched off.
 */
#ifndef LINK_BROKER_TLS_H
#define LINK_BROKER_TLS_H

#include <stdbool.h>
#include <stddef.h>

struct broker_tls;

struct broker_tls_files {
    const char *ca;          /* PEM, or NULL: the system's certification authorities */
    const char *certificate; /* our own certificate chain, PEM, or NULL */
    const char *key;         /* its key, PEM, or NULL */
};

/** Certificates must match `host`, a name or an address. NULL with a sentence in `why`. */
struct broker_tls *broker_tls_create(const char *host, const struct broker_tls_files *files,
                                     char *why, size_t why_size);
void broker_tls_destroy(struct broker_tls *tls); /* NULL does nothing */

/** The SSL_CTX for libmosquitto; owned by tls. */
void *broker_tls_context(struct broker_tls *tls);

/** A new handshake begins: forgets the last failure. */
void broker_tls_begin(struct broker_tls *tls);
/** Why the handshake since broker_tls_begin was given up; "" when it was not. Owned by tls. */
const char *broker_tls_failure(struct broker_tls *tls);

/** Does this SSL object (mosquitto_ssl_get; NULL allowed) hold bytes that poll cannot see? */
bool broker_tls_pending(void *ssl);

#endif
