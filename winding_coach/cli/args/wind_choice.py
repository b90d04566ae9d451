"""Options that say which winds are meant; short names of what is on the shelf will do."""

from __future__ import annotations

import argparse
from datetime import date, datetime, time, timedelta
from typing import TYPE_CHECKING

from winding_coach.app.problem import UsageProblem
from winding_coach.app.typed import whole
from winding_coach.base.inputs import CHECKS
from winding_coach.shelf.records import PURPOSES

if TYPE_CHECKING:
    from winding_coach.shelf.store import Shelf, WindFilter

NAMED = ("motor", "person", "batch", "winder", "model")
OUTCOMES = ("done", "broken", "gone", "stopped", "lost", "open")
MOST = 10_000_000


def add_wind_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options; `wind_filter` reads them back."""
    chosen = parser.add_argument_group("which winds")
    for name in NAMED:
        chosen.add_argument(f"--{name}", metavar="NAME", help=f"of this {name}")
    chosen.add_argument("--outcome", choices=OUTCOMES, metavar="HOW", help=f"that ended so: {', '.join(OUTCOMES)}")
    chosen.add_argument("--purpose", choices=PURPOSES, help="wound for this")
    chosen.add_argument(
        "--checked", choices=CHECKS, metavar="ITEM", help=f"before which this was ticked: {', '.join(CHECKS)}"
    )
    chosen.add_argument("--not-checked", choices=CHECKS, metavar="ITEM", help="before which it was not")
    chosen.add_argument("--voided", action="store_true", help="only those that were voided")
    chosen.add_argument("--since", metavar="DATE", help="from this day on, as in 2026-03-07")
    chosen.add_argument("--until", metavar="DATE", help="up to this day, which is included")


def wind_filter(args: argparse.Namespace, shelf: Shelf, newest: str | None = None) -> WindFilter:
    """Return what was asked for. newest: so many of them.

    Raises:
        UsageProblem: something typed cannot be used.
        ShelfError: a name may be several.
    """
    from winding_coach.shelf.store import WindFilter

    named = {name: typed for name in NAMED if (typed := meant(shelf, name, getattr(args, name))) is not None}
    return WindFilter(
        motor=named.get("motor"),
        person=named.get("person"),
        batch=named.get("batch"),
        winder=named.get("winder"),
        model=named.get("model"),
        outcome=args.outcome,
        purpose=args.purpose,
        voided=args.voided,
        checked=args.checked,
        unchecked=args.not_checked,
        since=_day("--since", args.since),
        until=_day("--until", args.until, after=1),
        newest=None if newest is None else whole("--newest", newest, 1, MOST),
    )


def meant(shelf: Shelf, kind: str, typed: str | None) -> str | None:
    """Return the name that a short one means; one that the shelf never held is taken as it is, a wind may have it.

    Raises:
        ShelfError: it may be several.
    """
    from winding_coach.shelf.tables import KINDS

    if typed is None:
        return None
    if any(one.name.casefold().startswith(typed.casefold()) for one in shelf.all(KINDS[kind])):
        return shelf.find(KINDS[kind], typed).name
    return typed


def _day(option: str, typed: str | None, *, after: int = 0) -> datetime | None:
    """Return the moment at which a day begins here, so many days later."""
    if typed is None:
        return None
    try:
        day = date.fromisoformat(typed)
        return datetime.combine(day + timedelta(days=after), time()).astimezone()
    except (ValueError, OverflowError):
        raise UsageProblem(f"{option}: '{typed[:40]}' is no date: type it as 2026-03-07.") from None
