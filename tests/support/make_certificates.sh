#!/bin/sh
# make_certificates.sh FOLDER: a certificate authority of the tests and server certificates, good
# and bad: ca.pem, other-ca.pem, good, wrong-host, expired, self-signed (each .pem and .key).
set -eu
folder=$1
mkdir -p "$folder"
cd "$folder"
quiet() { "$@" >/dev/null 2>&1; }
authority() { # NAME
    quiet openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -days 30 \
        -subj "/CN=$1" -addext basicConstraints=critical,CA:true \
        -addext keyUsage=critical,keyCertSign -keyout "$1.key" -out "$1.pem"
}
server() { # NAME SUBJECT-ALTERNATIVE-NAME FROM UNTIL
    quiet openssl req -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -subj "/CN=$1" \
        -keyout "$1.key" -out "$1.csr"
    printf 'subjectAltName=%s\nextendedKeyUsage=serverAuth\n' "$2" > "$1.ext"
    : > index.txt
    cat > ca.conf <<CONF
[ca]
default_ca = tests
[tests]
database = index.txt
new_certs_dir = .
default_md = sha256
policy = anything
rand_serial = yes
unique_subject = no
[anything]
commonName = supplied
CONF
    quiet openssl ca -batch -notext -config ca.conf -cert ca.pem -keyfile ca.key \
        -extfile "$1.ext" -startdate "$3" -enddate "$4" -in "$1.csr" -out "$1.pem"
}
authority ca
authority other-ca
server good IP:127.0.0.1,DNS:localhost,DNS:radon.example 20200101000000Z 20491231235959Z
server wrong-host DNS:other.example 20200101000000Z 20491231235959Z
server expired IP:127.0.0.1,DNS:localhost 20200101000000Z 20210101000000Z
quiet openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -days 30 \
    -subj /CN=localhost -addext subjectAltName=IP:127.0.0.1 \
    -keyout self-signed.key -out self-signed.pem
