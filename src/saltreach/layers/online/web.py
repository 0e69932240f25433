"""The only way out to the network: one session, polite, bounded, cached, with clear failures.

Every request names saltreach, waits its turn at a host, is tried again with growing pauses where a
server is busy, and stops at a limit of bytes and of time. Answers are kept in a cache on the disk
(`requests-cache`), so that a run that was cut off goes on where it ended. Nothing here runs unless
the user asks for data to be brought.
"""

from __future__ import annotations

import io
import json
import logging
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from email.message import Message
from importlib.metadata import version
from pathlib import Path
from typing import Any, NamedTuple, TypeVar
from urllib.parse import urlencode, urlsplit

import requests
from requests.adapters import HTTPAdapter
from requests_cache import CachedSession
from urllib3.exceptions import (
    DecodeError,
    MaxRetryError,
    ProtocolError,
    ReadTimeoutError,
    ResponseError,
)
from urllib3.util import Retry

from saltreach.errors import LayerError, cause_of

T = TypeVar("T")

KEPT = timedelta(days=30)
"""How long an answer counts as new; own choice."""
MOST_BYTES = 64_000_000
"""Largest answer that is taken, unpacked; own choice."""
TIMEOUT_S = (10.0, 90.0)
"""To connect, and between two parts of an answer; own choice."""
LONGEST_S = 300.0
"""A whole answer takes no longer; own choice."""
LONGEST_WAIT_S = 60
"""A server that asks to wait longer is asked another day; own choice."""
TRIES_AGAIN = 4
"""Times that a busy server is asked again; own choice."""
MOST_FAILURES = 2
"""Requests in a row that a host may fail, each tried again, before it is left; own choice."""
BUSY = (429, 500, 502, 503, 504)
"""Answers that are tried again; common practice."""
PART_BYTES = 65_536
"""Parts in which a large file is read over the network; own choice."""
USER_AGENT = f"saltreach/{version('saltreach')} (open-source corrosion and rock risk of anchors)"
_LOG = logging.getLogger("urllib3.connectionpool")
_WORDS = {
    400: "does not understand the request (400)",
    401: "asks for a key (401)",
    403: "refuses the request (403)",
    404: "has nothing at this address (404)",
    413: "finds the request too large (413)",
    429: "is asked too often (429)",
}


class ServiceError(LayerError):
    """A service that did not give what was asked; `status` is its HTTP status, if any."""

    def __init__(self, message: str, status: int | None = None) -> None:
        super().__init__(message)
        self.status = status


@dataclass(frozen=True)
class Request:
    """One request.

    `service`: its name, for messages. `data`: body of a POST. `about_bytes`: size to expect.
    `secret`: parameters that appear in no message, record or cache.
    """

    service: str
    url: str
    params: Mapping[str, str] = field(default_factory=dict)
    data: str | None = None
    about_bytes: int = 0
    secret: Mapping[str, str] = field(default_factory=dict, repr=False)

    @property
    def shown(self) -> str:
        """The request as a record shows it, without its secrets."""
        query = f"?{urlencode(self.params, safe=',:/')}" if self.params else ""
        return " ".join([f"{self.url}{query}", *(self.data or "").split()])


class Answer(NamedTuple):
    """What came back. `total_bytes`: size of the whole file where a part of it was asked for."""

    content: bytes
    media_type: str
    status: int
    service: str
    etag: str = ""
    total_bytes: int | None = None


class Web:
    """A session with the open services.

    Parameters
    ----------
    cache : path, optional
        Folder that keeps answers; none are kept without it.
    fresh : bool
        Ask again although an answer is kept.
    backoff_s, pause_s : float
        First pause before a request is tried again, and pause between two to one host.

    Attributes
    ----------
    asked, kept, received_bytes : int
        Requests that went out, answers from the cache, and bytes that came in.
    oldest : datetime
        Time of the oldest answer from the cache; set it anew to ask for a part.
    given_up : dict
        Hosts that are not asked again, and why: they are not there, or asked for patience.
    """

    def __init__(
        self,
        cache: Path | None = None,
        *,
        fresh: bool = False,
        backoff_s: float = 1.0,
        pause_s: float = 1.0,
    ) -> None:
        self.asked = self.kept = self.received_bytes = 0
        self.given_up: dict[str, str] = {}
        self._failures: dict[str, int] = {}
        self.oldest = datetime.now(UTC)
        self.pause_s = pause_s
        self._fresh = fresh
        self._cache_folder = cache
        with _usable(cache):
            self._session = _session(cache)
        adapter = _BoundedAdapter(self, pause_s, _Waits(
            TRIES_AGAIN, connect=1, read=1, status_forcelist=BUSY, allowed_methods=("GET", "POST"),
            backoff_factor=backoff_s, raise_on_status=False, redirect=0,
            retry_after_max=LONGEST_WAIT_S,
        ))  # fmt: skip
        for scheme in ("https://", "http://"):
            self._session.mount(scheme, adapter)
        self._session.headers["User-Agent"] = USER_AGENT

    def __enter__(self) -> Web:
        _LOG.addFilter(_without_queries)
        return self

    def __exit__(self, *_: object) -> None:
        _LOG.removeFilter(_without_queries)
        if isinstance(self._session, CachedSession):
            with suppress(sqlite3.Error):  # what cannot be tidied is tidied another day
                self._session.cache.delete(expired=True)
        self._session.close()

    def read(
        self,
        request: Request,
        reader: Callable[[Answer], T],
        *,
        part: tuple[int, int] | None = None,
    ) -> T:
        """What a reader makes of a service's answer; an answer it refuses is not kept.

        Parameters
        ----------
        request : Request
            What to ask.
        reader : callable
            From an `Answer` to a value; raises `ServiceError` where it cannot be used.
        part : pair of int, optional
            First and last byte of the part of a file to ask for.

        Raises
        ------
        ServiceError
            In one sentence: which service, what failed, and what to do.
        """
        with _usable(self._cache_folder):
            response = self._response(request, part)
        try:
            return reader(self._answer(request, response))
        except LayerError:
            self._forget(response)
            raise
        except (KeyError, TypeError, ValueError, AttributeError, IndexError) as error:
            self._forget(response)
            lacks = (
                f"{error.args[0]} is missing"
                if isinstance(error, KeyError)
                else ("something in it is of another kind")
            )
            raise ServiceError(
                f"{_who(request)} answered in another form than it documents ({lacks}); saltreach "
                "may need an update"
            ) from error

    def json(self, request: Request, reader: Callable[[Any], T]) -> T:
        """What a reader makes of a JSON answer; as `read`."""
        return self.read(request, lambda answer: reader(json_of(answer)))

    def _response(self, request: Request, part: tuple[int, int] | None) -> requests.Response:
        again: dict[str, Any] = (
            {"force_refresh": True} if self._fresh and self._cache_folder else {}
        )
        if isinstance(self._session, CachedSession):  # what is named there is kept nowhere
            settings = self._session.settings
            settings.ignored_parameters = {*settings.ignored_parameters, *request.secret}
        headers = {} if part is None else {"Range": f"bytes={part[0]}-{part[1]}"}
        if part is not None:
            headers["Accept-Encoding"] = "identity"
        host = urlsplit(request.url).netloc
        try:
            response = self._session.request(
                "GET" if request.data is None else "POST",
                request.url,
                params={**request.params, **request.secret},
                data=None if request.data is None else {"data": request.data},
                headers=headers,
                timeout=TIMEOUT_S,
                **again,
            )
        except ServiceError as error:  # of what sends it, which does not know the service
            raise ServiceError(f"{_who(request)} {error}") from error
        except requests.RequestException as error:
            said = _failure(error, request)
            if isinstance(error, (requests.ConnectionError, requests.Timeout)):
                self.given_up[host] = said  # a host that is not there is not asked for every place
            raise ServiceError(f"{_who(request)} {said}") from error
        busy = response.status_code in BUSY
        self._failures[host] = self._failures.get(host, 0) + 1 if busy else 0
        # patience or a key: neither comes by asking more
        if response.status_code in (401, 429) or self._failures[host] >= MOST_FAILURES:
            self.given_up[host] = _refusal(response)
        if getattr(response, "from_cache", False):
            self.kept += 1
            made = getattr(response, "created_at", None)
            self.oldest = min(self.oldest, made.astimezone(UTC)) if made else self.oldest
        return response

    def _answer(self, request: Request, response: requests.Response) -> Answer:
        if response.status_code == 204 or (response.ok and not response.content):
            raise ServiceError(f"{_who(request)} answered with nothing", response.status_code)
        if not response.ok:
            raise ServiceError(f"{_who(request)} {_refusal(response)}", response.status_code)
        message = Message()
        message["Content-Type"] = response.headers.get("Content-Type", "")
        return Answer(
            response.content,
            message.get_content_type() if message["Content-Type"] else "",
            response.status_code,
            _who(request),
            response.headers.get("ETag", ""),
            _total(response.headers.get("Content-Range", "")),
        )

    def _forget(self, response: requests.Response) -> None:
        key = getattr(response, "cache_key", None)
        if key and isinstance(self._session, CachedSession):
            self._session.cache.delete(key)


@contextmanager
def _usable(cache: Path | None) -> Iterator[None]:
    """What is wrong with the kept answers becomes one sentence."""
    try:
        yield
    except (sqlite3.Error, OSError) as error:
        if isinstance(error, requests.RequestException):
            raise
        raise LayerError(
            f"the kept answers of former requests cannot be used ({cause_of(error)}): delete the "
            f"folder {cache}, or make it writable"
        ) from error


def _without_queries(record: logging.LogRecord) -> bool:
    """Keep queries, which may hold a key, out of the library's log, and its log off the screen."""
    if isinstance(record.args, tuple):
        record.args = tuple(
            one.partition("?")[0] if isinstance(one, str) else one for one in record.args
        )
    record.levelno, record.levelname = logging.DEBUG, "DEBUG"
    return True


def json_of(answer: Answer) -> Any:
    """The JSON of an answer.

    Raises
    ------
    ServiceError
        It is a web page, cut off or damaged.
    """
    start = answer.content[:200].lstrip().lower()
    if start.startswith((b"<!doctype html", b"<html")) or answer.media_type == "text/html":
        raise ServiceError(f"{answer.service} answered with a web page in place of data")
    if start.startswith(b"<"):
        raise ServiceError(f"{answer.service} answered with XML in place of JSON")
    try:
        return json.loads(answer.content)
    except (ValueError, RecursionError) as error:
        raise ServiceError(
            f"{answer.service} answered with JSON that is cut off or damaged"
        ) from error


class RemoteFile:
    """A file on a server, of which only the parts that are needed travel.

    Parameters
    ----------
    web : Web
        The session.
    request : Request
        Where it lies.
    part_bytes : int
        Parts are whole multiples of this.

    Attributes
    ----------
    total_bytes : int
        Size of the whole file, once a part is there; else 0.
    failed : ServiceError or None
        What the server refused last: a library that reads the file may hide it.
    """

    def __init__(self, web: Web, request: Request, part_bytes: int = PART_BYTES) -> None:
        self._web, self._request, self._part = web, request, part_bytes
        self._parts: dict[int, bytes] = {}
        self._etag: str | None = None
        self.total_bytes = 0
        self.failed: ServiceError | None = None

    def size(self) -> int:
        """Size of the whole file, asked of the server if need be."""
        if not self.total_bytes:
            self._load(0, 0)
        return self.total_bytes

    def read(self, at: int, count: int) -> bytes:
        """Bytes from a position on; fewer at the end of the file.

        Raises
        ------
        ServiceError
            The server gives no parts, or the file changed while it was read.
        """
        count = max(0, min(count, self.size() - at))
        if not count:
            return b""
        numbers = range(at // self._part, (at + count - 1) // self._part + 1)
        missing = [number for number in numbers if number not in self._parts]
        if missing:
            self._load(missing[0], missing[-1])
        start = at - numbers[0] * self._part
        return b"".join(self._parts[number] for number in numbers)[start : start + count]

    def _load(self, first: int, last: int) -> None:
        """Have the parts from `first` to `last`, counted from 0."""
        begin, end = first * self._part, (last + 1) * self._part - 1
        if self.total_bytes:
            end = min(end, self.total_bytes - 1)
        try:
            answer = self._web.read(
                self._request, lambda one: self._checked(one, begin, end), part=(begin, end)
            )
        except ServiceError as error:
            self.failed = error
            raise
        for number in range(first, last + 1):
            at = (number - first) * self._part
            self._parts[number] = answer.content[at : at + self._part]

    def _checked(self, answer: Answer, begin: int, end: int) -> Answer:
        if answer.status != 206 or answer.total_bytes is None:
            raise ServiceError(f"{answer.service} does not give parts of a file")
        if self._etag not in (None, answer.etag) or self.total_bytes not in (0, answer.total_bytes):
            raise ServiceError(f"{answer.service} changed the file while it was read; try again")
        if len(answer.content) != min(end, answer.total_bytes - 1) - begin + 1:
            raise ServiceError(f"{answer.service} gave another part of the file than was asked for")
        self._etag, self.total_bytes = answer.etag, answer.total_bytes
        return answer


class RemoteReader(io.RawIOBase):
    """A position in a `RemoteFile`, for libraries that read files."""

    def __init__(self, file: RemoteFile) -> None:
        self._file, self._at = file, 0

    def readable(self) -> bool:
        """It is."""
        return True

    def seekable(self) -> bool:
        """It is."""
        return True

    def tell(self) -> int:
        """Position of the next byte."""
        return self._at

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        """Move to a position."""
        base = {io.SEEK_SET: 0, io.SEEK_CUR: self._at}.get(whence)
        self._at = max(0, (self._file.size() if base is None else base) + offset)
        return self._at

    def readinto(self, buffer: Any) -> int:
        """Fill a buffer from the position on; with nothing where the server fails.

        What a reader raises, a library prints and hides: see `RemoteFile.failed`.
        """
        try:
            found = self._file.read(self._at, len(buffer))
        except ServiceError:
            return 0
        buffer[: len(found)] = found
        self._at += len(found)
        return len(found)


def download(web: Web, request: Request, path: Path, *, most_bytes: int) -> None:
    """A whole file from a server; what is there of a former, cut-off try is gone on with.

    The file grows under `<name>.part`, beside the tag the server gives it, and takes its name
    when it is whole.

    Raises
    ------
    ServiceError
        The file is larger than `most_bytes`, changed, or the server fails.
    """
    part, tag = path.with_name(f"{path.name}.part"), path.with_name(f"{path.name}.tag")
    path.parent.mkdir(parents=True, exist_ok=True)
    have = part.stat().st_size if part.is_file() and tag.is_file() else 0
    total: int | None = None
    with part.open("ab" if have else "wb") as stream:
        while total is None or have < total:
            answer = web.read(request, _same, part=(have, have + MOST_BYTES // 8 - 1))
            whole = answer.status == 200
            known = tag.read_text(encoding="utf-8") if have else answer.etag
            size = len(answer.content) if whole else answer.total_bytes or 0
            if size > most_bytes:
                raise ServiceError(
                    f"{answer.service} offers a file of {size:,} bytes, and at most "
                    f"{most_bytes:,} are taken"
                )
            if whole or known != answer.etag or (total is not None and size != total):
                stream.truncate(0)  # another file than the one begun
                if have and not whole:
                    have, total = 0, None
                    tag.unlink(missing_ok=True)
                    continue
            total = size
            tag.write_text(answer.etag, encoding="utf-8")
            stream.write(answer.content)
            stream.flush()
            have = size if whole else have + len(answer.content)
    part.replace(path)
    tag.unlink(missing_ok=True)


def _same(answer: Answer) -> Answer:
    return answer


class _Waits(Retry):
    """Retries that do not sleep where a server asks for more patience than we have."""

    def increment(
        self, method: Any = None, url: Any = None, response: Any = None, *more: Any, **named: Any
    ) -> _Waits:
        """The next try, or the end of them."""
        wait = "" if response is None else response.headers.get("Retry-After", "")
        if wait.isdigit() and int(wait) > LONGEST_WAIT_S:
            raise MaxRetryError(named.get("_pool"), url, ResponseError("too long a wait"))  # type: ignore[arg-type]
        return super().increment(method, url, response, *more, **named)


class _BoundedAdapter(HTTPAdapter):
    """Sends a request in its turn and reads the answer whole, up to the limits."""

    def __init__(self, web: Web, pause_s: float, retries: Retry) -> None:
        self._web, self._pause_s = web, pause_s
        self._last: dict[str, float] = {}
        self._turn = threading.Lock()
        super().__init__(max_retries=retries)

    def send(self, request: requests.PreparedRequest, *args: Any, **named: Any) -> Any:
        """One request over the network; its answer is read here."""
        host = urlsplit(str(request.url)).netloc
        if host in self._web.given_up:
            raise ServiceError(self._web.given_up[host])
        pause_s = 0.0 if "Range" in request.headers else self._pause_s  # parts are one download
        with self._turn:
            time.sleep(max(0.0, self._last.get(host, -1e9) + pause_s - time.monotonic()))
            self._last[host] = time.monotonic()
        self._web.asked += 1
        response = super().send(request, *args, **{**named, "stream": True})
        content = bytearray()
        begun = time.monotonic()
        try:
            announced = response.headers.get("Content-Length", "")
            too_large = announced.isdigit() and int(announced) > MOST_BYTES
            # what has come by now, not a whole part: a trickle must meet the clock
            while not too_large and (chunk := response.raw.read1(PART_BYTES, decode_content=True)):
                content += chunk
                self._web.received_bytes += len(chunk)
                too_large = len(content) > MOST_BYTES
                if too_large or time.monotonic() - begun > LONGEST_S:
                    break
            if too_large:
                raise ServiceError(f"answered with more than {MOST_BYTES:,} bytes")
            if time.monotonic() - begun > LONGEST_S:
                raise ServiceError(f"took longer than {LONGEST_S:.0f} s to answer")
        except (ProtocolError, DecodeError) as error:
            raise ServiceError("answered with data that are cut off or damaged; try again") from (
                error
            )
        except ReadTimeoutError as error:
            raise ServiceError("did not answer within the time limit; try again later") from error
        finally:
            response.close()
        response._content = bytes(content)
        return response


def _session(cache: Path | None) -> requests.Session:
    if cache is None:
        session: requests.Session = _OneHost()
    else:
        session = _CachedOneHost(
            str(cache / "answers.sqlite"), backend="sqlite", serializer="json",
            expire_after=KEPT, allowable_codes=(200, 206), allowable_methods=("GET", "POST"),
            match_headers=["Range"], cache_control=False,
        )  # fmt: skip
    session.max_redirects = 3
    return session


class _Stays:
    """Redirects are followed within one host only, and never from https to http."""

    def get_redirect_target(self, resp: requests.Response) -> str | None:
        target = super().get_redirect_target(resp)  # type: ignore[misc]
        if target is None:
            return None
        old, new = urlsplit(resp.url), urlsplit(requests.compat.urljoin(resp.url, target))
        if (old.hostname, old.scheme == "https") != (new.hostname, new.scheme == "https") and (
            old.hostname != new.hostname or old.scheme == "https"
        ):
            onward = f"{new.scheme}://{new.hostname}" if new.hostname else "no place on the network"
            raise ServiceError(
                f"sends the request on to {onward}, which is not followed; if the service has "
                "moved, give its new address"
            )
        return str(target)


class _OneHost(_Stays, requests.Session):
    pass


class _CachedOneHost(_Stays, CachedSession):
    pass


def _refusal(response: requests.Response) -> str:
    """A status that is no answer, in words."""
    code = response.status_code
    wait = response.headers.get("Retry-After", "")
    after = f", and asks to wait {wait[:40]} s" if wait.isdigit() else ""
    said = _reason(response)
    return (
        f"{_WORDS.get(code, f'failed ({code})')}{after}"
        + (f": {said}" if said else "")
        + ("; try again later" if code in BUSY else "")
    )


def _who(request: Request) -> str:
    return f"{request.service} ({urlsplit(request.url).hostname})"


def _total(content_range: str) -> int | None:
    """Whole size from a Content-Range header, RFC 9110 section 14.4."""
    size = content_range.rpartition("/")[2]
    return int(size) if content_range.startswith("bytes ") and size.isdigit() else None


def _reason(response: requests.Response) -> str:
    """A service's own short reason; web pages say nothing useful."""
    text = response.text[:2000].strip()
    if "json" in response.headers.get("Content-Type", ""):
        try:
            found = json.loads(response.content)
        except ValueError:
            return ""
        keys = ("reason", "message", "error", "detail", "description")
        return next((cause_of(Exception(str(found[k]))) for k in keys if k in found), "") if (
            isinstance(found, dict)
        ) else ""  # fmt: skip
    return "" if "<" in text else cause_of(Exception(text))


def _failure(error: requests.RequestException, request: Request) -> str:
    """What went wrong on the way, in words, without the query and its secrets."""
    if isinstance(error, requests.exceptions.ProxyError):
        return "cannot be reached: the proxy refuses or is not there; check HTTPS_PROXY"
    if isinstance(error, requests.exceptions.SSLError):
        return (
            "has a certificate that is not trusted; where your network looks into traffic, name "
            "its certificates with REQUESTS_CA_BUNDLE"
        )
    if isinstance(error, requests.exceptions.ConnectTimeout):
        return "cannot be reached within the time limit; is there a network?"
    if isinstance(error, requests.exceptions.Timeout):
        return "did not answer within the time limit; try again later"
    if isinstance(error, requests.exceptions.RetryError):
        return "is busy and asks for more patience; try again later"
    if isinstance(error, requests.exceptions.TooManyRedirects):
        return "sends the request in a circle"
    if isinstance(error, requests.exceptions.ConnectionError):
        return "cannot be reached; is there a network?"
    return f"cannot be asked ({type(error).__name__}); check its address {request.url}"
