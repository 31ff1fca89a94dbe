"""`meterlog record`: keep an instrument's bytes, both directions, with their times."""

from __future__ import annotations

from collections import deque
from pathlib import Path

import click

from meterlog.base.errors import CannotDo
from meterlog.base.recording import Event, event_line, head_lines
from meterlog.cli.listening import listen_to, opened
from meterlog.files import shipped
from meterlog.links.settings import LineSettings, settings_of
from meterlog.profile import compile_profile


@click.command()
@click.argument("url")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--profile", "reference", help="Set the line, and ask what this profile asks.")
@click.option("--baud", default=9600, show_default=True, help="Without a profile: bits a second.")
@click.option("--seconds", type=float, help="Stop after this time; else with Ctrl-C.")
@click.option("--note", default="", help="What stood on the bench.")
def record(url: str, file: Path, reference: str | None, baud: int, seconds: float | None, note: str) -> None:
    """Record what arrives from URL into FILE; with a profile that asks, its requests are sent and kept too.

    \b
    Example: meterlog record /dev/ttyUSB0 kettle.txt --profile handheld-segments --seconds 30
    """
    head = {"note": note} if note else {}
    settings, conversation = LineSettings(baud=baud), None
    if reference:
        path = shipped.find(reference, "profiles/instruments")
        profile = compile_profile(shipped.text_of(path), str(path))
        head = {"profile": profile.key, **head}
        settings, conversation = settings_of(profile), profile.conversation()
    link = opened(url, settings)
    count = 0
    try:
        with file.open("x", encoding="utf-8") as out:
            out.writelines(f"{line}\n" for line in head_lines(head))

            def keep(event: Event) -> None:
                nonlocal count
                out.write(event_line(event) + "\n")
                out.flush()
                count += len(event.data) if event.kind == "in" else 0

            deque(listen_to(link, conversation, seconds, keep), maxlen=0)
    except FileExistsError:
        raise CannotDo(f"{file} is there already", "give another name: a recording is never overwritten") from None
    except OSError as error:
        raise CannotDo(f"cannot write {file}: {error.strerror}") from None
    except KeyboardInterrupt:
        pass
    finally:
        link.close()
    click.echo(f"{count} bytes recorded in {file}", err=True)
