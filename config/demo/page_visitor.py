"""Somebody who signs in on the demonstration's page and makes the link for a household."""

import http.client
import re
import urllib.parse


class PageVisitor:
    """A session on the page of loopback; `link_of` is what is wanted of it."""

    def __init__(self, port, account, password):
        self.port, self.cookie = port, None
        answer, _ = self._ask("POST", "/sign-in", {"name": account, "password": password})
        cookie = answer.getheader("Set-Cookie")
        if not cookie:
            raise ValueError("nobody can sign in on the page")
        self.cookie = cookie.split(";")[0]

    def _ask(self, method, path, fields=None):
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=20)
        headers = {"Origin": f"http://127.0.0.1:{self.port}"}
        if self.cookie:
            headers["Cookie"] = self.cookie
        if fields:
            headers["Content-Type"] = "application/x-www-form-urlencoded"
        connection.request(method, path, urllib.parse.urlencode(fields) if fields else None, headers)
        answer = connection.getresponse()
        text = answer.read().decode()
        connection.close()
        return answer, text

    def _page(self, system):
        return self._ask("GET", f"/systems/{system}")[1]

    def link_of(self, system):
        """Makes the homeowner's link of a house; its address."""
        token = re.search(r'name="token" value="([^"]+)"', self._page(system))
        self._ask("POST", f"/systems/{system}/share", {"token": token.group(1) if token else ""})
        link = re.search(r'href="(/share/[^"]+)"', self._page(system))
        if not link:
            raise ValueError(f"the page made no link of {system}")
        return f"http://127.0.0.1:{self.port}{link.group(1)}"
