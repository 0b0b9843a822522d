"""A local endpoint that takes the demonstration's messages and shows each as its reader gets it."""

import base64
import hashlib
import hmac
import http.server
import json
import queue
import textwrap
import threading
import time

WIDTH = 80
ROLES = {"office": "contractor", "workshop": "technician"}
KINDS = {
    "subslab.alarm.raised": "raised", "subslab.alarm.returned": "over",
    "subslab.alarm.acknowledged": "acknowledged", "subslab.alarm.reminder": "reminder",
    "subslab.alarm.escalated": "escalated", "subslab.digest": "digest",
    "subslab.visit.due": "due", "subslab.test": "test",
    "subslab.home.report": "household",
}


def role_of(contact):
    return ROLES.get(contact, "homeowner")


def signature_is_good(secret, headers, body):
    """Standard Webhooks: HMAC-SHA256 over id, time and body, in base64."""
    signed = b".".join((headers["webhook-id"].encode(), headers["webhook-timestamp"].encode(),
                        body))
    key = base64.b64decode(secret.removeprefix("whsec_"))
    expected = base64.b64encode(hmac.new(key, signed, hashlib.sha256).digest()).decode()
    given = headers.get("webhook-signature", "").split()
    return any(hmac.compare_digest(one, "v1," + expected) for one in given)


class Letter:
    """One message as it arrived."""

    def __init__(self, contact, event):
        data = event.get("data") or {}
        self.contact = contact
        self.role = role_of(contact)
        self.kind = KINDS.get(event["type"], event["type"])
        self.system = event.get("subject", "")
        self.condition = data.get("condition", "")
        self.text = data.get("text", "")
        self.arrived = time.strftime("%H:%M:%S")

    def key(self):
        return (self.system, self.condition, self.kind, self.role)

    def lines(self):
        """The message, framed and wrapped for a terminal."""
        head = f" to the {self.role} ({self.contact})"
        yield "─" * WIDTH
        yield head + f"{self.arrived}  {self.kind} ".rjust(WIDTH - len(head))
        yield "─" * WIDTH
        for line in self.text.splitlines():
            hang = "  " if line.startswith("- ") else ""
            yield from (textwrap.wrap(line, WIDTH - 2, initial_indent=" ",
                                      subsequent_indent=" " + hang) or [""])
        yield ""


class Mailbox:
    """Listens on a free port of loopback; `letters` is a queue of what came, in order."""

    def __init__(self, secrets):
        self.secrets = secrets  # by contact
        self.letters = queue.Queue()
        self.forged = 0
        self.seen = set()
        mailbox = self

        class Handler(http.server.BaseHTTPRequestHandler):
            def do_POST(self):
                body = self.rfile.read(int(self.headers.get("content-length", 0)))
                self.send_response(204 if mailbox.take(self.path.strip("/"), self.headers, body)
                                   else 400)
                self.end_headers()

            def log_message(self, *_arguments):
                pass

        self.server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.server.daemon_threads = True
        self.url = "http://127.0.0.1:%d" % self.server.server_address[1]
        threading.Thread(target=self.server.serve_forever, daemon=True).start()

    def take(self, contact, headers, body):
        secret = self.secrets.get(contact)
        if secret and not signature_is_good(secret, headers, body):
            self.forged += 1
            return False
        if headers["webhook-id"] not in self.seen:  # a repeated try has the same id
            self.seen.add(headers["webhook-id"])
            self.letters.put(Letter(contact, json.loads(body)))
        return True

    def close(self):
        self.server.shutdown()
        self.server.server_close()
