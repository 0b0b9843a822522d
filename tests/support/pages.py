"""pages: the daemon's pages in tests: an answer as text and tags, forms, and somebody signed in."""
import re
import time
from html.parser import HTMLParser
from urllib.parse import urlencode

from harness import check, equal

PASSWORD, OTHER_PASSWORD = "three small pumps", "another pump"
# crypt(5), by mkpasswd -m yescrypt and mkpasswd -m sha512crypt.
HASH = "$y$j9T$.DBESQLS8YFDwhijMfinK0$NJ5X2sXrMd9oXnZFh2.xbh10vCvYfSKWQhvzhcX6/U7"
OTHER_HASH = "$6$y57iKLuvjc9s.iKM$Uth5LVy32o4REe3deiP7DdCfii0eMoEmMQip6ggOPlTWu5qGOtlR25x7zeKu.rBwhsZoVHNEoZtgTu2x9ZtFq/"


class Page(HTMLParser):
    """Text, tags and balance of an answer; anything out of balance is an error."""
    VOID = {"meta", "link", "input", "br", "hr", "img"}

    def __init__(self, text):
        super().__init__(convert_charrefs=True)
        self.stack, self.tags, self.text, self.errors = [], [], "", []
        self.spoken, self.speaks = [], None  # what an alert and the reasons beside fields say
        self.feed(text)
        self.close()
        if self.stack:
            self.errors.append(f"never closed: {self.stack}")

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        given = dict(attrs)
        if given.get("role") == "alert":
            self.speaks = (len(self.stack), "")
        elif given.get("class") == "wrong":
            self.speaks = (len(self.stack), re.sub(r"-\d+$", "", given["id"][len("wrong-"):]))
        if len(attrs) != len(dict(attrs)):
            self.errors.append(f"an attribute twice in {tag}")
        if tag not in self.VOID:
            self.stack.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        if tag in self.VOID:
            return
        if not self.stack or self.stack.pop() != tag:
            self.errors.append(f"</{tag}> out of place")
        if self.speaks and len(self.stack) <= self.speaks[0]:
            self.speaks = None

    def handle_data(self, data):
        self.text += data
        if self.speaks:
            self.spoken.append((*self.speaks, data))

    def all(self, tag):
        return [attributes for name, attributes in self.tags if name == tag]

    def token(self):
        return next((a["value"] for a in self.all("input") if a.get("name") == "token"), None)


def fetch(daemon, path, status=200, **headers):
    answer = daemon.request("GET", path, page=True, headers=headers)
    while answer.status == 503:  # busy: come again, as it says
        time.sleep(0.3)
        answer = daemon.request("GET", path, page=True, headers=headers)
    equal(answer.status, status, path)
    page = Page(answer.body.decode())
    equal(page.errors, [], f"markup of {path}")
    return page


def origin(daemon):
    return f"http://127.0.0.1:{daemon.page_port}"


def post_form(daemon, path, fields, cookie=None, **headers):
    sent = {"Content-Type": "application/x-www-form-urlencoded", "Origin": origin(daemon), **headers}
    if cookie:
        sent["Cookie"] = cookie
    sent = {name: value for name, value in sent.items() if value is not None}
    return daemon.request("POST", path, urlencode(fields), page=True, headers=sent)


def fields_of(page):
    """The fields of the last form of a page as a browser would send them."""
    fields, select = {}, None
    for tag, a in page.tags:
        if tag == "form":
            fields, select = {}, None
        elif tag == "input" and a.get("name") and (a.get("type") not in ("checkbox", "radio") or "checked" in a):
            fields[a["name"]] = a.get("value", "")
        elif tag == "select":
            select = a["name"]
            fields[select] = ""
        elif tag == "option" and select and "selected" in a:
            fields[select] = a["value"]
    return fields


def reasons_of(page):
    """Why a form came back, by the name of the field; "": the form as a whole."""
    reasons = {}
    for _, name, text in page.spoken:
        reasons[name] = " ".join([*([reasons[name]] if name in reasons else []), text])
    return reasons


# Words of an English reason that no other language writes alike.
ENGLISH = re.compile(r"\b(is|not|allowed|taken|missing|such|with|the|outside|long|another|too|way|impossible)\b")


def check_spanish(page, what):
    """Each reason of a form that came back to a Spanish reader is in Spanish."""
    reasons = reasons_of(page)
    check(reasons, f"{what}: no reason")
    for field, why in reasons.items():
        check(not ENGLISH.search(re.sub(r"\"[^\"]*\"", "", why)), f"{what}: {field}: {why}")


def picks(page, *parts):
    """What the boxes of the list of unclaimed topics send, of topics with one of these parts."""
    return [a["value"] for a in page.all("input") if a.get("name") == "pick" and
            any(part in a["value"] for part in parts)]


class Session:
    def __init__(self, daemon, name="installer", password=PASSWORD):
        self.daemon = daemon
        answer = post_form(daemon, "/sign-in", {"name": name, "password": password})
        equal(answer.status, 303, f"sign-in of {name}")
        self.set_cookie = answer.headers["Set-Cookie"]
        self.cookie = self.set_cookie.split(";")[0]
        self.token = fetch(daemon, "/", Cookie=self.cookie).token()
        check(self.token, "a token in the pages of a session")

    def post(self, path, status=303, **fields):
        answer = post_form(self.daemon, path, {"token": self.token, **fields}, self.cookie)
        equal(answer.status, status, f"POST {path}: {Page(answer.body.decode()).text[-200:]}")
        return answer

    def get(self, path, status=200):
        return fetch(self.daemon, path, status, Cookie=self.cookie)


def share(session, ident):
    """Makes the homeowner's link of a house; its path."""
    session.post(f"/systems/{ident}/share")
    (link,) = [a["href"] for a in session.get(f"/systems/{ident}").all("a") if a.get("href", "").startswith("/share/")]
    return link
