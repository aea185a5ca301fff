"""The server of this machine alone: who is answered, what may be read, and what a page that waits is told.

Status codes are those of RFC 9110; the stream is that of server-sent events in the HTML standard of the WHATWG, 9.2.
"""

import http.client
import json
import socket
import threading

import pytest

from choreo.live.server import HOST, Bulletin, LoopbackServer


@pytest.fixture
def served(tmp_path):
    build = tmp_path / "out"
    (build / "stills").mkdir(parents=True)
    (build / "tracks.json").write_text("{}")
    (build / "stills" / "a b.png").write_bytes(b"\x89PNG")
    (build / "note.html").write_text("<script>1</script>")
    (tmp_path / "secret.txt").write_text("secret")
    bulletin = Bulletin(page=b"<!doctype html><title>here</title>")
    server = LoopbackServer(0, bulletin, build)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01}, daemon=True)
    thread.start()
    yield server
    bulletin.close()
    server.shutdown()
    server.server_close()
    thread.join(5)


def ask(server, path, method="GET", **headers):
    connection = http.client.HTTPConnection(HOST, server.server_port, timeout=5)
    connection.request(method, path, headers=headers)
    answer = connection.getresponse()
    body = answer.read()
    connection.close()
    return answer, body


def raw(server, text):
    with socket.create_connection((HOST, server.server_port), timeout=5) as line:
        line.sendall(text.encode())
        line.shutdown(socket.SHUT_WR)
        return b"".join(iter(lambda: line.recv(4096), b""))


def test_it_listens_on_the_loopback_address_only(served):
    assert served.socket.getsockname()[0] == "127.0.0.1"


def test_the_page_and_files_of_the_build_folder_are_served(served):
    answer, body = ask(served, "/")
    assert (answer.status, body) == (200, served.bulletin.page)
    assert answer.headers["Content-Type"].startswith("text/html")
    answer, body = ask(served, "/build/stills/a%20b.png")
    assert (answer.status, body, answer.headers["Content-Type"]) == (200, b"\x89PNG", "image/png")
    answer, body = ask(served, "/build/tracks.json", "HEAD")
    assert (answer.status, body, answer.headers["Content-Length"]) == (200, b"", "2")


def test_nothing_in_a_file_may_run_and_nothing_is_kept(served):
    answer, _ = ask(served, "/build/note.html")
    assert "script-src 'none'" in answer.headers["Content-Security-Policy"]
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert answer.headers["Cache-Control"] == "no-store"


@pytest.mark.parametrize(
    "path",
    ["/build/../secret.txt", "/build/%2e%2e/secret.txt", "/build/..%2fsecret.txt", "/build//etc/passwd", "/build/",
     "/build/stills", "/build/%00", "/etc/passwd", "/secret.txt", "/build/x\ud83d".encode("utf-8", "ignore").decode()],
)  # fmt: skip
def test_nothing_else_is(served, path):
    answer, body = ask(served, path)
    assert answer.status == 404
    assert b"secret" not in body
    assert b"root:" not in body


def test_a_link_that_leads_out_is_not_followed(served, tmp_path):
    (tmp_path / "out" / "link.txt").symlink_to(tmp_path / "secret.txt")
    assert ask(served, "/build/link.txt")[0].status == 404


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "PROPFIND"])
def test_it_takes_no_writes(served, method):
    answer, _ = ask(served, "/", method)
    assert (answer.status, answer.headers["Allow"]) == (405, "GET, HEAD")


def test_only_who_calls_it_by_its_name_is_answered(served):
    # A name of elsewhere that points here (DNS rebinding) still stands in the Host header.
    port = served.server_port
    for host in (f"localhost:{port}", f"{HOST}:{port}"):
        assert b" 200 " in raw(served, f"GET / HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n").split(b"\r\n")[0]
    for host in ("studio.example", f"studio.example:{port}", HOST, f"{HOST}:{port + 1}", "", f"x@{HOST}:{port}"):
        answer = raw(served, f"GET / HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n")
        assert b" 421 " in answer.split(b"\r\n")[0], host
    twice = f"GET / HTTP/1.1\r\nHost: {HOST}:{port}\r\nHost: evil.example\r\nConnection: close\r\n\r\n"
    assert b" 421 " in raw(served, twice).split(b"\r\n")[0]
    assert b" 421 " in raw(served, "GET / HTTP/1.1\r\nConnection: close\r\n\r\n").split(b"\r\n")[0]


def test_a_page_of_elsewhere_is_not_told_anything(served):
    assert ask(served, "/build/tracks.json", Origin="https://evil.example")[0].status == 421
    assert ask(served, "/build/tracks.json", Origin=f"http://{HOST}:{served.server_port}")[0].status == 200


def events(stream, count):
    """The data of so many events; comments and retry times are left out."""
    found, data = [], []
    while len(found) < count:
        line = stream.readline().decode().rstrip("\n")
        if line.startswith("data: "):
            data.append(line.removeprefix("data: "))
        elif not line and data:
            found.append(json.loads("\n".join(data)))
            data = []
    return found


def test_a_page_that_comes_is_told_all_and_then_each_change(served):
    said = {"round": 1}
    served.bulletin.say(b'{"round": 1}', lambda: json.dumps(said).encode())
    connection = http.client.HTTPConnection(HOST, served.server_port, timeout=5)
    connection.request("GET", "/changes")
    stream = connection.getresponse()
    assert stream.headers["Content-Type"] == "text/event-stream"
    assert events(stream, 1) == [{"round": 1}]
    for number in (2, 3):
        said["round"] = number
        served.bulletin.say(json.dumps({"only": number}).encode(), lambda: json.dumps(said).encode())
    assert events(stream, 2) == [{"only": 2}, {"only": 3}]
    late = http.client.HTTPConnection(HOST, served.server_port, timeout=5)
    late.request("GET", "/changes")
    assert events(late.getresponse(), 1) == [{"round": 3}]


def test_pages_that_wait_are_let_go_at_the_end(served):
    connection = http.client.HTTPConnection(HOST, served.server_port, timeout=5)
    connection.request("GET", "/changes")
    stream = connection.getresponse()
    events(stream, 1)
    served.bulletin.close()
    rest = stream.read()  # ends: the connection is closed
    assert b"data:" not in rest


def test_a_long_day_does_not_fill_the_memory_and_who_is_behind_is_told_all():
    bulletin = Bulletin()
    for number in range(1000):
        bulletin.say(b"%d" % number, lambda: b"all")
    assert bulletin.after(990, 0) == ([b"%d" % number for number in range(990, 1000)], 1000)
    assert bulletin.after(1000, 0) == ([], 1000)
    assert bulletin.after(3, 0) == ([b"all"], 1000)
    assert len(bulletin._changes) < 100


def test_no_other_page_may_show_this_one_in_a_frame(served):
    """CSP level 3: frame-ancestors counts in a header alone, not in a page."""
    answer, _ = ask(served, "/")
    assert "frame-ancestors 'none'" in answer.headers["Content-Security-Policy"]
