"""One request as the views see it, and the answers they give."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import parse_qsl

from starlette.requests import Request
from starlette.responses import JSONResponse

from monitor.page.login import Visitor

VISIT, DEVICE, UNITS = "bagwatt_visit", "bagwatt_device", "bagwatt_units"
MOST_FIELDS = 40
_LOCAL = re.compile(r"/(?!/)[A-Za-z0-9._~%/?=&-]{0,400}")


@dataclass(frozen=True, slots=True)
class Ask:
    """Who asks what: path parts, query, and what a form or a JSON body brought."""

    request: Request
    who: Visitor
    visit: str
    units: str
    form: Mapping[str, str] = field(default_factory=dict)
    body: Any = None

    def path(self, name: str) -> str:
        return str(self.request.path_params.get(name, ""))

    def query(self, name: str) -> str:
        return self.request.query_params.get(name, "")

    @property
    def wants_json(self) -> bool:
        return self.request.url.path.startswith("/api/")


class BadBodyError(Exception):
    """A body that is no form and no JSON object."""


def read_form(body: bytes) -> dict[str, str]:
    """The fields of a posted form (application/x-www-form-urlencoded). Raises BadBodyError."""
    try:
        pairs = parse_qsl(
            body.decode("utf-8"),
            keep_blank_values=True,
            max_num_fields=MOST_FIELDS,
            errors="strict",
        )
    except ValueError as error:
        raise BadBodyError("the form can't be read") from error
    return {name: _text(value) for name, value in pairs}


def read_json(body: bytes) -> dict[str, Any]:
    """A posted JSON object. Raises BadBodyError."""
    try:
        found = json.loads(body.decode("utf-8"))
        # A lone surrogate, which JSON can spell, can be neither answered nor shown (RFC 7493).
        json.dumps(found, ensure_ascii=False).encode("utf-8")
    except (ValueError, RecursionError) as error:
        raise BadBodyError("the body is no JSON") from error
    if not isinstance(found, dict):
        raise BadBodyError("the body is no JSON object")
    return found


def _text(value: str) -> str:
    return "".join(sign for sign in value if sign.isprintable() or sign in " \n\t")


def local_path(text: str) -> str:
    """A path on this page to go on to; the rack where it is none."""
    return text if _LOCAL.fullmatch(text) else "/"


def problem(status: int, title: str, detail: str = "") -> JSONResponse:
    """An error for a script (RFC 9457)."""
    body = {"type": "about:blank", "status": status, "title": title, "detail": detail}
    return JSONResponse(body, status, media_type="application/problem+json")
