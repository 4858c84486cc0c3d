"""The page after a cold snap on the real server: made beside the request, crews, a quick visit recorded."""

from __future__ import annotations

import time

from web_browser import NARROW, axe_problems, small_targets, watched
from web_server import CREW, VIEWER, send


def made(client, path="/snap"):
    """The page when it is no longer being made."""
    until = time.monotonic() + 90
    while time.monotonic() < until:
        answer = client.get(path)
        assert answer.status_code == 200
        if "are being counted" not in answer.text:
            return answer.text
        time.sleep(0.3)
    raise AssertionError("the snap was not made in 90 seconds")


def test_the_page_comes_by_itself_and_answers_fast(base_served, chromium):
    served = base_served
    with served.client() as client:
        begun = time.monotonic()
        first = client.get("/snap")
        assert time.monotonic() - begun < 2.0
        assert "are being counted" in first.text
        text = made(client)
        assert "No cold snap since" in text
        assert "do not walk on it" in text
        assert "Crews that can come today" in text
        three = made(client, "/snap?crews=3")
        assert '<option value="3" selected>' in three
        assert '<option value="3" selected>' not in made(client, "/snap?crews=99")
        saved = client.get("/snap/snap.html")
        assert "attachment" in saved.headers["content-disposition"]
        assert "works without a network" in saved.text
        assert "http" not in saved.text.replace("http-equiv", "")
    with watched(chromium, served.url, NARROW) as window:
        window.go("/snap")
        window.page.eval_on_selector_all("details", "all => all.forEach(e => e.open = true)")
        assert small_targets(window.page) == []
        low = "all => all.filter(e => e.getBoundingClientRect().height < 44).length"
        assert window.page.eval_on_selector_all(".stops a, .big, select, .crews button", low) == 0
        window.check()
    for scheme in ("light", "dark"):
        assert axe_problems(chromium, served.url, ["/snap"], NARROW, scheme=scheme) == []


def test_a_quick_visit_is_recorded_and_moves_its_site_to_the_end(served):
    with served.client() as client:
        made(client)
        answer = send(client, "/snap/protected", at="/snap", site_id="V-03")
        assert answer.status_code == 303
        entered = client.get(answer.headers["location"])
        assert "protected" in entered.text
        served.settled()
        text = made(client)
        assert text.rindex("Protected on") > text.rindex("the closing remains") - 200
        assert text.count("Protected on") >= 1
        refused = send(client, "/snap/protected", at="/snap", site_id="NOBODY")
        assert refused.status_code == 422


def test_a_viewer_sees_and_a_crew_records(guarded):
    with guarded.logged_in(VIEWER) as viewer:
        assert "Record it" not in made(viewer)
    with guarded.logged_in(CREW) as crew:
        assert "Record it" in made(crew)
