"""One file over HTTP: begun again where it was cut off, tried again where that may help, refused in words.

Nothing but the address asked for and this program's name leaves the machine. Certificates are checked; proxies and
further authorities come from the usual environment variables, which httpx reads.
"""

import json
import shutil
import ssl
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Literal
from urllib.parse import unquote, urlsplit

import httpx2

from sfn.country.sources import shown
from sfn.units import grouped

Kind = Literal["refused", "unreachable", "tls", "status", "cut-off", "content", "disk", "address", "too-large"]
Tell = Callable[[int, int | None, str], None]
"""Told the bytes that are there, of the whole (None: not known), and what is waited for; what it raises stops it."""

CONNECT_S, SILENT_S = 20.0, 20.0
WAITS_S = (1.0, 2.0, 4.0, 8.0, 16.0)
LONGEST_WAIT_S = 60.0
MOST_BYTES = 4_000_000_000
SPARE_BYTES = 200_000_000
MOST_REDIRECTS = 5
# A line that is cut is worth going on with where so much came since the last cut: else waits grow, and tries end.
WORTH_BYTES = 1_000_000
# Cuts of one file in one run, worth going on with or not: at an hour each nobody would notice that it does not end.
MOST_CUTS_N = 12
_AGAIN = frozenset({408, 425, 429, 500, 502, 503, 504})
_GONE = frozenset({404, 410})


class FetchError(Exception):
    """Why a file did not come, in words, and what would be right.

    `kind` is what programs go by; `whole_source` whether the next file of the same address would fare no better;
    `denied` that the server refused this one file (403), `by_store` that it did so as object stores do.
    """

    def __init__(
        self, kind: Kind, what: str, expected: str, *, whole_source: bool = False, denied: bool = False,
        by_store: bool = False,
    ) -> None:  # fmt: skip
        self.kind, self.what, self.expected = kind, what, expected
        self.whole_source, self.denied, self.by_store = whole_source, denied, by_store
        super().__init__(what)


class _AgainError(Exception):
    """What may help to be tried again."""

    def __init__(self, last: FetchError, *, gained_bytes: int = 0, wait_s: float = 0.0) -> None:
        self.last, self.gained_bytes, self.wait_s = last, gained_bytes, wait_s
        super().__init__(last.what)


@dataclass(frozen=True, slots=True)
class Patience:
    """How long is waited for what.

    Parameters
    ----------
    waits_s : tuple of float
        Before each further try, longer from one to the next; as many tries in a row as there are waits in which less
        than `WORTH_BYTES` came, and `MOST_CUTS_N` in all. [s]
    connect_s, silent_s : float
        For a connection, and for the next byte. [s]
    """

    waits_s: tuple[float, ...] = WAITS_S
    connect_s: float = CONNECT_S
    silent_s: float = SILENT_S


@contextmanager
def client(patience: Patience, *, version: str) -> Iterator[httpx2.Client]:
    """A client for as long as files are fetched.

    Raises
    ------
    FetchError
        If a proxy of the environment, or a file of authorities, cannot be used.
    """
    timeout = httpx2.Timeout(patience.silent_s, connect=patience.connect_s)
    headers = {"User-Agent": f"sfn-delays/{version}", "Accept-Encoding": "identity"}
    try:
        made = httpx2.Client(
            timeout=timeout, headers=headers, follow_redirects=True, max_redirects=MOST_REDIRECTS,
            event_hooks={"response": [_stays_safe]},
        )  # fmt: skip
    except (ValueError, OSError, httpx2.InvalidURL) as error:
        expected = "a proxy as http://proxy.example:3128 in HTTPS_PROXY, and a readable SSL_CERT_FILE"
        raise FetchError("address", f"proxy or authorities of the environment: {error}", expected) from None
    with made:
        yield made


def fetch(of: httpx2.Client, url: str, part: Path, *, patience: Patience, tell: Tell) -> bool:
    """Fetch a file into `part`, from where an earlier call left off; False where it is not there (404).

    Parameters
    ----------
    of : httpx2.Client
    url : str
    part : Path
        Grows while it comes, with a note beside it (``.note``) of which file it is; left as it is where it fails.
    patience : Patience
    tell : callable

    Raises
    ------
    FetchError
        If it cannot be had; after `Patience.waits_s` where trying again may help. It says how often it was tried.
    """
    idle_n = failed_n = 0
    while True:
        try:
            return _once(of, url, part, tell)
        except _AgainError as again:
            failed_n += 1
            idle_n = 0 if again.gained_bytes >= WORTH_BYTES else idle_n + 1
            if idle_n > len(patience.waits_s) or failed_n > MOST_CUTS_N:
                raise _given_up(again.last, failed_n) from None
            waits_s = patience.waits_s[min(failed_n, len(patience.waits_s)) - 1] if patience.waits_s else 0.0
            _wait(max(waits_s, min(again.wait_s, LONGEST_WAIT_S)), part, tell, f"{again.last.what}; try {failed_n + 1}")


def _given_up(last: FetchError, tries_n: int) -> FetchError:
    """What went wrong, and how often it did."""
    what = last.what if tries_n < 2 else f"{last.what}; given up after {tries_n} tries"
    return FetchError(last.kind, what, last.expected, whole_source=last.whole_source)


def forget(part: Path) -> None:
    """Throw away what came of a file so far."""
    part.unlink(missing_ok=True)
    _note(part).unlink(missing_ok=True)


def signed_in(url: str) -> tuple[str, str] | None:
    """Name and password that stand in an address: sent in a header, so that no log has them."""
    parts = urlsplit(url)
    return None if parts.username is None else (unquote(parts.username), unquote(parts.password or ""))


def _once(of: httpx2.Client, url: str, part: Path, tell: Tell) -> bool:
    """One try."""
    start, validator = _so_far(part, url)
    headers = {"Range": f"bytes={start}-"} if start else {}
    if start and validator:
        headers["If-Range"] = validator
    came = start
    try:
        with of.stream("GET", shown(url), headers=headers, auth=signed_in(url)) as answer:
            if answer.status_code in _GONE:
                forget(part)
                return False
            if answer.status_code == 416:
                if answer.headers.get("Content-Range", "") == f"bytes */{start}":
                    return True  # all of it came, and was not looked at
                forget(part)
                raise _AgainError(FetchError("status", "the server has no such range", "a server that resumes"))
            if answer.status_code not in (200, 206):
                raise _refusal(answer)
            start, total = _extent(answer, part, start)
            came = start
            _room(part, total, start)
            _note(part).write_text(json.dumps({"url": shown(url), "validator": _validator(answer)}), encoding="utf-8")
            with part.open("ab" if start else "wb") as out:
                tell(came, total, "")
                for block in answer.iter_raw():
                    out.write(block)
                    came += len(block)
                    if came > MOST_BYTES:
                        raise FetchError("too-large", "is larger than any tile", f"{grouped(MOST_BYTES)} bytes at most")
                    tell(came, total, "")
            if total is not None and came != total:
                raise _AgainError(_cut(came, total), gained_bytes=came - start)
    except httpx2.TooManyRedirects:
        raise FetchError("address", f"leads on more than {MOST_REDIRECTS} times", "the address itself") from None
    except httpx2.TimeoutException as error:
        silent = came == start
        what = f"the server fell silent after {_mb(came)}" if came else "the server did not answer in time"
        late = FetchError(
            "unreachable", what, "a connection that holds; what came is kept, ask again", whole_source=silent
        )
        raise _AgainError(late, gained_bytes=came - start) from error
    except (httpx2.InvalidURL, httpx2.UnsupportedProtocol) as error:
        raise FetchError(
            "address", f"the address cannot be used ({error})", "an address as https://mirror.example/"
        ) from None
    except httpx2.HTTPError as error:
        raise _connection(error, came=came, gained_bytes=came - start) from error
    except OSError as error:
        raise FetchError(
            "disk", f"cannot be written ({error.strerror})", "a data folder with room", whole_source=True
        ) from None
    return True


def _extent(answer: httpx2.Response, part: Path, start: int) -> tuple[int, int | None]:
    """Where what comes begins, and how long the whole is."""
    if answer.headers.get("Content-Encoding", "identity") != "identity":
        raise FetchError("content", "the server packs what it sends", "the file as it is (Accept-Encoding: identity)")
    length = answer.headers.get("Content-Length", "")
    size = int(length) if length.isdigit() else None
    if answer.status_code == 200:
        return 0, size
    unit, _, rest = answer.headers.get("Content-Range", "").partition(" ")
    span, _, whole = rest.partition("/")
    first = span.partition("-")[0]
    if unit != "bytes" or not first.isdigit() or int(first) != start:
        forget(part)
        raise _AgainError(FetchError("status", "the server sent another part than was asked", "a server that resumes"))
    return start, int(whole) if whole.isdigit() else None if size is None else start + size


def _refusal(answer: httpx2.Response) -> Exception:
    """What an answer other than the file means."""
    code = answer.status_code
    if code == 403:
        answer.read()
        by_store = b"<Code>AccessDenied</Code>" in answer.content[:2000]
        expected = "an address, or a proxy, that lets it through"
        return FetchError("refused", "the server refuses it (403)", expected, denied=True, by_store=by_store)
    if code in (401, 407):
        who = "proxy" if code == 407 else "server"
        return FetchError(
            "refused",
            f"the {who} asks for a name and password ({code})",
            f"them in the address of the {who}",
            whole_source=True,
        )
    wrong = FetchError("status", f"the server answers {code}", "a server in order; ask again later, or name a mirror")
    if code not in _AGAIN:
        return wrong
    after = answer.headers.get("Retry-After", "")
    return _AgainError(wrong, wait_s=float(after) if after.isdigit() else 0.0)


def _connection(error: httpx2.HTTPError, *, came: int, gained_bytes: int) -> Exception:
    """What a broken connection means."""
    cause: BaseException | None = error
    while cause is not None:
        if isinstance(cause, ssl.SSLError):
            reason = getattr(cause, "verify_message", "") or cause.reason or "TLS"
            return FetchError(
                "tls", f"the server's certificate or encryption cannot be trusted ({str(reason).lower()})",
                "a certificate that this machine trusts; further authorities by SSL_CERT_FILE", whole_source=True,
            )  # fmt: skip
        cause = cause.__cause__ or cause.__context__
    if isinstance(error, httpx2.ProxyError):
        return FetchError(
            "unreachable", f"the proxy lets nothing through ({error})", "a proxy that does", whole_source=True
        )
    if isinstance(error, httpx2.ConnectError):
        return _AgainError(
            FetchError(
                "unreachable",
                "the server cannot be reached",
                "a connection, a proxy in HTTPS_PROXY, or a mirror",
                whole_source=True,
            )
        )
    return _AgainError(_cut(came, None), gained_bytes=gained_bytes)


def _cut(came: int, total: int | None) -> FetchError:
    """The connection ended too early."""
    of = "" if total is None else f" of {_mb(total)}"
    return FetchError("cut-off", f"was cut off after {_mb(came)}{of}", "the whole; what came is kept, ask again")


def _stays_safe(answer: httpx2.Response) -> None:
    """Refuse to be led from TLS to plain HTTP, before anybody there is asked."""
    to = answer.headers.get("Location", "") if answer.has_redirect_location else ""
    if to and answer.url.scheme == "https" and answer.url.join(to).scheme != "https":
        raise FetchError("address", "leads from https to http", "an address that stays with https", whole_source=True)


def _room(part: Path, total: int | None, start: int) -> None:
    """Refuse what the disk, or sense, has no room for."""
    if total is None:
        return
    if total > MOST_BYTES:
        raise FetchError("too-large", f"is {_mb(total)} large", f"a tile of {_mb(MOST_BYTES)} at most")
    free = shutil.disk_usage(part.parent).free
    if total - start + SPARE_BYTES > free:
        what = f"takes {_mb(total - start)}, and the data folder has room for {_mb(max(free - SPARE_BYTES, 0))}"
        raise FetchError("disk", what, "more room, or SFN_DELAYS_DATA elsewhere", whole_source=True)


def _so_far(part: Path, url: str) -> tuple[int, str]:
    """Bytes that came of this very file before, and what the server called its content."""
    try:
        held: Mapping[str, str] = json.loads(_note(part).read_text(encoding="utf-8"))
        if held["url"] == shown(url):
            return part.stat().st_size, str(held["validator"])
    except (OSError, ValueError, KeyError, TypeError):
        pass
    return 0, ""


def _validator(answer: httpx2.Response) -> str:
    """What tells whether a later part is of the same content: a strong entity tag, else the date (RFC 9110, 13.1.5)."""
    tag: str = answer.headers.get("ETag", "")
    return tag if tag and not tag.startswith("W/") else str(answer.headers.get("Last-Modified", ""))


def _note(part: Path) -> Path:
    """The note beside a part."""
    return part.with_name(f"{part.name}.note")


def _wait(waits_s: float, part: Path, tell: Tell, why: str) -> None:
    """Wait, say why and how long still, and hear whether to stop."""
    until = time.monotonic() + waits_s
    while (left_s := until - time.monotonic()) > 0.0:
        tell(part.stat().st_size if part.exists() else 0, None, f"{why} in {left_s:.0f} s")
        time.sleep(min(left_s, 0.2))


def _mb(size_bytes: int) -> str:
    """Bytes in MB."""
    return f"{size_bytes / 1e6:.1f} MB"
