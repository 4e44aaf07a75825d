"""`trail`: the record of a job as Markdown, HTML, plain text or JSON."""

from __future__ import annotations

from contextlib import ExitStack
from pathlib import Path

import click

from stillair.trail import Document, as_of, letter, make, to_json, write
from stillair.wording import Wording

from . import Mistake
from .account_format import print_json
from .session import Session, Settings, job_zone

__all__ = ["document", "trail"]


def document(session: Session, at: float | None = None) -> Document:
    """The trail of a session as of a moment, by default its close or last entry, with the views."""
    moment = as_of(session.lines) if at is None else at
    found = session.assess(moment, None if at is None else at)
    return make(
        found,
        session.lines,
        job_zone(session.lines),
        last_hash=session.job.last_hash,
        torn=len(session.job.torn.data) if session.job.torn is not None else 0,
        differs=session.differs,
        plugins=session.plugins,
    )


@click.command()
@click.argument("job", type=click.Path())
@click.option(
    "--format",
    "form",
    type=click.Choice(["markdown", "html", "text", "json"]),
    default="markdown",
    help="markdown (as kept), html (one page), text (for a terminal), json (with the whole assessment).",
)
@click.option(
    "--for",
    "reader",
    type=click.Choice(["record", "owner"]),
    default="record",
    help="record (all of it), owner (one page in plain words).",
)
@click.option("--at", metavar="TIME", help="As of that moment, by what had been entered then.")
@click.option("--out", metavar="FILE", help="Write it into a new file instead of showing it.")
@click.pass_obj
def trail(settings: Settings, job: str, form: str, reader: str, at: str | None, out: str | None) -> None:
    """Write the trail of JOB: what was asked, observed and decided, why, and what was not; or the letter.

    As of its close, or of the last entry of an open job, unless --at says otherwise. The same job gives
    the same trail.
    """
    with ExitStack() as opened:
        session = opened.enter_context(
            Session.load(job, settings.plugin_dirs, by=settings.by, clock=settings.clock)
        )
        moment = session.at(at) if at is not None else None
        begun = session.lines[0].entered
        if moment is not None and moment < begun:
            raise Mistake(f"`{at}` is before the job began", f"it began {session.said(begun)}")
        if moment is not None and any(x.kind == "move" and x.entered > moment for x in session.lines):
            session = opened.enter_context(
                Session.load(job, settings.plugin_dirs, by=settings.by, clock=settings.clock, known=moment)
            )
        made = document(session, moment) if reader == "record" else _letter(session, moment)
        if form == "json":
            from stillair import account

            then = as_of(session.lines) if moment is None else moment
            words = Wording(session.assess(then, moment), job_zone(session.lines))
            told = {"format": account.TRAIL, **to_json(made), "assessment": account.assessment(words)}
            if out is None:
                print_json(told)
                return
            import json

            text = json.dumps(told, indent=1, ensure_ascii=True, allow_nan=False) + "\n"
        else:
            text = _rendered(made, form, session)
    if out is None:
        click.echo(text, nl=False)
        return
    place = Path(out)
    if place.exists():
        raise Mistake(f"`{out}` is there already", "name a new file")
    try:
        place.write_text(text, encoding="utf-8", newline="\n")
    except OSError:
        # A part of a trail looks like a whole one.
        place.unlink(missing_ok=True)
        raise
    click.echo(place.as_posix())


def _letter(session: Session, at: float | None) -> Document:
    moment = as_of(session.lines) if at is None else at
    found = session.assess(moment, None if at is None else at)
    return letter(found, session.lines, job_zone(session.lines))


def _rendered(made: Document, form: str, session: Session) -> str:
    markdown = write(made)
    if form == "markdown":
        return markdown
    from stillair import render

    if form == "html":
        return render.html(markdown, str(session.lines[0].body.get("title", "Trail")))
    from .screen import Screen

    return render.terminal(markdown, Screen().width)
