"""The page for browsers: what it is given, and what the server lets pass. Over a real socket, on loopback."""

from __future__ import annotations

import http.client
import json
import re
import socket
import threading
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from typing import Any

import pytest

from tests.screen.views import STATES, Still, state, wind
from winding_coach.screen.page import MOST_POINTS, page_object
from winding_coach.screen.serving import PageServer, sound_object
from winding_coach.sound.hearing import AudioState, Cue, Heard, Side, Tone


def shown(still: Still) -> dict[str, Any]:
    return page_object(still.view, still.curve.points(), still.trace_name, still.trouble)


@pytest.mark.parametrize("name", list(STATES))
def test_each_state_is_json_without_nan(name: str) -> None:
    seen = shown(state(name))
    again = json.loads(json.dumps(seen, allow_nan=False))
    assert again["word"]
    assert again["prompt"] == seen["prompt"]
    assert len(again["chart"]["wound"]) <= MOST_POINTS + 1
    if name in ("waiting", "silent", "lost"):
        assert not again["live"]
        assert set(again["torque"]) <= {"-", "."}


def test_it_says_what_the_screen_says() -> None:
    seen = shown(state("final"))
    assert (seen["word"], seen["word_unit"]) == ("STOP IN 2", "s")
    assert seen["urgent"]
    assert seen["alarm"] == "!! WARNING  Target torque in 2 seconds: get ready to stop."
    assert seen["level"] == "warning"
    assert seen["torque"] == "6.55"
    assert seen["goal"] == "target 6.78 mN·m"
    assert seen["steps"][seen["step"]] == "final"
    assert shown(state("uncounted"))["chart"]["axis"] == "seconds"
    assert shown(state("done"))["wrapper"][1] == ("peak", "6.91 mN·m, 1310 turns")
    assert shown(state("inch"))["chart"]["peak"] == pytest.approx(6.78 / 7.061552, abs=1e-4)


@contextmanager
def serving(still: Still, now: list[float] | None = None) -> Iterator[PageServer]:
    clock = now or [0.0]
    with PageServer(still, "127.0.0.1", 0, clock=lambda: clock[0]) as server:
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
        thread.start()
        try:
            yield server
        finally:
            server.shutdown()
            thread.join(2)


def get(server: PageServer, path: str, host: str | None = None) -> tuple[int, dict[str, str], bytes]:
    connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=2)
    try:
        connection.request("GET", path, headers={} if host is None else {"Host": host})
        answer = connection.getresponse()
        return answer.status, {name.lower(): value for name, value in answer.getheaders()}, answer.read()
    finally:
        connection.close()


def test_the_page_asks_nothing_from_outside() -> None:
    with serving(wind()) as server:
        status, headers, body = get(server, "/")
    page = body.decode()
    assert status == 200
    assert headers["content-type"] == "text/html; charset=utf-8"
    assert "default-src 'none'" in headers["content-security-policy"]
    assert set(re.findall(r"https?://[^\s\"']+", page)) == {"http://www.w3.org/2000/svg"}  # A name, not an address.
    assert not re.search(r"\b(src|href|@import|url\()", page)
    assert "innerHTML" not in page


def test_what_is_seen_comes_as_json_and_is_not_live_when_the_loop_is_dead() -> None:
    now = [0.0]
    with serving(wind(), now) as server:
        first = json.loads(get(server, "/look")[2])
        now[0] = 2.5
        later = json.loads(get(server, "/look")[2])
    assert first["live"]
    assert first["torque"] == "3.51"
    assert not later["live"]
    assert later["torque"] == "-.--"


def test_names_that_would_drive_a_page_are_only_text() -> None:
    still = replace(wind(), trace_name="<script>\x00.wind.jsonl")
    with serving(still) as server:
        _, headers, body = get(server, "/look")
    assert headers["x-content-type-options"] == "nosniff"
    assert json.loads(body)["trace"] == "<script>?.wind.jsonl"


def test_other_paths_other_names_and_other_verbs_are_refused() -> None:
    with serving(wind()) as server:
        assert get(server, "/../secret")[0] == 404
        assert get(server, "/look", host="evil.example:80")[0] == 403
        assert get(server, "/look", host="localhost")[0] == 200
        connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=2)
        connection.request("POST", "/look", body=b"stop")
        assert connection.getresponse().status == 501
        connection.close()


def test_beyond_this_computer_only_the_whole_address_leads_to_the_page() -> None:
    still = wind()
    with PageServer(still, "127.0.0.1", 0, token="s3cret-w0rd") as server:
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
        thread.start()
        try:
            assert [get(server, path)[0] for path in ("/", "/look", "/s3cret-w0rd", "/wrong-w0rd/")] == [404] * 4
            status, _, body = get(server, "/s3cret-w0rd/")
            assert (status, b'fetch("look"' in body) == (200, True)
            assert json.loads(get(server, "/s3cret-w0rd/look")[2])["torque"] == "3.51"
        finally:
            server.shutdown()
            thread.join(2)


def test_what_is_heard_goes_to_the_page_and_silence_too() -> None:
    heard = sound_object(AudioState(Tone(1000.0, Side.ABOVE), None))
    assert heard == {"pitch_hz": 1000.0, "pulses_per_s": 5.0, "cue": None, "cue_at_s": None}
    assert sound_object(AudioState(None, Heard(Cue.STOP, 12.3456)))["cue_at_s"] == 12.346
    with serving(state("silent")) as server:
        seen = json.loads(get(server, "/look")[2])
    assert seen["sound"]["pitch_hz"] is None


def test_a_browser_that_takes_nothing_holds_up_no_other() -> None:
    """Ten that opened a connection and never asked, or never read what they asked for."""
    with serving(wind()) as server, ExitStack() as stack:
        for number in range(10):
            silent = stack.enter_context(socket.create_connection(("127.0.0.1", server.port), timeout=2))
            if number % 2:
                silent.sendall(b"GET /look HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
        assert get(server, "/look")[0] == 200
