"""What the service writes: one line a record, as text or as JSON, with the request it was about, and never a secret.

Whatever is written passes `blanked`, tracebacks too: a signed link is a secret that stands in a path, a token one that
stands in a header or a query, and a database's address may hold a password.
"""

import json
import logging
import re
from contextvars import ContextVar
from datetime import UTC, datetime
from typing import Any

from sfn.visible import visible
from webapp.config.settings import Settings

REQUEST: ContextVar[str] = ContextVar("request", default="")
"""Id of the request that is answered; empty outside one."""
FIELDS = ("method", "path", "status", "took_ms", "sent_bytes", "client")
"""What a line of the access log has besides, as fields of its own in JSON."""
_GONE = "[blanked]"
_NAMED = r"(?:[\w-]*(?:token|password|passwd|secret|cookie|authorization)[\w-]*|sid|session_key)"
_SECRETS = (
    (re.compile(r"(/site/)[^/\s?#\"'<>]+"), rf"\1{_GONE}"),
    (re.compile(r"(?i)([?&](?:code|state|token|id_token)=)[^&\s\"']+"), rf"\1{_GONE}"),
    (re.compile(r"(?i)\b((?:bearer|basic)\s+)[\w.~+/=-]{6,}"), rf"\1{_GONE}"),
    (re.compile(rf"(?i)\b({_NAMED}[\"']?\s*[=:]\s*[\"']?)(?!(?:bearer|basic)\s)[^&\s\"',;)}}\]]+"), rf"\1{_GONE}"),
    (re.compile(r"(\b[\w+.-]+://[^/\s:@]*:)[^@/\s]+@"), rf"\1{_GONE}@"),
)


def blanked(text: str) -> str:
    """A text without what opens something: signed links, tokens, passwords.

    Examples
    --------
    >>> blanked("fault at GET /site/eyJ0ZXN0Ijox.sig/state?token=abc&days=3")
    'fault at GET /site/[blanked]/state?token=[blanked]&days=3'
    """
    for secret, instead in _SECRETS:
        text = secret.sub(instead, text)
    return text


class TextLines(logging.Formatter):
    """For people: time, level, who writes, the request's id, what."""

    def format(self, record: logging.LogRecord) -> str:
        """One record; a line break that somebody sent makes no second line."""
        head = f"{_at(record)} {record.levelname} {record.name}:"
        request = REQUEST.get()
        said = f"{head} {f'[{request}] ' if request else ''}{visible(_message(record))}"
        return blanked("\n".join(filter(None, (said, _trace(self, record)))))


class JsonLines(logging.Formatter):
    """For programs: one JSON object a line."""

    def format(self, record: logging.LogRecord) -> str:
        """One record."""
        made: dict[str, Any] = {
            "at": _at(record),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": blanked(_message(record)),
        }
        if request := REQUEST.get():
            made["request"] = request
        made |= {name: record.__dict__[name] for name in FIELDS if name in record.__dict__}
        if trace := _trace(self, record):
            made["traceback"] = blanked(trace)
        return json.dumps(made, ensure_ascii=False)


def set_up(settings: Settings) -> None:
    """Write what is logged from now on, in the form that is asked for, to standard error."""
    handler = logging.StreamHandler()
    handler.setFormatter(JsonLines() if settings.log == "json" else TextLines())
    logging.basicConfig(level=logging.INFO, handlers=[handler], force=True)


def _at(record: logging.LogRecord) -> str:
    """When, in UTC, to the millisecond."""
    return datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _message(record: logging.LogRecord) -> str:
    """What it says, in one line."""
    return record.getMessage().replace("\r", "\\r").replace("\n", "\\n")


def _trace(formatter: logging.Formatter, record: logging.LogRecord) -> str:
    """Where it happened; empty where it is no fault."""
    return formatter.formatException(record.exc_info) if record.exc_info else ""
