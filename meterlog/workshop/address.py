"""Where a workshop's server is, and how it is connected to: TLS with verification, unless it is a local socket."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from meterlog.base.errors import CannotDo

if TYPE_CHECKING:
    import psycopg as psycopg
else:
    try:
        import psycopg
    except ImportError:  # the extra is not installed: said when it is needed
        psycopg = None

CONNECT_S = 10


def connect(url: str, **settings: Any) -> psycopg.Connection[Any]:
    """A connection to a workshop's server.

    Raises: CannotDo, when the client is not installed, the address can't be read, or the server does not let us in.
    """
    if psycopg is None:
        raise CannotDo("the PostgreSQL client is not installed", "install it with: pip install 'meterlog[workshop]'")
    try:
        return psycopg.connect(secured(url), connect_timeout=CONNECT_S, **settings)
    except psycopg.Error as error:
        words = str(error).strip().splitlines() or ["no answer"]
        raise CannotDo(
            f"the workshop can't be reached: {words[-1]}", "is it running, and is the address right?"
        ) from None


def secured(url: str) -> str:
    """The address with TLS and verification asked for, where it names a host and says nothing of it itself.

    Raises: CannotDo, when it can't be read.

    >>> secured("postgresql:///workshop?host=/run/postgresql")
    'dbname=workshop host=/run/postgresql'
    >>> secured("postgresql://bench@shop.example/workshop").rpartition(" ")[2]
    'sslrootcert=system'
    """
    try:
        parts = psycopg.conninfo.conninfo_to_dict(url)
    except psycopg.Error as error:
        raise CannotDo(f"no address of a PostgreSQL: {error}", "write postgresql://USER@HOST/DATABASE") from None
    host = str(parts.get("host") or "")
    if host and not host.startswith(("/", "@")) and "sslmode" not in parts:
        parts |= {"sslmode": "verify-full", **({} if "sslrootcert" in parts else {"sslrootcert": "system"})}
    return str(psycopg.conninfo.make_conninfo("", **parts))
