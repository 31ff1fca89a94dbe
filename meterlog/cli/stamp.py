"""`meterlog stamp`: somebody else's clock over an evidence file's head, by a request and an answer that are carried."""

from __future__ import annotations

from pathlib import Path

import click

_FILE = click.Path(dir_okay=False, path_type=Path)


@click.group()
def stamp() -> None:
    """A time stamp (RFC 3161) on an evidence file: write the request, carry it to an authority, attach its answer.

    Example: meterlog stamp request K-7.zip --to K-7.tsq
    """


@stamp.command()
@click.argument("file", type=_FILE)
@click.option("--to", "target", type=_FILE, required=True, help="The request, to be carried to an authority.")
def request(file: Path, target: Path) -> None:
    """Write the request for a time stamp on the head of the evidence file FILE.

    Example: meterlog stamp request K-7.zip --to K-7.tsq
    """
    import secrets

    from meterlog.base.errors import CannotDo
    from meterlog.record import stamp as stamps
    from meterlog.report.bagfile import read_zip

    try:
        target.write_bytes(stamps.request(read_zip(file)["data/head.note"], secrets.randbits(63) | 1))
    except KeyError:
        raise CannotDo(
            f"{file} holds no head", "give what meterlog report REF --evidence --to FILE.zip wrote"
        ) from None
    except OSError as error:
        raise CannotDo(f"{target} can't be written: {error.strerror}") from None
    click.echo(
        "carry it to an authority; over a network: curl -H 'Content-Type: application/timestamp-query' "
        f"--data-binary @{target} -o answer.tsr AUTHORITY",
        err=True,
    )


@stamp.command()
@click.argument("file", type=_FILE)
@click.argument("answer", type=_FILE)
def attach(file: Path, answer: Path) -> None:
    """Put an authority's ANSWER into the evidence file FILE; refused, when it is of another head.

    Example: meterlog stamp attach K-7.zip answer.tsr
    """
    from meterlog.report.bagfile import stamped

    time = stamped(file, answer)
    click.echo(f"attached: it says {time}; whose clock that is: meterlog verify {file} --authority CERT.pem", err=True)
