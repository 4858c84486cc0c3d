"""What the guard lets through, asked of a real server: hosts, tokens, sizes, roles, hostile names."""

from __future__ import annotations

import json
import socket
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from web_server import CREW, HOSTILE, OFFICE, VIEWER, Served, copied, send, token, with_passwords

from forecaster.season import events
from forecaster.season.ledger import open_ledger
from forecaster.web.security import POLICY

SITE = "/site/V-03"
FIELDS = {"water": "48", "day": "2025-10-06"}


@pytest.fixture
def served(season: Path) -> Iterator[Served]:
    """A server whose estimate stands still."""
    with Served(season, still=True) as running:
        yield running


@pytest.fixture
def guarded(season: Path) -> Iterator[Served]:
    """The same with passwords."""
    with Served(with_passwords(season), still=True) as running:
        yield running


def recorded(served: Served) -> list[str]:
    """Kinds of the ledger's events."""
    ledger = open_ledger(served.folder, readonly=True)
    if ledger is None:
        return []
    with ledger:
        return [event.kind for event in ledger.events()]


# --- headers


@pytest.mark.parametrize("path", ["/", "/nowhere", "/static/app.css", "/data/route.json", SITE + "/reading"])
def test_every_answer_carries_the_policy(base_served: Served, path: str) -> None:
    with base_served.client() as client:
        headers = client.get(path).headers
    assert headers["content-security-policy"] == POLICY
    assert "unsafe" not in POLICY
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "no-referrer"
    assert "server" not in headers
    if path in ("/", "/nowhere"):
        assert headers["cache-control"] == "no-store"


def test_pages_hold_no_inline_style_or_script(base_served: Served) -> None:
    with base_served.client() as client:
        for path in ("/", SITE + "/reading", SITE + "/closing", "/nowhere"):
            text = client.get(path).text
            assert "<style" not in text
            assert " style=" not in text
            assert " onclick" not in text
            assert text.count("<script") == 1


def test_the_cookie_is_for_this_server_alone(served: Served) -> None:
    with served.client() as client:
        line = client.get("/").headers["set-cookie"]
    assert "HttpOnly" in line
    assert "SameSite=Strict" in line
    assert "Secure" not in line


def test_behind_the_trusted_proxy_the_cookie_is_secure_and_the_caller_known(season: Path) -> None:
    with Served(season, proxy="127.0.0.1", still=True) as served, served.client() as client:
        told = {"x-forwarded-proto": "https", "x-forwarded-for": "203.0.113.9"}
        answer = client.get(SITE + "/reading", headers=told)
        assert "; Secure" in answer.headers["set-cookie"]
        assert "strict-transport-security" in answer.headers
        client.cookies.set("season", answer.headers["set-cookie"].split("=", 1)[1].split(";")[0])
        said = client.post(SITE + "/reading", data={"token": token(answer.text), **FIELDS}, headers=told)
        assert said.status_code == 303
        line = (season / ".pages" / "audit.log").read_text(encoding="utf-8").splitlines()[-1]
        assert json.loads(line)["from"] == "203.0.113.9"


def test_anybody_elses_word_about_the_caller_is_not_believed(served: Served) -> None:
    with served.client() as client:
        answer = client.get("/", headers={"x-forwarded-proto": "https", "x-forwarded-for": "203.0.113.9"})
    assert "Secure" not in answer.headers["set-cookie"]


# --- who may call, and from where


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:80", "127.0.0.1.evil.example", "a b", "x@127.0.0.1", ""]
)
def test_a_foreign_host_name_is_refused(base_served: Served, host: str) -> None:
    with base_served.client() as client:
        answer = client.get("/", headers={"host": host})
    assert answer.status_code in (400, 421)
    assert "Ambervane" not in answer.text


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "https://evil.example"},
        {"origin": "http://127.0.0.1:1"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {"origin": "null", "sec-fetch-site": "cross-site"},
    ],
    ids=str,
)
def test_a_form_of_another_site_changes_nothing(served: Served, headers: dict[str, str]) -> None:
    with served.client() as client:
        page = client.get(SITE + "/reading")
        answer = client.post(SITE + "/reading", data={"token": token(page.text), **FIELDS}, headers=headers)
    assert answer.status_code == 403
    assert recorded(served) == []


def test_forged_missing_and_other_peoples_tokens_change_nothing(served: Served) -> None:
    with served.client() as client, served.client() as other:
        theirs = token(other.get(SITE + "/reading").text)
        client.get("/")
        for said in ("", "00" * 64, "x", theirs):
            answer = client.post(SITE + "/reading", data={"token": said, **FIELDS})
            assert answer.status_code == 403
    with served.client() as stranger:  # no cookie at all
        assert stranger.post(SITE + "/reading", data={"token": theirs, **FIELDS}).status_code == 403
    assert recorded(served) == []


def test_the_same_form_sent_twice_is_recorded_once(served: Served) -> None:
    with served.client() as client:
        said = {"token": token(client.get(SITE + "/reading").text), **FIELDS}
        first, second = (client.post(SITE + "/reading", data=said) for _ in range(2))
    assert first.headers["location"] == second.headers["location"] == "/entered/1"
    assert recorded(served) == ["reading"]


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"])
def test_other_methods_are_refused(base_served: Served, method: str) -> None:
    with base_served.client() as client:
        assert client.request(method, "/").status_code == 405


# --- sizes and shapes


def test_too_much_is_refused_before_it_is_read(served: Served) -> None:
    with served.client() as client:
        said = {"token": token(client.get(SITE + "/closing").text), "day": "2025-10-06", "done": "x" * 70_000}
        assert client.post(SITE + "/closing", data=said).status_code == 413
        chunks = (b"a=" + b"x" * 50_000 for _ in range(3))  # no length told
        kind = {"content-type": "application/x-www-form-urlencoded"}
        assert client.post(SITE + "/closing", content=chunks, headers=kind).status_code == 413
        assert client.get("/" + "x" * 5000).status_code == 414
        assert client.get("/", headers={"x-long": "x" * 20_000}).status_code in (400, 431)
    assert recorded(served) == []


@pytest.mark.parametrize(
    ("kind", "body", "status"),
    [
        ("application/json", b"{}", 415),
        ("multipart/form-data; boundary=x", b"--x\r\n", 415),
        ("application/x-www-form-urlencoded", b"\xff\xfe=1", 400),
        ("application/x-www-form-urlencoded", b"a=%ff", 400),
        ("application/x-www-form-urlencoded", b"token=1&token=2", 400),
        ("application/x-www-form-urlencoded", b"&".join(b"a%d=1" % n for n in range(300)), 400),
        ("application/x-www-form-urlencoded", b"", 403),
        ("", b"a=1", 415),
    ],
)
def test_malformed_forms_are_refused(served: Served, kind: str, body: bytes, status: int) -> None:
    with served.client() as client:
        client.get("/")
        answer = client.post(SITE + "/reading", content=body, headers={"content-type": kind} if kind else {})
    assert answer.status_code == status
    assert recorded(served) == []


@pytest.mark.parametrize(
    "path",
    [
        "/static/..%2fapp.py",
        "/static/%2e%2e/%2e%2e/cli.py",
        "/static/....//app.css",
        "/static/%00",
        "/site/..%2f..%2fseason.toml/reading",
        "/site/%2e%2e/reading",
        "/.pages/people.json",
        "/season.toml",
        "/data/../season.sqlite",
        "/entered/99999999999999999999999",
        "/entered/-1",
        "/%ff%fe",
    ],
)
def test_no_path_leads_out(base_served: Served, path: str) -> None:
    host, port = base_served.url.removeprefix("http://").split(":")
    with socket.create_connection((host, int(port)), timeout=10) as line:  # as it is: no client tidies it up
        line.sendall(f"GET {path} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n".encode())
        answer = b""
        while part := line.recv(65536):
            answer += part
    assert answer.split(b" ", 2)[1] in (b"404", b"400")
    assert b"hash" not in answer


# --- roles


def test_without_log_in_only_the_log_in_page_is_seen(guarded: Served) -> None:
    with guarded.client() as client:
        answer = client.get(SITE + "/reading?x=1")
        assert answer.status_code == 303
        assert answer.headers["location"] == "/log-in?to=/site/V-03/reading%3Fx%3D1"
        assert client.get("/data/route.json").status_code == 401
        assert client.post(SITE + "/reading", data=FIELDS).status_code == 403
        page = client.get("/log-in").text
        assert "Ambervane" not in page
        assert "possible falls" not in page
        assert client.get("/static/app.css").status_code == 200


def test_roles_hold(guarded: Served) -> None:
    with guarded.logged_in(VIEWER) as client:
        assert client.get("/").status_code == 200
        assert client.get(SITE + "/reading").status_code == 403
    with guarded.logged_in(CREW) as client:
        entered = send(client, SITE + "/reading", **FIELDS)
        assert entered.status_code == 303
    with guarded.logged_in(OFFICE) as client:
        assert send(client, "/site/V-04/reading", **FIELDS).status_code == 303
    with guarded.logged_in(CREW) as client:
        page = client.get("/entered/2").text  # Ann's
        assert "/undo/2" not in page
        mine = token(client.get("/entered/1").text)
        assert client.post("/undo/2", data={"token": mine}).status_code == 403
        assert client.post("/undo/1", data={"token": mine}).status_code == 303
    assert recorded(guarded) == ["reading", "reading", "undo"]
    log = [json.loads(line) for line in (guarded.folder / ".pages" / "audit.log").read_text().splitlines()]
    assert [(line["who"], line["what"]) for line in log if "event" in line["what"]] == [
        ("Bo", "reading V-03 event 1"),
        ("Ann", "reading V-04 event 2"),
        ("Bo", "undo V-03 event 3"),
    ]
    assert not any(who[2] in str(log) for who in (OFFICE, CREW, VIEWER))


def test_other_programs_read_with_a_name_and_password(guarded: Served) -> None:
    with guarded.client() as client:
        assert client.get("/data/route.json", auth=(VIEWER[0], VIEWER[2])).status_code == 200
        assert client.get("/data/route.json", auth=(VIEWER[0], "wrong")).status_code == 401
        assert client.get("/", auth=(VIEWER[0], VIEWER[2])).status_code == 303  # pages want a session


def test_log_in_goes_on_inside_only_and_log_out_ends_it(guarded: Served) -> None:
    with guarded.client() as client:
        said = {"name": "Ann", "password": OFFICE[2], "to": "https://evil.example/"}
        answer = client.post("/log-in", data=said)
        assert answer.headers["location"] == "/"
        page = client.get("/")
        assert page.status_code == 200
        kept = client.cookies["season"]
        assert client.post("/log-out", data={"token": token(page.text)}).status_code == 303
        client.cookies.set("season", kept)
        assert client.get("/").status_code == 303


def test_wrong_passwords_are_limited(guarded: Served) -> None:
    with guarded.client() as client:
        found = [
            client.post("/log-in", data={"name": "Ann", "password": "wrong"}).status_code for _ in range(6)
        ]
        last = client.post("/log-in", data={"name": "Ann", "password": OFFICE[2]})
    assert found == [403] * 5 + [429]
    assert last.status_code == 429
    assert int(last.headers["retry-after"]) > 200


# --- stale edits, hostile names


def test_the_second_of_two_people_is_told(guarded: Served) -> None:
    with guarded.logged_in(OFFICE) as ann, guarded.logged_in(CREW) as bo:
        pages = [client.get(SITE + "/closing").text for client in (ann, bo)]
        said = {"day": "2025-10-06", "what": "closed", "seen": "0"}
        assert 'name="seen" value="0"' in pages[0]
        first = ann.post(SITE + "/closing", data={"token": token(pages[0]), "by": "Heron", **said})
        assert first.status_code == 303
        second = bo.post(SITE + "/closing", data={"token": token(pages[1]), "by": "Otter", **said})
    assert second.status_code == 409
    assert "Ann changed this at" in second.text
    assert "by Heron" in second.text
    assert 'name="seen" value="1"' in second.text
    assert recorded(guarded) == ["closed"]


def test_scripts_in_names_and_notes_stay_text(base_folder: Path, tmp_path: Path) -> None:
    folder = copied(base_folder, tmp_path / "hostile")
    sheet = folder / "sites.csv"
    text = sheet.read_text(encoding="utf-8").replace("Fernwhistle", HOSTILE)
    sheet.write_text(text.replace("Narrow side gate", "<img src=x onerror=alert(1)>"), encoding="utf-8")
    with open_ledger(folder) as ledger:
        ledger.append(events.note(events.date(2025, 10, 6), HOSTILE, site_id="V-03"), who=HOSTILE)
        ledger.append(
            events.closed("V-04", events.date(2025, 10, 6), by="'\"><script>", done=HOSTILE), who=HOSTILE
        )
    with Served(folder) as served, served.client() as client:
        served.settled()
        for path in ("/", SITE + "/reading", SITE + "/closing", "/entered/1", "/entered/2"):
            page = client.get(path)
            assert page.status_code == 200
            assert "<script>alert" not in page.text
            assert "<img src=x" not in page.text
            assert page.text.count("<script") == 1
        assert "&lt;script&gt;" in client.get("/entered/1").text


def test_what_a_person_typed_comes_back_as_text(served: Served) -> None:
    with served.client() as client:
        answer = send(client, SITE + "/reading", water='"><script>x</script>', day="2025-10-06", by=HOSTILE)
    assert answer.status_code == 422
    assert "<script>x" not in answer.text
    assert "is not a number in °F" in answer.text


@pytest.mark.parametrize("form", ["reading", "closing"])
def test_errors_are_plain_pages(base_served: Served, form: str) -> None:
    with base_served.client() as client:
        answer = client.get(f"/site/NOBODY/{form}")
    assert answer.status_code == 404
    assert "There is no such page" in answer.text
    assert "Traceback" not in answer.text


def test_slow_forms_are_given_up(base_served: Served, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("forecaster.web.security.BODY_WITHIN_S", 0.2)
    host, port = base_served.url.removeprefix("http://").split(":")
    with socket.create_connection((host, int(port)), timeout=10) as line:
        head = f"POST {SITE}/reading HTTP/1.1\r\nHost: {host}:{port}\r\nContent-Length: 10\r\n\r\nab"
        line.sendall(head.encode())
        assert b" 408 " in line.recv(65536).split(b"\r\n")[0]


def test_head_answers_like_get_without_a_body(base_served: Served) -> None:
    answer = httpx.head(base_served.url + "/")
    assert answer.status_code == 200
    assert answer.content == b""
