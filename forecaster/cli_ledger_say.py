"""The commands with which the office tells the ledger what happened, one line a phone call."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Annotated

import typer

from forecaster.cli_ledger_desk import By, Folder, On, SiteName, Who, Why, open_desk
from forecaster.errors import BadInput, Problem

if TYPE_CHECKING:
    from forecaster.season.ledger import Clock

Hours = Annotated[
    float | None, typer.Option("--hours", metavar="H", help="Crew-hours it took.", min=0, max=200)
]


class SayCommands:
    """The commands, with the clock that they go by."""

    def __init__(self, clock: Clock) -> None:
        self.clock = clock

    def reading(
        self,
        folder: Folder,
        site: SiteName,
        water: Annotated[
            str,
            typer.Argument(
                metavar="WATER",
                help="Water temperature in the season's unit; or with its unit, 52F or 11C.",
                show_default=False,
            ),
        ],
        on: On = "",
        at: Annotated[
            str, typer.Option("--at", metavar="TIME", help='Time of day, like 15:30 or "3 pm".')
        ] = "",
        depth: Annotated[
            str, typer.Option("--depth", metavar="DEPTH", help="Depth in inches (metric: cm).")
        ] = "",
        by: By = "",
        sky: Annotated[str, typer.Option("--sky", metavar="SKY", help="clear, partly or cloudy.")] = "",
        thermometer: Annotated[
            str, typer.Option("--thermometer", metavar="NAME", help="The thermometer it was made with.")
        ] = "",
        who: Who = "",
    ) -> None:
        """Record a water temperature that somebody measured.

        Example: forecaster reading my-season V-03 52.3 --at 15:30 --depth 12 --by Heron
        """
        from forecaster.season import events
        from forecaster.season.cells import parse_choice
        from forecaster.season.moments import parse_clock
        from forecaster.season.readings_file import SKIES

        desk = open_desk(folder, who, self.clock)
        desk.record(
            events.reading(
                desk.site(site).site_id,
                desk.day(on),
                desk.water_c(water),
                hour=desk.cell(parse_clock, at, "--at"),
                depth_m=desk.depth_m(depth),
                by=by,
                sky=desk.cell(lambda text: parse_choice(text, SKIES), sky, "--sky") or "",
                thermometer=thermometer,
            )
        )

    def thermometer(
        self,
        folder: Folder,
        name: Annotated[str, typer.Argument(metavar="NAME", help="The thermometer.", show_default=False)],
        shows: Annotated[
            float | None, typer.Option("--shows", metavar="T", help="What it showed when it was checked.")
        ] = None,
        true: Annotated[
            float | None,
            typer.Option("--true", metavar="T", help="What it should have shown; default melting ice."),
        ] = None,
        since: Annotated[
            str, typer.Option("--since", metavar="DAY", help="Only for readings from this day on.")
        ] = "",
        on: On = "",
        who: Who = "",
    ) -> None:
        """Record how far a thermometer is off; its readings are corrected by that.

        Example: forecaster thermometer my-season B --shows 33.5
        """
        from forecaster.season import events
        from forecaster.season.quantities import STEP_UNITS

        desk = open_desk(folder, who, self.clock)
        if shows is None:
            text = "is needed: what it showed, in melting ice or beside a better one. Write --shows 33.5"
            raise BadInput(Problem("--shows", text))
        us = desk.basics.units == "us"
        right = (32.0 if us else 0.0) if true is None else true
        offset_c = STEP_UNITS[0 if us else 1].to_internal(right - shows)
        if abs(offset_c) > 10:
            text = f"{shows:g} for {right:g} {desk.basics.temperature_unit.words} is no offset. Correct it."
            raise BadInput(Problem("--shows", text))
        day, start = desk.day(on), desk.day(since, where="--since") if since.strip() else None
        desk.record(events.thermometer(day, name, offset_c, from_day=start))

    def close(
        self,
        folder: Folder,
        site: SiteName,
        on: On = "",
        by: By = "",
        done: Annotated[
            str, typer.Option("--done", metavar="TEXT", help="What was done, and what was not.")
        ] = "",
        hours: Hours = None,
        who: Who = "",
    ) -> None:
        """Record that a site was closed; it leaves the route.

        Example: forecaster close my-season V-03 --on yesterday --by Heron --done "pump out, net on"
        """
        from forecaster.season import events

        desk = open_desk(folder, who, self.clock)
        entry = events.closed(desk.site(site).site_id, desk.day(on), by=by, done=done, crew_hours=hours)
        desk.record(entry)

    def skip(
        self, folder: Folder, site: SiteName, why: Why = "", on: On = "", by: By = "", who: Who = ""
    ) -> None:
        """Record that a crew left without closing; the site re-enters the route.

        Example: forecaster skip my-season V-03 --why "gate locked" --by Heron
        """
        from forecaster.season import events

        desk = open_desk(folder, who, self.clock)
        if not why.strip():
            raise BadInput(Problem("--why", 'is needed: the reason. Write it like --why "gate locked"'))
        desk.record(events.skipped(desk.site(site).site_id, desk.day(on), reason=why, by=by))

    def visit(
        self,
        folder: Folder,
        site: SiteName,
        what: Annotated[
            str, typer.Argument(metavar="WHAT", help='What for: "netting", "net off" ...', show_default=False)
        ],
        hours: Hours = None,
        on: On = "",
        by: By = "",
        who: Who = "",
    ) -> None:
        """Record a visit before or after the closing, done or to come, as crew-hours.

        Example: forecaster visit my-season V-03 "net off" --on "20 Nov" --hours 0.5
        """
        from forecaster.season import events

        desk = open_desk(folder, who, self.clock)
        if hours is None:
            raise BadInput(Problem("--hours", "is needed: the crew-hours of the visit. Write --hours 0.5"))
        if not what.strip():
            raise BadInput(Problem("what", 'is empty. Write what the visit is for, like "netting".'))
        day = desk.day(on, ahead=True)
        desk.record(
            events.visit(
                desk.site(site).site_id,
                min(day, desk.today),
                what,
                visit_date=day,
                crew_hours=hours,
                by=by,
            )
        )

    def note(
        self,
        folder: Folder,
        text: Annotated[str, typer.Argument(metavar="TEXT", help="The note.", show_default=False)],
        site: Annotated[str, typer.Option("--site", metavar="SITE", help="The site it is about.")] = "",
        on: On = "",
        who: Who = "",
    ) -> None:
        """Keep a note about a site or the season.

        Example: forecaster note my-season "new dog, ring first" --site V-03
        """
        from forecaster.season import events

        desk = open_desk(folder, who, self.clock)
        if not text.strip():
            raise BadInput(Problem("note", "is empty. Write the note in quotes."))
        site_id = desk.site(site).site_id if site.strip() else ""
        desk.record(events.note(desk.day(on), text, site_id=site_id))

    def outcome(
        self,
        folder: Folder,
        site: SiteName,
        what: Annotated[
            str,
            typer.Argument(
                metavar="WHAT", help='damage, "ice broken", call-back or "no damage".', show_default=False
            ),
        ],
        cost: Annotated[
            float | None,
            typer.Option("--cost", metavar="DOLLARS", help="What it cost.", min=0, max=1_000_000),
        ] = None,
        text: Annotated[str, typer.Option("--note", metavar="TEXT", help="What was found.")] = "",
        on: On = "",
        who: Who = "",
    ) -> None:
        """Record what became of a site, so that the season's dollars can be checked against it.

        Example: forecaster outcome my-season V-03 damage --cost 380 --note "check valve cracked"
        """
        from forecaster.season import events
        from forecaster.season.cells import parse_choice

        desk = open_desk(folder, who, self.clock)
        found = desk.cell(lambda said: parse_choice(said, events.OUTCOMES), what, "what")
        if found is None:
            raise BadInput(Problem("what", f"is empty. Write one of {', '.join(events.OUTCOMES)}."))
        desk.record(events.outcome(desk.site(site).site_id, desk.day(on), found, dollars=cost, text=text))


def register_say(app: typer.Typer, clock: Clock) -> None:
    """Add the commands to `app`."""
    commands = SayCommands(clock)
    named: dict[str, Callable[..., None]] = {
        "reading": commands.reading,
        "thermometer": commands.thermometer,
        "close": commands.close,
        "skip": commands.skip,
        "visit": commands.visit,
        "note": commands.note,
        "outcome": commands.outcome,
    }
    for name, command in named.items():
        app.command(name)(command)
