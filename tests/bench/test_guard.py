"""Who may ask the local page: only the browser that was let in, on this machine, from this page."""

import http.client
from urllib.parse import urlsplit

import pytest

from cogloupe.bench.server import HOST

from ..helpers.bench_server import served


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    folder = tmp_path_factory.mktemp("gears")
    (folder / "secret.txt").write_text("outside the readings")
    (folder / "readings").mkdir()
    (folder / "readings" / "index.html").write_text("the list")
    (folder / "readings" / ".hidden").write_text("hidden")
    with served(folder) as address:
        yield urlsplit(address)


def asked(bench, path="/", method="GET", token=True, body=None, **headers):
    """Status, headers and text of an answer."""
    connection = http.client.HTTPConnection(HOST, bench.port, timeout=20)
    sent = {"Host": f"{HOST}:{bench.port}", "Connection": "close"}
    if token:
        sent["Cookie"] = f"cogloupe-{bench.port}={bench.query.removeprefix('token=')}"
    connection.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
    for name, value in {**sent, **headers, "Content-Length": str(len(body or b""))}.items():
        if value is not None:
            connection.putheader(name, value)
    connection.endheaders(body or b"")
    answer = connection.getresponse()
    text = answer.read().decode("utf-8", "replace")
    connection.close()
    return answer.status, dict(answer.getheaders()), text


def own(bench):
    return {"Origin": f"http://{HOST}:{bench.port}"}


def test_the_opened_address_lets_in_and_leaves_no_token_in_it(bench):
    status, headers, _ = asked(bench, f"/?{bench.query}", token=False)
    assert (status, headers["location"]) == (303, "/")
    kept = headers["set-cookie"].lower()
    assert "httponly" in kept
    assert "samesite=strict" in kept
    assert asked(bench)[0] == 200


@pytest.mark.parametrize(
    "query", ["", "token=", "token=wrong", "token=%00"], ids=["none", "empty", "wrong", "odd"]
)
def test_without_the_token_of_this_start_nothing_is_answered(bench, query):
    for path in ("/", "/api/state", "/readings/index.html", "/assets/bench.js"):
        assert asked(bench, f"{path}?{query}", token=False)[0] == 403


def test_each_start_has_a_token_of_its_own(bench, tmp_path):
    with served(tmp_path) as other:
        assert urlsplit(other).query != bench.query
        assert len(urlsplit(other).query) > 40


@pytest.mark.parametrize("host", ["evil.example", f"{HOST}:1", HOST, "[::2]:80"])
def test_another_name_for_this_host_is_turned_away(bench, host):
    assert asked(bench, Host=host)[0] == 403


def test_other_names_of_the_loopback_are_answered(bench):
    for name in ("localhost", "[::1]"):
        assert asked(bench, Host=f"{name}:{bench.port}")[0] == 200


@pytest.mark.parametrize(
    ("path", "method"),
    [
        ("/api/photo/a.png", "PUT"), ("/api/read", "POST"), ("/api/candidates", "POST"),
        ("/api/calibrate", "POST"), ("/api/compare", "POST"), ("/api/machine", "POST"),
        ("/api/camera", "POST"), ("/api/camera", "DELETE"), ("/api/camera/take", "POST"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("origin", [None, "null", "http://evil.example", f"http://{HOST}:1"])
def test_only_the_page_itself_may_change_anything(bench, path, method, origin):
    assert asked(bench, path, method, body=b"{}", Origin=origin)[0] == 403


@pytest.mark.parametrize("path", ["/", "/api/state", "/readings/index.html", "/nothing"])
def test_every_answer_says_what_may_be_loaded_and_that_nobody_frames_it(bench, path):
    _, headers, _ = asked(bench, path)
    policy = dict(part.split(" ", 1) for part in headers["content-security-policy"].split("; "))
    assert policy["default-src"] == policy["frame-ancestors"] == policy["base-uri"] == "'none'"
    assert policy["script-src"] == policy["connect-src"] == policy["form-action"] == "'self'"
    assert "http" not in headers["content-security-policy"]
    assert headers["x-frame-options"] == "DENY"
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["cache-control"] == "no-store"


@pytest.mark.parametrize(
    "path",
    [
        "/readings/../secret.txt", "/readings/%2e%2e/secret.txt", "/readings/..%2fsecret.txt",
        "/readings/.hidden", "/readings//etc/passwd", "/readings/%2fetc%2fpasswd",
        "/api/preview/..%2fsecret.txt", "/export/teeth.xlsx?reading=..", "/readings/",
    ],
)  # fmt: skip
def test_nothing_outside_the_readings_is_served(bench, path):
    status, _, text = asked(bench, path)
    assert status in (400, 404)
    assert "outside" not in text
    assert "root:" not in text
    assert asked(bench, "/readings/index.html")[2] == "the list"


@pytest.mark.parametrize(
    ("name", "kept"),
    [("..%5C..%5Ca.png", "a.png"), ("C%3A%5Cb.png", "b.png"), (".c.png", "c.png")],
)
def test_a_picture_lands_in_the_folder_whatever_its_name(bench, wheel_png, name, kept):
    answer = asked(bench, f"/api/photo/{name}", "PUT", body=wheel_png, **own(bench))
    assert answer[0] == 200
    assert f'"photo":"{kept}"' in answer[2]


def test_what_is_no_picture_is_not_kept(bench):
    answer = asked(bench, "/api/photo/run.sh", "PUT", body=b"x", **own(bench))
    assert answer[0] == 400
    assert "save the picture" in answer[2]


def test_a_form_and_a_picture_that_are_too_large_are_refused(bench, monkeypatch):
    monkeypatch.setattr("cogloupe.bench.work_routes.MOST_BYTES", 1000)
    big = asked(bench, "/api/photo/a.png", "PUT", body=b"x" * 2000, **own(bench))
    form = asked(bench, "/api/read", "POST", body=b"x" * 70000, **own(bench))
    assert (big[0], form[0]) == (400, 400)
    assert "were sent" in big[2]


def test_a_folder_that_is_full_takes_no_more(bench, wheel_png, monkeypatch):
    monkeypatch.setattr("cogloupe.bench.gears_folder.MOST_PHOTOS", 1)
    answer = asked(bench, "/api/photo/z.png", "PUT", body=wheel_png, **own(bench))
    assert answer[0] == 400
    assert "choose a new one" in answer[2]
