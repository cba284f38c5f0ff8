"""Each rule about who may ask, and what is put on every answer."""

import pytest
from starlette.testclient import TestClient

from stacker.page.app import make_app
from stacker.page.guard import BODY_BYTES, Pass, body_limit, is_loopback
from tests.page.conftest import HOME, PORT


def refusal(answer):
    return answer.status_code, answer.json()["code"]


def test_without_the_cookie_nothing_is_shown(stranger):
    for address in ("/", "/api/hello", "/static/index.html", "/index.html", "/nothing"):
        answer = stranger.get(address)
        assert refusal(answer) == (403, "no-cookie"), address
        assert "stacker serve" in answer.json()["error"]


def test_a_wrong_cookie_is_none(stranger, admission):
    stranger.cookies.set(admission.cookie, admission.token)
    assert refusal(stranger.get("/api/hello")) == (403, "no-cookie")


def test_the_token_lets_one_in_and_leaves_the_address(stranger, admission):
    answer = stranger.get(f"/?token={admission.token}", follow_redirects=False)
    assert answer.status_code == 303
    assert answer.headers["location"] == "/"
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert admission.token.lower() not in cookie
    assert stranger.get("/api/hello").status_code == 200
    assert stranger.get("/").headers["content-type"].startswith("text/html")


@pytest.mark.parametrize("token", ["", "wrong", "ä"])
def test_a_wrong_token_does_not(stranger, token):
    answer = stranger.get("/", params={"token": token})
    assert refusal(answer) == (403, "wrong-token")
    assert "set-cookie" not in answer.headers


def test_a_token_is_no_way_past_the_entrance(stranger, admission):
    answer = stranger.get(f"/api/hello?token={admission.token}")
    assert refusal(answer) == (403, "no-cookie")


@pytest.mark.parametrize(
    "host",
    ["evil.example", f"evil.example:{PORT}", "127.0.0.1", "127.0.0.1:80", f"10.0.0.7:{PORT}", ""],
)
def test_another_name_for_this_machine_is_refused(client, host):
    assert refusal(client.get("/api/hello", headers={"Host": host})) == (421, "foreign-host")


@pytest.mark.parametrize("host", [f"localhost:{PORT}", f"127.0.0.1:{PORT}", f"[::1]:{PORT}"])
def test_its_own_names_are_known(admission, host):
    assert admission.knows_host(host)


def test_on_a_network_addresses_are_known_and_foreign_names_are_not():
    admission = Pass(port=PORT, host="0.0.0.0")
    assert admission.knows_host(f"192.168.1.20:{PORT}")
    assert not admission.knows_host(f"evil.example:{PORT}")
    assert Pass(port=PORT, host="studio.kestrel").knows_host(f"studio.kestrel:{PORT}")


@pytest.mark.parametrize(
    "origin", ["http://evil.example", f"https://127.0.0.1:{PORT}", "null", "http://127.0.0.1:8018"]
)
def test_another_origin_is_refused(client, origin):
    for send in (client.get, client.post, client.delete):
        answer = send("/api/jobs", headers={"Origin": origin})
        assert refusal(answer) == (403, "foreign-origin")


def test_what_changes_something_needs_an_origin(desk, admission):
    bare = TestClient(make_app(desk, admission), base_url=HOME)
    bare.get(f"/?token={admission.token}")
    assert refusal(bare.post("/api/burst", json={"id": "harbour"})) == (403, "foreign-origin")
    assert bare.get("/api/hello").status_code == 200


def test_another_site_cannot_even_look(client):
    answer = client.get("/api/hello", headers={"Sec-Fetch-Site": "cross-site"})
    assert refusal(answer) == (403, "foreign-origin")


@pytest.mark.parametrize("method", ["PATCH", "OPTIONS", "TRACE", "CONNECT", "PROPFIND"])
def test_other_methods_are_refused(client, method):
    assert refusal(client.request(method, "/api/hello")) == (405, "method")


def test_a_known_method_at_the_wrong_place_is_a_sentence(client):
    answer = client.delete("/api/hello")
    assert answer.status_code in (400, 404, 405)
    assert "error" in answer.json()


def test_bodies_have_an_end(client, opened):
    long = b" " * (BODY_BYTES + 1)
    answer = client.post(f"/api/burst/{opened}/preview", content=long)
    assert refusal(answer) == (413, "too-large")


def test_a_body_that_does_not_tell_its_length_has_an_end_too(client, opened):
    def pieces():
        for _ in range(BODY_BYTES // 100_000 + 2):
            yield b" " * 100_000

    answer = client.post(f"/api/burst/{opened}/preview", content=pieces())
    assert refusal(answer) == (413, "too-large")


def test_uploads_and_masks_may_be_longer():
    assert body_limit("/api/upload") > body_limit("/api/burst/x/mask/y") > BODY_BYTES


@pytest.mark.parametrize("address", ["/", "/api/hello", "/api/nothing", "/nothing"])
def test_every_answer_has_the_headers(client, stranger, address):
    for headers in (
        client.get(address).headers,
        client.get(address, headers={"Host": "x"}).headers,
    ):
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert "frame-ancestors 'none'" in policy
        assert headers["x-frame-options"] == "DENY"
        assert headers["cache-control"] == "no-store"
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "no-referrer"
        assert headers["cross-origin-resource-policy"] == "same-origin"
        assert "access-control-allow-origin" not in headers


def test_a_fault_of_ours_is_a_sentence_with_the_headers(client, opened, monkeypatch, capsys):
    def fault(*_):
        raise ZeroDivisionError

    monkeypatch.setattr("stacker.page.previewing.answer", fault)
    answer = client.post(f"/api/burst/{opened}/preview", json={})
    assert refusal(answer) == (500, "fault")
    assert answer.headers["x-frame-options"] == "DENY"
    assert "ZeroDivisionError" in capsys.readouterr().err
    assert "ZeroDivisionError" not in answer.text


def test_a_socket_is_closed(client):
    from starlette.websockets import WebSocketDisconnect

    with pytest.raises(WebSocketDisconnect), client.websocket_connect("/api/hello"):
        pass


@pytest.mark.parametrize(
    "path", ["/static/../app.py", "/..%2fapp.py", "/static/%2e%2e/guard.py", "/static/..%5capp.py"]
)
def test_the_program_itself_is_not_served(client, path):
    assert client.get(path).status_code == 404


def test_tokens_are_long_and_never_the_same():
    one, two = Pass(port=PORT), Pass(port=PORT)
    assert len({one.token, one.secret, two.token, two.secret}) == 4
    # 18 bytes or more cannot be guessed
    assert min(map(len, (one.token, one.secret))) >= 24
    assert one.token not in repr(one)


@pytest.mark.parametrize(
    ("host", "own"),
    [("127.0.0.1", True), ("localhost", True), ("::1", True), ("0.0.0.0", False), ("x", False)],
)
def test_loopback_is_known(host, own):
    assert is_loopback(host) is own
