"""What a browser does with a form of the page: takes its hidden fields along."""

from __future__ import annotations

import re
from html import unescape

from httpx import Client, Response

_FORM = re.compile(r'<form[^>]*?action="(?P<action>[^"]+)"[^>]*>(?P<inside>.*?)</form>', re.DOTALL)
_HIDDEN = re.compile(r'<input type="hidden" name="([^"]+)" value="([^"]*)">')


def fields_of(html: str, action: str) -> dict[str, str]:
    """The hidden fields of the first form whose address begins with `action`."""
    for form in _FORM.finditer(html):
        if form["action"].startswith(action):
            return {name: unescape(value) for name, value in _HIDDEN.findall(form["inside"])}
    raise AssertionError(f"no form for {action}")


def send(client: Client, at: str, action: str, **typed: str) -> Response:
    """Open a page and send its form for `action` with what was typed."""
    fields = fields_of(client.get(at).text, action)
    return client.post(action, data={**fields, **typed}, follow_redirects=False)


def log_in(client: Client, name: str, password: str) -> Response:
    return send(client, "/login", "/login", name=name, password=password)
