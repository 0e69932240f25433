"""The way out to the network, against a server on this machine: every fault a service can have.

The server is a real one (pytest-httpserver); its content is invented.
"""

import gzip
import ipaddress
import json
import socket
import ssl
import threading
import time
from datetime import timedelta

import pytest
import requests
import trustme
import urllib3.util.retry
from werkzeug import Response

from saltreach.errors import LayerError
from saltreach.layers.online import web as module
from saltreach.layers.online.web import (
    RemoteFile,
    RemoteReader,
    Request,
    ServiceError,
    Web,
    download,
)

BIG = bytes(range(256)) * 1000


@pytest.fixture
def web():
    with Web(None, backoff_s=0, pause_s=0) as session:
        yield session


def ask(web, url, **more):
    return web.json(Request("Example service", url, **more), lambda found: found)


def refused(web, url, **more):
    with pytest.raises(ServiceError) as caught:
        ask(web, url, **more)
    return str(caught.value)


def parts(content, tag="one"):
    """Answers to requests for parts of a file, RFC 9110 section 14."""

    def answer(request):
        first, last = (int(n) for n in request.headers["Range"].removeprefix("bytes=").split("-"))
        last = min(last, len(content) - 1)
        head = {"Content-Range": f"bytes {first}-{last}/{len(content)}", "ETag": tag}
        return Response(content[first : last + 1], 206, headers=head)

    return answer


class Raw:
    """A server that sends given bytes, whatever HTTP says, and closes."""

    def __init__(self, sent):
        self.sent, self.socket = sent, socket.create_server(("127.0.0.1", 0))
        self.url = f"http://127.0.0.1:{self.socket.getsockname()[1]}/"
        self.thread = threading.Thread(target=self.serve, daemon=True)
        self.thread.start()

    def serve(self):
        while True:
            try:
                one, _ = self.socket.accept()
            except OSError:
                return
            with one:
                one.recv(65536)
                one.sendall(self.sent)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.socket.shutdown(socket.SHUT_RDWR)
        self.socket.close()


def test_a_request_names_saltreach_and_sends_its_parameters(web, httpserver):
    httpserver.expect_request("/a", query_string={"lat": "43.5"}).respond_with_json({"x": 1})
    assert ask(web, httpserver.url_for("/a"), params={"lat": "43.5"}) == {"x": 1}
    (sent, _), *_ = httpserver.log
    assert sent.headers["User-Agent"].startswith("saltreach/")
    assert (web.asked, web.kept) == (1, 0)
    httpserver.expect_request("/p", method="POST").respond_with_handler(
        lambda sent: Response(json.dumps(sent.form["data"]))
    )
    assert ask(web, httpserver.url_for("/p"), data="[out:json];") == "[out:json];"


def test_a_busy_server_is_asked_again_and_then_left(web, httpserver):
    codes = iter([503, 500, 200])
    httpserver.expect_request("/late").respond_with_handler(
        lambda _: Response('{"y": 2}', next(codes))
    )
    assert ask(web, httpserver.url_for("/late")) == {"y": 2}
    httpserver.expect_request("/down").respond_with_data("no", status=502)
    said = refused(web, httpserver.url_for("/down"))
    assert said == "Example service (localhost) failed (502): no; try again later"
    assert sum(sent.path == "/down" for sent, _ in httpserver.log) == 1 + module.TRIES_AGAIN


def test_patience_asked_for_is_kept_where_it_is_short(web, httpserver, monkeypatch):
    slept = []
    monkeypatch.setattr(urllib3.util.retry.time, "sleep", slept.append)
    answers = iter([Response("", 429, {"Retry-After": "7"}), Response("[]", 200)])
    httpserver.expect_request("/soon").respond_with_handler(lambda _: next(answers))
    assert ask(web, httpserver.url_for("/soon")) == []
    assert 7 in slept
    httpserver.expect_request("/long").respond_with_data(
        "", status=429, headers={"Retry-After": "3600"}
    )
    said = refused(web, httpserver.url_for("/long"))
    assert said == (
        "Example service (localhost) is asked too often (429), and asks to wait 3600 s; "
        "try again later"
    )
    assert sum(sent.path == "/long" for sent, _ in httpserver.log) == 1
    assert refused(web, httpserver.url_for("/soon")) == said  # the host is left in peace
    assert max(slept) == 7


@pytest.mark.parametrize(
    ("answer", "said"),
    [
        (Response("", 204), "answered with nothing"),
        (Response("", 200), "answered with nothing"),
        (Response("gone", 404), "has nothing at this address (404): gone"),
        (Response("<p>no</p>", 403), "refuses the request (403)"),
        (Response("", 401), "asks for a key (401)"),
        (Response("", 413), "finds the request too large (413)"),
        (Response('{"error": true, "reason": "lat out of range"}', 400,
                  content_type="application/json"),
         "does not understand the request (400): lat out of range"),
        (Response("<!DOCTYPE html><title>Wartung</title>", 200), "a web page in place of data"),
        (Response("{}", 200, content_type="text/html"), "a web page in place of data"),
        (Response("<?xml version='1.0'?><e/>", 200), "XML in place of JSON"),
        (Response('{"elements": [1, 2', 200), "JSON that is cut off or damaged"),
        (Response("[" * 200_000, 200), "JSON that is cut off or damaged"),
        (Response(b"\xff\xfe\x00", 200), "JSON that is cut off or damaged"),
    ],
)  # fmt: skip
def test_an_answer_that_is_none_is_said(web, httpserver, answer, said):
    httpserver.expect_request("/x").respond_with_response(answer)
    assert said in refused(web, httpserver.url_for("/x"))


def test_another_form_than_documented_is_said(web, httpserver):
    httpserver.expect_request("/x").respond_with_json({"other": 1})
    with pytest.raises(ServiceError, match=r"another form than it documents \(data is missing\)"):
        web.json(Request("Example service", httpserver.url_for("/x")), lambda found: found["data"])


def test_bodies_cut_off_too_large_or_packed_too_tightly(web, httpserver, monkeypatch):
    cut = b"HTTP/1.1 200 OK\r\nContent-Length: 500\r\n\r\n" + b"x" * 100
    with Raw(cut) as server:
        assert "cut off or damaged" in refused(web, server.url)
    broken = b"HTTP/1.1 200 OK\r\nContent-Encoding: gzip\r\nContent-Length: 4\r\n\r\nabcd"
    with Raw(broken) as server:
        assert "cut off or damaged" in refused(web, server.url)
    monkeypatch.setattr(module, "MOST_BYTES", 100_000)
    httpserver.expect_request("/big").respond_with_data(b"1" * 100_001)
    assert "more than 100,000 bytes" in refused(web, httpserver.url_for("/big"))
    chunks = b"".join(b"2710\r\n" + b"1" * 10_000 + b"\r\n" for _ in range(11)) + b"0\r\n\r\n"
    with Raw(b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n" + chunks) as server:
        assert "more than 100,000 bytes" in refused(web, server.url)
    bomb = gzip.compress(bytes(50_000_000))
    assert len(bomb) < 100_000
    httpserver.expect_request("/bomb").respond_with_data(bomb, headers={"Content-Encoding": "gzip"})
    before = web.received_bytes
    assert "more than 100,000 bytes" in refused(web, httpserver.url_for("/bomb"))
    assert web.received_bytes - before < 1_000_000  # it is not unpacked whole first


def test_an_answer_that_never_ends_is_given_up(web, httpserver, monkeypatch):
    monkeypatch.setattr(module, "LONGEST_S", -1.0)
    httpserver.expect_request("/slow").respond_with_data(b"1" * 10)
    assert "took longer than" in refused(web, httpserver.url_for("/slow"))


def test_a_trickle_meets_the_clock(web, monkeypatch):
    monkeypatch.setattr(module, "LONGEST_S", 0.3)

    class Trickle(Raw):
        def serve(self):
            one, _ = self.socket.accept()
            with one:
                one.recv(65536)
                one.sendall(b"HTTP/1.1 200 OK\r\nContent-Length: 100000\r\n\r\n")
                try:
                    for _ in range(200):
                        one.sendall(b"1")
                        time.sleep(0.02)
                except OSError:
                    pass

    with Trickle(b"") as server:
        assert "took longer than 0 s to answer" in refused(web, server.url)


def test_a_host_that_keeps_failing_is_left(web, httpserver):
    httpserver.expect_request("/down").respond_with_data("no", status=503)
    httpserver.expect_request("/up").respond_with_json([1])
    url = httpserver.url_for("/down")
    refused(web, url)
    assert ask(web, httpserver.url_for("/up")) == [1]  # a good answer counts anew
    for _ in range(module.MOST_FAILURES):
        refused(web, url)
    asked = web.asked
    assert "failed (503)" in refused(web, url) and web.asked == asked


def test_redirects_stay_on_their_host(web, httpserver):
    httpserver.expect_request("/old").respond_with_data("", 302, {"Location": "/new"})
    httpserver.expect_request("/new").respond_with_json([1])
    assert ask(web, httpserver.url_for("/old")) == [1]
    elsewhere = {"Location": "http://elsewhere.example/new"}
    httpserver.expect_request("/away").respond_with_data("", 302, elsewhere)
    assert "on to http://elsewhere.example, which is not followed" in refused(
        web, httpserver.url_for("/away")
    )
    httpserver.expect_request("/ring").respond_with_data("", 302, {"Location": "/ring"})
    assert "in a circle" in refused(web, httpserver.url_for("/ring"))
    safe = requests.Response()
    safe.status_code, safe.url = 302, "https://a.example/x"
    safe.headers["Location"] = "http://a.example/x"
    with pytest.raises(ServiceError, match="http://a.example"):
        module._OneHost().get_redirect_target(safe)
    safe.url, safe.headers["Location"] = "http://a.example/x", "https://a.example/x"
    assert module._OneHost().get_redirect_target(safe) == "https://a.example/x"


def test_a_host_that_is_not_there_is_asked_once(web):
    with socket.create_server(("127.0.0.1", 0)) as closed:
        url = f"http://127.0.0.1:{closed.getsockname()[1]}/x"
    said = "Example service (127.0.0.1) cannot be reached; is there a network?"
    assert refused(web, url) == said
    asked = web.asked
    assert refused(web, url) == said
    assert web.asked == asked


def test_certificates_and_the_users_own_authority(monkeypatch, tmp_path):
    from pytest_httpserver import HTTPServer

    authority = trustme.CA()
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    authority.issue_cert("localhost", str(ipaddress.ip_address("127.0.0.1"))).configure_cert(
        context
    )
    with HTTPServer(ssl_context=context) as server:
        server.expect_request("/s").respond_with_json([7])
        with Web(None, backoff_s=0, pause_s=0) as web:
            said = refused(web, server.url_for("/s"))
        assert "certificate that is not trusted" in said and "REQUESTS_CA_BUNDLE" in said
        authority.cert_pem.write_to_path(str(tmp_path / "own.pem"))
        monkeypatch.setenv("REQUESTS_CA_BUNDLE", str(tmp_path / "own.pem"))
        with Web(None, backoff_s=0, pause_s=0) as web:
            assert ask(web, server.url_for("/s")) == [7]


def test_a_proxy_is_used_and_its_refusal_said(web, httpserver, monkeypatch):
    httpserver.expect_request("/x").respond_with_json(["by proxy"])
    monkeypatch.setenv("HTTP_PROXY", httpserver.url_for("").rstrip("/"))
    assert ask(web, "http://service.example/x") == ["by proxy"]
    with socket.create_server(("127.0.0.1", 0)) as closed:
        monkeypatch.setenv("HTTP_PROXY", f"http://127.0.0.1:{closed.getsockname()[1]}")
    assert "the proxy refuses" in refused(web, "http://other.example/x")


def test_requests_to_one_host_wait_their_turn(httpserver, monkeypatch):
    slept = []
    monkeypatch.setattr(module.time, "sleep", slept.append)
    httpserver.expect_request("/x").respond_with_json([])
    with Web(None, pause_s=5.0) as web:
        for _ in range(2):
            ask(web, httpserver.url_for("/x"))
    waits = [s for s in slept if s > 1]
    assert len(waits) == 1 and waits[0] <= 5


def test_answers_are_kept_and_counted(httpserver, tmp_path):
    httpserver.expect_request("/x").respond_with_json([1])
    url = httpserver.url_for("/x")
    for fresh, asked, kept in ((False, 1, 0), (False, 0, 1), (True, 1, 0)):
        with Web(tmp_path, fresh=fresh, backoff_s=0, pause_s=0) as web:
            assert ask(web, url) == [1]
            assert (web.asked, web.kept) == (asked, kept)
    assert len(httpserver.log) == 2


def test_an_answer_that_cannot_be_used_is_not_kept(httpserver, tmp_path):
    answers = iter(['{"cut": ', '{"whole": 1}'])
    httpserver.expect_request("/x").respond_with_handler(lambda _: Response(next(answers)))
    with Web(tmp_path, backoff_s=0, pause_s=0) as web:
        assert "cut off" in refused(web, httpserver.url_for("/x"))
        assert ask(web, httpserver.url_for("/x")) == {"whole": 1}


def test_kept_answers_that_are_damaged_are_said_and_old_ones_go(httpserver, tmp_path, monkeypatch):
    httpserver.expect_request("/x").respond_with_json([1])
    monkeypatch.setattr(module, "KEPT", timedelta(microseconds=1))
    for _ in range(2):
        with Web(tmp_path, backoff_s=0, pause_s=0) as web:
            assert ask(web, httpserver.url_for("/x")) == [1]
            assert web.kept == 0
    (tmp_path / "answers.sqlite").write_bytes(b"no database at all" * 100)
    with pytest.raises(LayerError) as caught, Web(tmp_path, backoff_s=0, pause_s=0) as web:
        ask(web, httpserver.url_for("/x"))
    assert "kept answers of former requests cannot be used" in str(caught.value)
    assert str(tmp_path) in str(caught.value)


def test_a_key_is_sent_and_shown_nowhere(httpserver, tmp_path, caplog):
    httpserver.expect_request(
        "/k", query_string={"q": "1", "schluessel": "s3cret"}
    ).respond_with_json([])
    httpserver.expect_request("/no").respond_with_data("no", 403)
    request = Request(
        "Survey", httpserver.url_for("/k"), {"q": "1"}, secret={"schluessel": "s3cret"}
    )
    with Web(tmp_path, backoff_s=0, pause_s=0) as web:
        assert web.json(request, lambda found: found) == []
        with pytest.raises(ServiceError) as caught:
            web.json(
                Request("Survey", httpserver.url_for("/no"), secret={"schluessel": "s3cret"}), len
            )
    with socket.create_server(("127.0.0.1", 0)) as closed:
        gone = f"http://127.0.0.1:{closed.getsockname()[1]}/k"
    with Web(None, backoff_s=0, pause_s=0) as web, pytest.raises(ServiceError) as lost:
        web.json(Request("Survey", gone, secret={"schluessel": "s3cret"}), len)
    ours = [one for one in caplog.records if one.name.startswith("urllib3")]
    assert ours and all(one.levelname == "DEBUG" for one in ours)
    shown = [
        *(one.getMessage() for one in ours),
        request.shown,
        repr(request),
        str(caught.value),
        str(lost.value),
    ]
    assert not any("s3cret" in one for one in shown)
    assert b"s3cret" not in b"".join(one.read_bytes() for one in tmp_path.iterdir())


def test_only_the_needed_parts_of_a_file_travel(web, httpserver):
    httpserver.expect_request("/f").respond_with_handler(parts(BIG))
    file = RemoteFile(web, Request("Files", httpserver.url_for("/f")), part_bytes=1000)
    reader = RemoteReader(file)
    reader.seek(-300, 2)
    assert reader.tell() == len(BIG) - 300
    assert reader.read(1000) == BIG[-300:]
    reader.seek(70_500)
    assert reader.read(1000) == BIG[70_500:71_500]
    assert reader.read(10) == BIG[71_500:71_510]
    assert web.received_bytes == 1000 + 1000 + 2000  # the first part told the size
    reader.seek(10**9)
    assert reader.read(5) == b""


def test_files_in_parts_that_change_or_are_not_given(web, httpserver):
    changed = iter([parts(BIG, "one"), parts(BIG, "two")])
    httpserver.expect_request("/c").respond_with_handler(lambda sent: next(changed)(sent))
    file = RemoteFile(web, Request("Files", httpserver.url_for("/c")), part_bytes=1000)
    assert file.size() == len(BIG)
    with pytest.raises(ServiceError, match="changed the file while it was read"):
        file.read(5000, 10)
    assert "changed the file" in str(file.failed)
    httpserver.expect_request("/whole").respond_with_data(b"12345")
    with pytest.raises(ServiceError, match="does not give parts"):
        RemoteFile(web, Request("Files", httpserver.url_for("/whole"))).size()
    short = parts(BIG)

    def less(sent):
        answer = short(sent)
        answer.set_data(answer.get_data()[:-1])
        return answer

    httpserver.expect_request("/less").respond_with_handler(less)
    with pytest.raises(ServiceError, match="another part of the file"):
        RemoteFile(web, Request("Files", httpserver.url_for("/less"))).size()


def test_a_download_that_was_cut_off_goes_on(web, httpserver, tmp_path, monkeypatch):
    monkeypatch.setattr(module, "MOST_BYTES", 800_000)  # parts of 100,000 bytes
    sent = []

    def once(request):
        sent.append(request.headers["Range"])
        return Response("", 500) if len(sent) > 1 else parts(BIG)(request)

    httpserver.expect_request("/f").respond_with_handler(once)
    request = Request("Files", httpserver.url_for("/f"))
    with pytest.raises(ServiceError):
        download(web, request, tmp_path / "f.bin", most_bytes=10**6)
    assert not (tmp_path / "f.bin").exists()  # half a file has no name
    httpserver.clear()
    httpserver.expect_request("/f").respond_with_handler(
        lambda request: sent.append(request.headers["Range"]) or parts(BIG)(request)
    )
    begun = len(sent)
    download(web, request, tmp_path / "f.bin", most_bytes=10**6)
    assert (tmp_path / "f.bin").read_bytes() == BIG
    assert sent[begun:] == ["bytes=100000-199999", "bytes=200000-299999"]
    assert [one.name for one in tmp_path.iterdir()] == ["f.bin"]


def test_a_download_that_changed_begins_anew_and_has_a_limit(
    web, httpserver, tmp_path, monkeypatch
):
    monkeypatch.setattr(module, "MOST_BYTES", 800_000)
    (tmp_path / "f.bin.part").write_bytes(b"old" * 100)
    (tmp_path / "f.bin.tag").write_text("old tag")
    httpserver.expect_request("/f").respond_with_handler(parts(BIG, "new"))
    request = Request("Files", httpserver.url_for("/f"))
    download(web, request, tmp_path / "f.bin", most_bytes=10**6)
    assert (tmp_path / "f.bin").read_bytes() == BIG
    with pytest.raises(ServiceError, match="256,000 bytes, and at most 1,000"):
        download(web, request, tmp_path / "g.bin", most_bytes=1000)
    httpserver.expect_request("/whole").respond_with_data(b"12345")
    download(web, Request("Files", httpserver.url_for("/whole")), tmp_path / "h", most_bytes=10)
    assert (tmp_path / "h").read_bytes() == b"12345"
