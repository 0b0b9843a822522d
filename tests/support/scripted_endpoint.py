#!/usr/bin/env python3
"""scripted_endpoint: an HTTP endpoint on a free loopback port that does as its script says.

As a module:

    with ScriptedEndpoint({"/hook": [{"status": 503, "headers": {"Retry-After": "2"}},
                                     {"status": 204}]}) as endpoint:
        ... post to endpoint.url("/hook") ...
        endpoint.wait_for(2)
        endpoint.requests[0]["body"]

As a program (prints "PORT n" once it listens, ends when its standard input closes):

    scripted_endpoint.py --script '{"/hook": {"status": 204}}' --log requests.jsonl

A script maps a path (without its query) to one step or a list of steps, used in turn, the last one
again and again; "*" stands for every other path; without it 204 is answered. A step:

    status    number, default 204          headers   {name: value}, added to the answer
    body      text                         delay     seconds before the status line
    delay_headers  seconds within the head delay_body  seconds between head and body
    drip      seconds between single bytes of the whole answer
    cut       "answer", "head" or "body": closes before it, in the middle of it
    reset     true: resets the connection instead of answering
    huge      bytes of body, sent until the client goes away
    gzip_zeros  bytes of zeros, compressed, as the body
    redirect  URL: 302 (or `status`) with Location
    raw       text sent as it is instead of an answer; then closes
    close     true: closes after the answer

Each request is one line of JSON in the log: {"at", "method", "path", "query", "headers", "body",
"connection"}; when an answer is huge, a line {"path", "sent"} follows. Header names are lower case.
"""
import argparse
import functools
import json
import socket
import ssl
import struct
import sys
import threading
import time
import zlib
from urllib.parse import urlsplit

HEAD_MAX = 1 << 20


class ClientGone(Exception):
    pass


class ScriptedEndpoint:
    def __init__(self, script=None, log=None, certificate=None, key=None, tls_maximum=None,
                 port=0):
        self.script = dict(script or {})
        self.requests = []
        self.sent = []
        self._log = open(log, "a", encoding="utf-8") if log else None
        self._used = {}
        self._changed = threading.Condition()
        self._stopping = threading.Event()
        self._open = set()
        self._connections = 0
        self._tls = _tls_context(certificate, key, tls_maximum) if certificate else None
        self._listener = socket.create_server(("127.0.0.1", port), backlog=256)
        self.port = self._listener.getsockname()[1]
        threading.Thread(target=self._accept, daemon=True).start()

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()

    def url(self, path="/"):
        return f"{'https' if self._tls else 'http'}://127.0.0.1:{self.port}{path}"

    def set(self, path, steps):
        """Changes what a path answers from now on."""
        with self._changed:
            self.script[path] = steps
            self._used.pop(path, None)

    def wait_for(self, count, timeout=10, path=None):
        """Waits for `count` requests (of one path); the list of them. Raises TimeoutError."""
        def matching():
            return [r for r in self.requests if path is None or r["path"] == path]
        with self._changed:
            if not self._changed.wait_for(lambda: len(matching()) >= count, timeout):
                raise TimeoutError(f"{len(matching())} of {count} requests within {timeout} s")
            return matching()

    def close(self):
        self._stopping.set()
        self._listener.close()
        with self._changed:
            for connection in list(self._open):
                try:
                    connection.shutdown(socket.SHUT_RDWR)
                except OSError:
                    pass
        if self._log:
            self._log.close()
            self._log = None

    # ---- connections ----

    def _accept(self):
        while not self._stopping.is_set():
            try:
                connection, _ = self._listener.accept()
            except OSError:
                return
            threading.Thread(target=self._serve, args=(connection,), daemon=True).start()

    def _serve(self, connection):
        with self._changed:
            self._connections += 1
            number = self._connections
            self._open.add(connection)
        try:
            if self._tls:
                connection = self._tls.wrap_socket(connection, server_side=True)
            buffered = b""
            while True:
                request, buffered = self._read_request(connection, buffered)
                request["connection"] = number
                self._note(request)
                if not self._answer(connection, request, self._next_step(request["path"])):
                    break
        except (OSError, ClientGone, ValueError):
            pass
        finally:
            with self._changed:
                self._open.discard(connection)
            try:
                connection.close()
            except OSError:
                pass

    @staticmethod
    def _read_request(connection, data):
        while b"\r\n\r\n" not in data:
            more = connection.recv(65536)
            if not more or len(data) > HEAD_MAX:
                raise ClientGone
            data += more
        head, data = data.split(b"\r\n\r\n", 1)
        lines = head.decode("latin-1").split("\r\n")
        method, target, _ = lines[0].split(" ", 2)
        headers = {}
        for line in lines[1:]:
            name, value = line.split(":", 1)
            headers[name.strip().lower()] = value.strip()
        length = int(headers.get("content-length", "0"))
        while len(data) < length:
            more = connection.recv(65536)
            if not more:
                raise ClientGone
            data += more
        parts = urlsplit(target)
        request = {"at": time.time(), "method": method, "path": parts.path, "query": parts.query,
                   "headers": headers, "body": data[:length].decode("utf-8", "replace")}
        return request, data[length:]

    def _note(self, line):
        with self._changed:
            (self.sent if "sent" in line else self.requests).append(line)
            if self._log:
                self._log.write(json.dumps(line) + "\n")
                self._log.flush()
            self._changed.notify_all()

    def _next_step(self, path):
        with self._changed:
            steps = self.script.get(path, self.script.get("*", {"status": 204}))
            if isinstance(steps, dict):
                return steps
            used = self._used.get(path, 0)
            self._used[path] = used + 1
            return steps[min(used, len(steps) - 1)]

    # ---- answers ----

    def _pause(self, seconds):
        if seconds and self._stopping.wait(seconds):
            raise ClientGone

    def _send(self, connection, data, step):
        if not step.get("drip"):
            connection.sendall(data)
            return
        for i in range(len(data)):
            connection.sendall(data[i:i + 1])
            self._pause(step["drip"])

    def _answer(self, connection, request, step):
        """True: the connection stays open."""
        self._pause(step.get("delay"))
        if step.get("reset"):
            connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
            return False
        if "raw" in step:
            connection.sendall(step["raw"].encode("latin-1"))
            return False
        if step.get("cut") == "answer":
            return False
        head, body = _head_and_body(step)
        if step.get("cut") == "head" or step.get("delay_headers"):
            half = len(head) // 2
            self._send(connection, head[:half], step)
            if step.get("cut") == "head":
                return False
            self._pause(step["delay_headers"])
            head = head[half:]
        self._send(connection, head, step)
        self._pause(step.get("delay_body"))
        if step.get("huge"):
            self._send_huge(connection, request["path"], step["huge"])
            return False
        if step.get("cut") == "body":
            self._send(connection, body[:len(body) // 2], step)
            return False
        self._send(connection, body, step)
        return not step.get("close")

    def _send_huge(self, connection, path, size):
        sent, block = 0, b"x" * 65536
        try:
            while sent < size and not self._stopping.is_set():
                sent += connection.send(block[:size - sent])
        finally:
            self._note({"path": path, "sent": sent})


@functools.lru_cache
def zeros_compressed(size):
    """About a thousandth of it as gzip (RFC 1952)."""
    packer, block = zlib.compressobj(wbits=31), bytes(1 << 20)
    return b"".join([packer.compress(block) for _ in range(size >> 20)] + [packer.flush()])


def _head_and_body(step):
    body = step.get("body", "").encode()
    if "gzip_zeros" in step:
        body = zeros_compressed(step["gzip_zeros"])
    status = step.get("status", 302 if "redirect" in step else 204)
    headers = dict(step.get("headers", {}))
    if "redirect" in step:
        headers["Location"] = step["redirect"]
    if status >= 200 and status not in (204, 304):
        headers.setdefault("Content-Length", str(step.get("huge") or len(body)))
    else:
        body = b""
    if step.get("close"):
        headers["Connection"] = "close"
    lines = [f"HTTP/1.1 {status} Scripted"] + [f"{n}: {v}" for n, v in headers.items()]
    return ("\r\n".join(lines) + "\r\n\r\n").encode("latin-1"), body


def _tls_context(certificate, key, maximum):
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    if maximum:
        context.minimum_version = ssl.TLSVersion.TLSv1
        context.maximum_version = ssl.TLSVersion[maximum]
        context.set_ciphers("ALL:@SECLEVEL=0")
    context.load_cert_chain(certificate, key)
    return context


def main():
    parser = argparse.ArgumentParser(description="A scripted HTTP endpoint on loopback.")
    parser.add_argument("--script", default="{}", help="JSON text, or @FILE")
    parser.add_argument("--log", help="file for one line of JSON a request")
    parser.add_argument("--port", type=int, default=0)
    parser.add_argument("--certificate")
    parser.add_argument("--key")
    parser.add_argument("--tls-maximum", help="TLSv1_1 and so on: nothing newer is offered")
    options = parser.parse_args()
    text = options.script
    if text.startswith("@"):
        with open(text[1:], encoding="utf-8") as file:
            text = file.read()
    import warnings
    warnings.simplefilter("ignore", DeprecationWarning)
    with ScriptedEndpoint(json.loads(text), options.log, options.certificate, options.key,
                          options.tls_maximum, options.port) as endpoint:
        print(f"PORT {endpoint.port}", flush=True)
        sys.stdin.buffer.read()


if __name__ == "__main__":
    main()
