"""Tells which callouts a recogniser takes for others: `python -m tests.words.recognise --help`."""

from __future__ import annotations

import argparse
import asyncio
import time
import zlib
from collections.abc import AsyncIterator, Iterable
from dataclasses import dataclass

from tests.words.callouts import shipped
from tests.words.recognition import FLOOR_DB, Recogniser, as_heard, grammar_of, heard_words, spoken_by
from watchkeeper.alerts.spoken import NumberStyle
from watchkeeper.edges.configuration import Voice
from watchkeeper.edges.voice.outlet import PROBE
from watchkeeper.edges.voice.synthesiser import Synthesiser
from watchkeeper.rules.schema import Rule

CHOSEN_ON = (
    "motor-stopped", "balance-wire", "link-trend", "home-missing", "hold-over-home", "keep-out-near",
    "motor-balance", "cell-behind", "resistance-high", "cells-uneven",
)  # fmt: skip
"""Rules on whose callouts the decoder's settings were chosen."""


@dataclass(frozen=True)
class Hearing:
    """What was said and heard of a rule, as words, and how long that took of one core."""

    rule: Rule
    said: str
    heard: str
    took_s: float


async def hearings(
    rules: Iterable[Rule], language: str, style: NumberStyle, above_noise_db: float
) -> AsyncIterator[Hearing]:
    """Speak each rule's callout, and yield what is heard."""
    synthesiser = Synthesiser(Voice(language=language), timeout_s=30.0, start_timeout_s=60.0)
    recogniser = Recogniser()
    try:
        for rule in rules:
            start_s = time.process_time()
            words = spoken_by(rule, zlib.crc32(rule.id.encode()), style)
            await synthesiser.sound(PROBE, cached=False)  # samples depend a little on what was said before
            sound = as_heard(await synthesiser.sound(words), above_noise_db)
            heard = recogniser.hear(grammar_of(rule, style), sound)
            yield Hearing(rule, heard_words(words), heard, time.process_time() - start_s)
    finally:
        await synthesiser.close()


async def _main() -> None:
    parser = argparse.ArgumentParser(description="Tell which callouts a recogniser takes for others.")
    parser.add_argument("--language", default="en-us", help="the voice, like en; en-us unless told")
    parser.add_argument("--numbers", type=NumberStyle, default=NumberStyle.DIGITS, help="digits or plain")
    parser.add_argument("--noise", type=float, default=FLOOR_DB, metavar="DB", help="how far below the words; 40")
    parser.add_argument("--every", type=int, default=1, metavar="N", help="only every Nth callout")
    told = parser.parse_args()
    rules, wrong, took_s = shipped()[:: told.every], 0, 0.0
    async for one in hearings(rules, told.language, told.numbers, told.noise):
        took_s += one.took_s
        if one.heard != one.said:
            wrong += 1
            print(f"{one.rule.id}: said '{one.said}', heard '{one.heard}'", flush=True)
    print(f"{len(rules) - wrong} of {len(rules)} recognised, in {took_s:.0f} s of one core")


if __name__ == "__main__":
    asyncio.run(_main())
