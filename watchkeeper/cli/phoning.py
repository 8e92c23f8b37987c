"""The outlet that speaks to the observer's phone, where a watch has a page."""

from __future__ import annotations

from watchkeeper.alerts.events import Happening
from watchkeeper.alerts.language import Language
from watchkeeper.daemon import Watch
from watchkeeper.edges.configuration import Voice as VoiceOptions
from watchkeeper.edges.reached import PHONE
from watchkeeper.page.hearing import STOPPED
from watchkeeper.page.phone import Phone


def make_phone(watch: Watch, voice: VoiceOptions, language: Language) -> Phone:
    """Return it; it has to become an outlet of the watch's hub, and its routes some of the page's."""

    def delivered(item: Happening, outcome: str, detail: str) -> None:
        if watch.hub is not None:
            watch.hub.delivered(PHONE)(item, outcome, detail)

    watch.advise_only(STOPPED)
    return Phone(
        watch.report,
        delivered,
        voice,
        language=language,
        reword=lambda item: watch.engine.words_now(item.rule, item.aircraft),
    )
