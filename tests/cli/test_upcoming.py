"""Who is next and which motor: by letters, by a row, by the label's code; those due from a real shelf."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import pytest

from tests.cli.test_shelf import said
from tests.shelf.examples import a_wind
from winding_coach.app.home import Home
from winding_coach.app.problem import UsageProblem
from winding_coach.app.queue_seen import HEADING, QueueSeen
from winding_coach.app.upcoming import Due, UpcomingWinds, chosen, due_of
from winding_coach.base.units import UnitSystem
from winding_coach.screen.after import Asked
from winding_coach.shelf.records import Motor, Person, Wind
from winding_coach.shelf.rest import Candidate
from winding_coach.shelf.store import Shelf

pytestmark = pytest.mark.usefixtures("hurried_disk")


@pytest.fixture(autouse=True)
def own_home(home: Path) -> Path:
    home.mkdir(parents=True, exist_ok=True)
    return home


def a_motor(name: str, **more: float) -> Motor:
    return Motor(name, 0.30, 1.4e-3, 0.08e-3, **more)  # type: ignore[arg-type]


DUE = Due(tuple(Candidate(a_motor(name), 0, 0.8, None) for name in ("th-01", "th-02", "moss", "7")), ("Pip", "Moth"))


@pytest.mark.parametrize(
    ("typed", "means"),
    [
        ("", ("th-01", "Pip")),
        ("2", ("th-02", "Moth")),
        ("moss", ("moss", "Pip")),
        ("mos", ("moss", "Pip")),
        ("mot", ("th-01", "Moth")),
        ("02", ("th-02", "Pip")),
        ("mot 02", ("th-02", "Moth")),
        ("02 MOT", ("th-02", "Moth")),
        ("7", ("7", "Pip")),
        ("  th-02  ", ("th-02", "Pip")),
        ("1 mot", ("th-01", "Moth")),
    ],
)
def test_letters_rows_and_codes(typed: str, means: tuple[str, str]) -> None:
    assert chosen(typed, DUE) == means


@pytest.mark.parametrize(
    ("typed", "says"), [("mo", "may be moss, Moth"), ("5", "is called '5'"), ("x", "is called 'x'")]
)
def test_what_means_nothing_or_several_is_a_sentence(typed: str, says: str) -> None:
    with pytest.raises(UsageProblem, match=says):
        chosen(typed, DUE)


def test_every_motors_label_means_that_motor() -> None:
    """The code on a label is the motor's name, whatever other names begin or end with it."""
    names = ("a", "ab", "b", "1", "12", "long name with spaces", "Pip")
    due = Due(tuple(Candidate(a_motor(name), 0, 0.8, None) for name in names), ("Pip", "a1"))
    assert [chosen(name, due)[0] for name in names] == list(names)


def test_without_a_shelf_enter_winds_the_same_again() -> None:
    assert chosen("", Due()) == (None, None)


def two_people(home: Path, *winds: Wind) -> Home:
    with Shelf(home / "shelf.sqlite") as shelf:
        for name in ("th-01", "th-02"):
            shelf.add(a_motor(name, measured_at_use=0))
        for name in ("Pip", "Moth"):
            shelf.add(Person(name))
        shelf.log(*winds)
    return Home(home, {})


def wound(number: int, motor: str, person: str, hours_ago: float, **more: float) -> Wind:
    started = (datetime.now().astimezone() - timedelta(hours=hours_ago)).isoformat()
    return a_wind(number, motor=motor, person=person, started=started, **more)


def test_who_waited_longest_comes_first_and_a_motor_just_wound_last(home: Path) -> None:
    two_people(home, wound(1, "th-01", "Pip", 30.0), wound(2, "th-01", "Moth", 0.05))
    with Shelf(home / "shelf.sqlite") as shelf:
        due = due_of(shelf, datetime.now().astimezone(), simulated=False)
    assert [one.motor.name for one in due.motors] == ["th-02", "th-01"]
    assert due.people == ("Pip", "Moth")
    assert due.pairs == [("th-02", "Pip"), ("th-01", "Moth")]


def test_a_grown_loop_is_asked_for_when_its_motor_is_chosen(home: Path) -> None:
    """After its first wind a loop has grown by what `review.wear` expects; it is asked for once."""
    upcoming = UpcomingWinds(two_people(home, wound(1, "th-01", "Pip", 30.0)), "metric", simulated=False, person=None)
    assert len(upcoming.rows()) == 2
    asked = upcoming.choose("01")
    assert asked.asked is None
    assert "Measure the loop of th-01" in asked.said
    assert "1 wind" in asked.said
    wrong = upcoming.choose("3 m")
    assert wrong.asked is None
    assert "type its length" in wrong.said
    assert upcoming.choose("30,6").asked == Asked("next", "th-01", "Moth")
    with Shelf(home / "shelf.sqlite") as shelf:
        motor = shelf.get(Motor, "th-01")
    assert motor.loop_m == pytest.approx(0.306)
    assert motor.measured_at_use == 1
    upcoming.rows()
    assert upcoming.choose("01").asked == Asked("next", "th-01", "Moth"), "it is measured now"


def test_a_loop_that_is_not_measured_is_left_as_it_was(home: Path) -> None:
    upcoming = UpcomingWinds(two_people(home, wound(1, "th-01", "Pip", 30.0)), "metric", simulated=False, person=None)
    upcoming.rows()
    upcoming.choose("01")
    assert upcoming.choose("").asked == Asked("next", "th-01", "Moth")
    with Shelf(home / "shelf.sqlite") as shelf:
        assert shelf.get(Motor, "th-01").measured_at_use == 0


def test_the_queue_shows_each_ones_last_aim_once(home: Path) -> None:
    asked: list[str] = []

    def aim(_home: Home, wind: Wind, _units: UnitSystem) -> str:
        asked.append(wind.id)
        return f"aim of {wind.person}"

    at = two_people(home, wound(1, "th-01", "Pip", 30.0), wound(2, "th-01", "Pip", 3.0), wound(3, "th-02", "Moth", 2.0))
    queue = QueueSeen(at, "metric", aim_of=aim)
    queue.look()
    assert queue() == (HEADING, "1  Pip   th-01   last aim: aim of Pip", "2  Moth  th-02   last aim: aim of Moth")
    queue.look()
    assert sorted(asked) == sorted([a_wind(2).id, a_wind(3).id]), "a wind is reviewed once, and only the last one"


def test_each_of_twenty_learners_sees_their_last_aim(home: Path) -> None:
    """With four motors only those of the first four were seen."""
    people = [f"learner-{number:02d}" for number in range(20)]
    with Shelf(home / "shelf.sqlite") as shelf:
        for name in ("th-01", "th-02", "th-03", "th-04"):
            shelf.add(a_motor(name, measured_at_use=0))
        for person in people:
            shelf.add(Person(person))
        shelf.log(*(wound(i, "th-01", person, 40.0 - i) for i, person in enumerate(people)))
    queue = QueueSeen(Home(home, {}), "metric", aim_of=lambda _home, wind, _units: f"aim of {wind.person}")
    queue.look()
    heading, *lines = queue()
    assert heading == HEADING
    assert len(lines) == 20
    for place, (person, line) in enumerate(zip(people, lines, strict=True), 1):
        assert line.startswith(f"{place:>2}  {person}"), "who waited longest is first"
        assert line.endswith(f"last aim: aim of {person}")
        assert ("th-0" in line) == (place <= 4)


def test_no_shelf_no_queue(home: Path) -> None:
    queue = QueueSeen(Home(home, {}), "metric")
    queue.look()
    assert queue() == ()


def test_labels_carry_the_code(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    said(capsys, "motor", "add", "th-07", "--loop", "30 cm", "--mass", "1.4 g")
    said(capsys, "motor", "label", "--to", str(tmp_path / "labels.svg"))
    assert (tmp_path / "labels.svg").read_text(encoding="utf-8").count("crispEdges") > 100
