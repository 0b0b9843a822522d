#!/usr/bin/env python3
"""The page below a path behind nginx, Caddy and HAProxy, each with TLS and the settings that
systemd/PROXY.md gives. The visitor is Python's own: its cookie jar keeps to RFC 6265 without us."""
import os
import re
import shutil
import socket
import subprocess
import sys
import urllib.error
import urllib.request
from html.parser import HTMLParser
from http.client import HTTPSConnection
from http.cookiejar import CookieJar
from ssl import create_default_context
from urllib.parse import urlencode, urljoin, urlsplit

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
from harness import (SOURCE, Skipped, Suite, check, dies_with_us, equal, free_port,  # noqa: E402
                     plain_point, system, wait_until, write_file)

NAME, BASE, PASSWORD = "radon.example", "/radon", "three small pumps"
# crypt(5), by mkpasswd -m yescrypt.
HASH = "$y$j9T$.DBESQLS8YFDwhijMfinK0$NJ5X2sXrMd9oXnZFh2.xbh10vCvYfSKWQhvzhcX6/U7"
suite = Suite()


# ---- proxies ----

def block_of(language):
    with open(os.path.join(SOURCE, "systemd", "PROXY.md"), encoding="utf-8") as page:
        return re.search(rf"```{language}\n(.*?)```", page.read(), re.DOTALL).group(1)


def replaced(text, *pairs):
    for old, new in pairs:
        check(old in text, f"PROXY.md has no {old!r}")
        text = text.replace(old, new)
    return text


class Proxy:
    """The documented settings with the ports and certificates of the test."""

    def __init__(self, place, page_port, also=()):
        self.folder, self.port = place.new_folder("proxy"), free_port()
        if not shutil.which(self.program, path=os.environ["PATH"] + ":/usr/sbin"):
            raise Skipped(f"{self.program} is not installed")
        subprocess.run(["sh", os.path.join(SOURCE, "tests/support/make_certificates.sh"),
                        self.folder], check=True)
        self.certificate, self.key = (os.path.join(self.folder, f"good.{end}") for end in ("pem", "key"))
        text = replaced(block_of(self.language), ("127.0.0.1:8148", f"127.0.0.1:{page_port}"), *also)
        settings = write_file(os.path.join(self.folder, "settings"), self.settings(text))
        with open(os.path.join(self.folder, "log"), "ab") as log:
            self.process = subprocess.Popen(
                [shutil.which(self.program, path=os.environ["PATH"] + ":/usr/sbin"),
                 *self.arguments(settings)], stdout=log, stderr=log, cwd=self.folder,
                env={**os.environ, "HOME": self.folder, "XDG_DATA_HOME": self.folder,
                     "XDG_CONFIG_HOME": self.folder}, preexec_fn=dies_with_us)
        place.at_end(self.end)
        wait_until(self.listens, 20, f"{self.program} listens: {self.log()}")

    def listens(self):
        check(self.process.poll() is None, f"{self.program} ended: {self.log()}")
        with socket.socket() as probe:
            return probe.connect_ex(("127.0.0.1", self.port)) == 0

    def log(self):
        with open(os.path.join(self.folder, "log"), encoding="utf-8", errors="replace") as file:
            return file.read()[-2000:]

    def end(self):
        self.process.terminate()
        self.process.wait(20)


class Nginx(Proxy):
    program, language = "nginx", "nginx"

    def settings(self, text):
        inner = replaced(text, ("listen 443 ssl", f"listen 127.0.0.1:{self.port} ssl"),
                         ("/etc/ssl/certs/radon.example.pem", self.certificate),
                         ("/etc/ssl/private/radon.example.key", self.key))
        room = "\n".join(f"{kind}_temp_path {self.folder}/{kind};" for kind in
                         ("client_body", "proxy", "fastcgi", "uwsgi", "scgi"))
        user = "user root;\n" if os.geteuid() == 0 else ""
        return (f"{user}daemon off;\nmaster_process off;\npid {self.folder}/pid;\n"
                f"error_log {self.folder}/log;\nevents {{}}\n"
                f"http {{\naccess_log off;\n{room}\n{inner}\n}}\n")

    def arguments(self, settings):
        return ["-p", self.folder, "-c", settings, "-e", os.path.join(self.folder, "log")]


class Caddy(Proxy):
    program, language = "caddy", "caddy"

    def settings(self, text):
        inner = replaced(text, ("radon.example {", f"{NAME}:{self.port} {{\n    bind 127.0.0.1"),
                         ("/etc/ssl/certs/radon.example.pem", self.certificate),
                         ("/etc/ssl/private/radon.example.key", self.key))
        return f"{{\n    admin off\n    auto_https disable_redirects\n}}\n{inner}"

    def arguments(self, settings):
        return ["run", "--config", settings, "--adapter", "caddyfile"]


class Haproxy(Proxy):
    program, language = "haproxy", "haproxy"

    def settings(self, text):
        both = os.path.join(self.folder, "both.pem")
        with open(self.certificate, encoding="ascii") as one, open(self.key, encoding="ascii") as two:
            write_file(both, one.read() + two.read())
        return replaced(text, ("bind :443", f"bind 127.0.0.1:{self.port}"),
                        ("/etc/ssl/private/radon.example.both.pem", both))

    def arguments(self, settings):
        return ["-db", "-f", settings]


# ---- a visitor ----

class Sheet(HTMLParser):
    """What a page leads to, and its forms: (method, action, hidden fields)."""

    def __init__(self, text):
        super().__init__()
        self.leads, self.forms = [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        values = dict(attrs)
        self.leads += [values[name] for name in ("href", "src") if values.get(name)]
        if tag == "form":
            self.forms.append((values.get("method", "get"), values["action"], {}))
        if tag == "input" and values.get("type") == "hidden" and self.forms:
            self.forms[-1][2][values["name"]] = values.get("value", "")

    handle_startendtag = handle_starttag


class NamedConnection(HTTPSConnection):
    """To this machine, whatever the host is called."""

    def __init__(self, *arguments, **more):
        super().__init__(*arguments, **more)
        self._create_connection = lambda address, *rest, **other: socket.create_connection(
            ("127.0.0.1", address[1]), *rest, **other)


class Handler(urllib.request.HTTPSHandler):
    def __init__(self, context):
        super().__init__(context=context)
        self.context = context

    def https_open(self, req):
        return self.do_open(NamedConnection, req, context=self.context)


class Visitor:
    def __init__(self, proxy):
        self.cookies, self.root = CookieJar(), f"https://{NAME}:{proxy.port}"
        context = create_default_context(cafile=os.path.join(proxy.folder, "ca.pem"))
        self.opener = urllib.request.build_opener(
            Handler(context), urllib.request.HTTPCookieProcessor(self.cookies))

    def open(self, address, fields=None, **headers):
        """(status, where it ended, body)"""
        sent = {"Origin": self.root, **headers} if fields is not None else headers
        body = urlencode(fields).encode() if isinstance(fields, dict) else fields
        request = urllib.request.Request(urljoin(self.root, address), body, sent)
        try:
            with self.opener.open(request, timeout=40) as answer:
                return answer.status, answer.url, answer.read().decode()
        except urllib.error.HTTPError as error:
            return error.code, error.url, error.read().decode(errors="replace")

    def sheet(self, address, fields=None):
        status, where, body = self.open(address, fields)
        equal(status, 200, f"{address}: {body[:300]}")
        check(urlsplit(where).path.startswith(BASE), f"{address} leads to {where}")
        return Sheet(body)

    def sign_in(self):
        asked = self.sheet(f"{BASE}/visits")
        method, action, hidden = next(form for form in asked.forms if "sign-in" in form[1])
        equal(method, "post", "the sign-in")
        _, where, _ = self.open(action, {**hidden, "name": "installer", "password": PASSWORD})
        equal(urlsplit(where).path, f"{BASE}/visits", "back to where it was asked for")

    def crawl(self, start):
        """Everything that can be reached by links: {path: body}."""
        found, waiting = {}, [start]
        while waiting:
            address = waiting.pop()
            split = urlsplit(address)
            if address in found or split.netloc not in ("", urlsplit(self.root).netloc):
                continue
            status, _, body = self.open(address)
            equal(status, 200, f"{address}: {body[:300]}")
            found[address] = body
            if "<html" not in body:
                continue
            sheet = Sheet(body)
            for _, action, _ in sheet.forms:
                check(action.startswith(BASE + "/"), f"a form of {address} goes to {action}")
            for lead in sheet.leads:
                if lead.startswith("#"):
                    continue
                check(lead == BASE or lead.startswith(BASE + "/"), f"{address} leads to {lead}")
                if "?" not in lead and lead not in found:
                    waiting.append(lead.split("#")[0])
        return found


# ---- what must be true behind each ----

def house(ident):
    return system(ident, [plain_point("suction")],
                  conditions={"suction-low": {"setpoint": "100 Pa", "deadband": "1 Pa",
                                              "on_delay": "0 s", "off_delay": "0 s"},
                              "suction-lost": {"enabled": "no"}})


def behind(place, kind, also=()):
    broker = place.broker()
    daemon = place.daemon(broker, [house("mill"), house("other")],
                          page={"access_file": "accounts", "hosts": [NAME], "base": BASE})
    daemon.secret("accounts", f"installer:{HASH}")
    daemon.start()
    broker.publish([("subslab/mill/suction", "50")])
    return daemon, daemon.alarm("suction-low")["id"], kind(place, daemon.page_port, also)


def all_leads_stay_below(visitor):
    pages = visitor.crawl(BASE + "/")
    for path in ("/", "/alarms", "/visits", "/visits.ics", "/systems/mill", "/systems/mill/record",
                 "/assets/style.css", "/assets/keys.js", "/assets/icon.svg"):
        check(BASE + path in pages, f"{path} was reached by links: {sorted(pages)}")
    check("BEGIN:VCALENDAR" in pages[BASE + "/visits.ics"], "the calendar")
    equal(visitor.open(BASE)[0], 200, "the path without a slash behind it")


def forms_work(visitor, daemon, alarm):
    form = next(form for form in visitor.sheet(f"{BASE}/alarms").forms if form[1].endswith("acknowledge"))
    equal(form[1], f"{BASE}/alarms/{alarm}/acknowledge", "the form of the alarm")
    status, where, _ = visitor.open(form[1], {**form[2], "note": "seen"})
    equal((status, urlsplit(where).path), (200, f"{BASE}/alarms"), "after it")
    equal(daemon.alarms()[0]["state"], "acknowledged", "the alarm")


def api_works(visitor, alarm):
    status, _, body = visitor.open(f"{BASE}/api/systems")
    check(status == 200 and '"mill"' in body, f"the API: {status} {body[:100]}")
    token = visitor.sheet(f"{BASE}/alarms").forms[0][2]["token"]
    status, _, body = visitor.open(f"{BASE}/api/alarms/{alarm}/shelve", b'{"by": "x", "until": "1 d", "why": "part"}',
                                   **{"Content-Type": "application/json", "X-Same-Site-Token": token})
    equal(status, 200, f"a change by the API: {body[:200]}")


def cookie_stays_below(visitor, proxy):
    kept = [(cookie.path, cookie.secure, cookie.domain) for cookie in visitor.cookies]
    equal(kept, [(BASE, True, NAME)], "the cookie")
    for path, goes in ((BASE, True), (BASE + "/alarms", True), ("/", False), ("/other", False),
                       (BASE + "x", False)):
        request = urllib.request.Request(f"https://{NAME}:{proxy.port}{path}")
        visitor.cookies.add_cookie_header(request)
        equal(request.has_header("Cookie"), goes, f"the cookie goes to {path}")


def homeowners_link_works(visitor, proxy):
    form = next(form for form in visitor.sheet(f"{BASE}/systems/mill").forms if form[1].endswith("/share"))
    made = visitor.sheet(form[1], form[2])
    link = next(lead for lead in made.leads if "/share/" in lead)
    check(link.startswith(f"{BASE}/share/mill."), f"the link: {link}")
    stranger = Visitor(proxy)
    pages = stranger.crawl(link)
    check(f"{link}/record" in pages and any("assets" in path for path in pages), f"seen: {sorted(pages)}")
    check("/sign-in" not in "".join(pages.values()), "no sign-in on what is shared")
    check(urlsplit(stranger.open(f"{BASE}/systems/mill")[1]).path == f"{BASE}/sign-in",
          "nothing else without signing in")
    equal(stranger.open(f"{BASE}/api/systems")[0], 401, "nor by the API")


def all_of_it(place, kind, also=()):
    daemon, alarm, proxy = behind(place, kind, also)
    stranger, visitor = Visitor(proxy), Visitor(proxy)
    equal(stranger.open(f"{BASE}/health")[0], 200, "health through the proxy")
    visitor.sign_in()
    cookie_stays_below(visitor, proxy)
    forms_work(visitor, daemon, alarm)
    api_works(visitor, alarm)
    all_leads_stay_below(visitor)
    homeowners_link_works(visitor, proxy)
    out = next(form for form in visitor.sheet(f"{BASE}/").forms if "sign-out" in form[1])
    visitor.open(out[1], out[2])
    equal(len(visitor.cookies), 0, "cookies after signing out")
    for path in ("/health", BASE + "/health"):
        equal(daemon.request("GET", path, page=True).status, 200, f"{path} at the machine itself")


@suite.test
def behind_nginx(place):
    all_of_it(place, Nginx)


@suite.test
def behind_nginx_that_cuts_the_path_off(place):
    all_of_it(place, Nginx, also=[("proxy_set_header Host",
                                   "rewrite ^/radon(/.*)$ $1 break;\n        proxy_set_header Host")])


@suite.test
def behind_caddy(place):
    all_of_it(place, Caddy)


@suite.test
def behind_haproxy(place):
    all_of_it(place, Haproxy)


if __name__ == "__main__":
    suite.run()
