"""What shows a watch: one painting of it for the terminal, the page, the phones and the messages."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import AsyncExitStack
from dataclasses import dataclass
from typing import TYPE_CHECKING

from watchkeeper.aircraft.files import SortieFile
from watchkeeper.daemon import Watch
from watchkeeper.edges.clock import Clock
from watchkeeper.edges.configuration import Voice as VoiceOptions
from watchkeeper.edges.outlets import Outlet
from watchkeeper.edges.painting import Painting
from watchkeeper.edges.terminal import Terminal
from watchkeeper.picture.live import Painter

if TYPE_CHECKING:
    from watchkeeper.cli.paging import Paging
    from watchkeeper.page.phone import Phone


@dataclass(frozen=True, slots=True)
class Showing:
    """The painting, the outlets that show it (itself first), and what phones hear the watch by."""

    painting: Painting
    outlets: Sequence[Outlet]
    phone: Phone | None = None


async def open_showing(
    watch: Watch,
    terminal: Terminal,
    paging: Paging | None,
    stack: AsyncExitStack,
    *,
    station: str,
    exercise: bool,
    sortie: SortieFile | None,
    voice: VoiceOptions,
    quiet: bool,
) -> Showing:
    """Open what `--page` asks for, listening already. Raises BadInputError if its address cannot be had."""
    engine = watch.engine
    painter = Painter(engine, station=station, exercise=exercise, sortie=sortie)
    if paging is None:
        painting = Painting(painter, watch.clock.now_us)
        return Showing(painting, [painting])
    from watchkeeper.cli.phoning import make_phone  # noqa: PLC0415  (slow to load: only for those who want it)
    from watchkeeper.page.sound_routes import sound_routes  # noqa: PLC0415

    phone = make_phone(watch, voice, engine.language)
    painting = Painting(painter, watch.clock.now_us, phone.hearing.by_role)
    page = await paging.open(
        painting, watch.order, Clock().now_us, terminal.log, quiet=quiet, routes=[sound_routes(phone)]
    )
    stack.push_async_callback(page.close)
    return Showing(painting, [painting, page], phone)


def live_status(painting: Painting, watch: Watch, terminal: Terminal) -> Outlet:
    """Return the live status below the lines of the terminal."""
    from watchkeeper.edges.live import LiveStatus  # noqa: PLC0415  (slow to load: only for people)

    return LiveStatus(terminal, painting.picture, watch.engine.language, watch.engine.heard_line)
