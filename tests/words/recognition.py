"""Every callout spoken by the project's voice and recognised by pocketsphinx among wrong ones.

A grammar a rule holds: the callout with any level and any number; its key words swapped for their opposites; its
subject and its action swapped for those of others that sound nearest; and the callouts of other rules that sound
nearest as a whole. All of these combine freely, so that a callout stands against thousands of wrong ones.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator
from typing import Any

import numpy as np
import pocketsphinx
from numpy.typing import NDArray
from scipy.signal import butter, resample_poly, sosfilt  # type: ignore[import-untyped]

from tests.words.callouts import PLACE, parts, plainly, shipped
from tests.words.phonemes import apart
from watchkeeper.aircraft.catalogue import CATALOGUE, INDEX
from watchkeeper.alerts.spoken import NumberStyle, spell_numbers
from watchkeeper.alerts.wording import callout
from watchkeeper.edges.voice.sound import RATE_HZ
from watchkeeper.rules.levels import Level
from watchkeeper.rules.schema import Rule

HEARD_HZ = 16_000
NEAREST = 5
FLOOR_DB = 40.0
"""Below the words, the noise of a quiet room: a recogniser knows no sound that is exactly zero between words."""
SETTINGS: dict[str, Any] = {
    "cmn": "batch",
    "wip": 1e-3,
    "silprob": 0.05,
    "beam": 1e-60,
    "pbeam": 1e-60,
    "wbeam": 1e-40,
}
"""Of the decoder. Chosen among six on the callouts in recognise.CHOSEN_ON, for the most recognised in both voices.

Each callout is levelled by itself (by its own setting, the one before would have a say); further words cost more
(0.65) and silence between words less (0.005), for there are full stops; and beams are wider than its own (1e-48,
1e-48, 7e-29), at which right words were given up half way.
"""
OPPOSITES = (
    ("climb", "descend"), ("climbing", "descending"), ("climbs", "descends"), ("gain", "lose"), ("soon", "now"),
    ("stop", "go"), ("closer", "away"), ("high", "low"), ("above", "below"), ("land", "climb"), ("slow", "speed"),
    ("back", "on"), ("inside", "outside"), ("near", "far"), ("early", "late"), ("not", "too"), ("lost", "back"),
    ("weak", "strong"), ("hot", "cold"), ("down", "up"), ("falls", "rises"), ("leaves", "enters"),
    ("stay", "leave"),
)  # fmt: skip
TEXTS = {
    "urgent": "motor failure detected", "caution": "compass not calibrated", "battery": "battery failing",
    "link": "radio link weak", "position": "position uncertain", "advisory": "terrain data missing",
}  # fmt: skip
_DIGIT = {
    NumberStyle.DIGITS: "(zero | one | two | three | four | five | six | seven | eight | niner)",
    NumberStyle.PLAIN: "(zero | one | two | three | four | five | six | seven | eight | nine)",
}
_NUMBERS = {
    NumberStyle.DIGITS: "[minus] <digit> [<digit>] [<digit>] [decimal <digit> | thousand | hundred]",
    NumberStyle.PLAIN: "[minus] [<digit> (thousand | hundred)] (<digit> | <teen> | <tens> [<digit>])"
    " [(thousand | hundred) | point <digit>]",
}
_PLAIN_RULES = (
    "<teen> = (ten | eleven | twelve | thirteen | fourteen | fifteen"
    " | sixteen | seventeen | eighteen | nineteen);\n"
    "<tens> = (twenty | thirty | forty | fifty | sixty | seventy | eighty | ninety);\n"
)


def heard_words(text: str) -> str:
    """Return a text as the words that are heard."""
    return " ".join(re.sub(r"[^a-z' ]", " ", text.lower().replace("_", " ")).split())


def spoken_by(rule: Rule, turn: int, style: NumberStyle) -> str:
    """Return the whole callout with numbers spelled, `turn` choosing among values that a flight brings."""
    values: dict[int, Any] = {}
    for index in rule.say.readings:
        one = CATALOGUE[index]
        if one.text:
            values[index] = TEXTS[one.name.removeprefix("text.")]
        elif one.words:
            values[index] = one.words[turn % len(one.words)]
        elif one.unit_symbol == "" or "pack" in one.name:
            values[index] = float(1 + turn % 8)
        elif ":.1}" in rule.say.text:
            values[index] = (3.3, 3.6, 2.9, 4.1, 3.0)[turn % 5]
        elif one.name == "battery.coldest":
            values[index] = float((-7, 3, 12)[turn % 3])
        else:
            values[index] = float((62, 9, 35, 48, 17, 80, 24, 150, 91)[turn % 9])
    said = callout(rule.level, rule.say.render(values.__getitem__), None, several=False)
    return spell_numbers(said, style)


def _in_grammar(part: str) -> str:
    def put(place: re.Match[str]) -> str:
        name = place[1].strip()
        index = INDEX.get(name)
        if name.startswith("text."):
            return f" {heard_words(TEXTS[name[5:]])} "
        words = () if index is None else CATALOGUE[index].words
        return f" ({' | '.join(heard_words(word) for word in words)}) " if words else " <number> "

    pieces, at = [], 0
    for place in PLACE.finditer(part):
        pieces += [heard_words(part[at : place.start()]), put(place)]
        at = place.end()
    return " ".join(" ".join([*pieces, heard_words(part[at:])]).split())


def swapped(part: str) -> Iterator[str]:
    """Yield a part of a grammar with one key word turned into its opposite, and without a "not"."""
    words = part.split()
    for i, word in enumerate(words):
        for pair in OPPOSITES:
            for one, other in (pair, pair[::-1]):
                if word == one:
                    yield " ".join([*words[:i], other, *words[i + 1 :]])
        if word == "not":
            yield " ".join([*words[: i - (words[i - 1] == "do")], *words[i + 1 :]])


def _nearest(text: str, others: Iterable[str], count: int = NEAREST) -> list[str]:
    different = sorted(set(others) - {text})
    return sorted(different, key=lambda other: apart(plainly(text), plainly(other)))[:count]


def _either(choices: Iterable[str]) -> str:
    return f"({' | '.join(sorted(set(filter(None, choices))))})"


def grammar_of(rule: Rule, style: NumberStyle) -> str:
    """Return the JSGF grammar of a rule's callout and wrong ones."""
    own = parts(rule)
    alerts = [r for r in shipped() if r.level is not Level.ROUTINE]
    others = {". ".join(parts(r)): r for r in shipped() if r is not rule}
    lines: list[str] = []
    if rule.level is Level.ROUTINE:
        written = [_in_grammar(part) for part in own]
        lines.append(" ".join(written))
        lines += [" ".join([*written[:i], other, *written[i + 1 :]]) for i, w in enumerate(written)
                  for other in swapped(w)]  # fmt: skip
    else:
        pieces = ["<level>", _either(map(_in_grammar, [own[0], *_nearest(own[0], (parts(r)[0] for r in alerts))]))]
        for part in own[1:]:
            written_part = _in_grammar(part)
            alike = _nearest(part, (parts(r)[-1] for r in alerts)) if part is own[-1] and len(own) > 2 else []
            pieces.append(_either([written_part, *swapped(written_part), *map(_in_grammar, alike)]))
        lines.append(" ".join(pieces))
    for near in _nearest(". ".join(own), others, 2 * NEAREST):
        level = "" if others[near].level is Level.ROUTINE else "<level> "
        lines.append(level + " ".join(map(_in_grammar, parts(others[near]))))
    plain = _PLAIN_RULES if style is NumberStyle.PLAIN else ""
    return (
        "#JSGF V1.0;\ngrammar callouts;\n"
        f"<digit> = {_DIGIT[style]};\n{plain}<number> = {_NUMBERS[style]};\n"
        f"<level> = (warning | caution | advisory);\npublic <callout> = {_either(lines)};\n"
    )


def pink(count: int, seed: int) -> NDArray[np.float64]:
    """Return noise of equal power an octave, like wind and machines outdoors."""
    spectrum = np.fft.rfft(np.random.default_rng(seed).standard_normal(count))
    spectrum /= np.sqrt(np.maximum(np.arange(len(spectrum)), 1))
    return np.fft.irfft(spectrum, count)


def _speech_band(samples: NDArray[np.float64], rate_hz: int) -> NDArray[np.float64]:
    """Return what lies in 200 to 6100 Hz, in which NUREG-0700 1.2.12-9 asks for 20 dB."""
    return np.asarray(sosfilt(butter(4, (200.0, 6100.0), "bandpass", fs=rate_hz, output="sos"), samples))


def active_rms(samples: NDArray[np.float64], rate_hz: int) -> float:
    """Return the level of words without their pauses: of steps of 20 ms within 30 dB of the loudest."""
    step = rate_hz // 50
    levels = np.sqrt(np.mean(samples[: len(samples) // step * step].reshape(-1, step) ** 2, axis=1))
    return float(np.sqrt(np.mean(levels[levels > levels.max() / 31.6] ** 2)))


def as_heard(sound: bytes, above_noise_db: float = FLOOR_DB) -> bytes:
    """Return the words at 16 kHz with noise that far below them in the speech band, seeded by their length."""
    samples = np.frombuffer(sound, np.int16).astype(float)
    gap = math.gcd(HEARD_HZ, RATE_HZ)
    samples = resample_poly(samples, HEARD_HZ // gap, RATE_HZ // gap)
    samples = np.pad(samples, HEARD_HZ // 4)
    noise = pink(len(samples), len(samples))
    words_rms = active_rms(_speech_band(samples, HEARD_HZ), HEARD_HZ)
    noise *= words_rms / 10 ** (above_noise_db / 20) / np.sqrt(np.mean(_speech_band(noise, HEARD_HZ) ** 2))
    mixed = samples + noise
    mixed *= 16_000 / np.abs(mixed).max()
    return mixed.astype(np.int16).tobytes()


class Recogniser:
    """Hears one callout at a time."""

    def hear(self, grammar: str, sound: bytes) -> str:
        """Return the words recognised, or nothing if no callout of the grammar fits.

        By a decoder of its own each: one that goes on remembers what it heard before.
        """
        decoder = pocketsphinx.Decoder(samprate=HEARD_HZ, lm=None, loglevel="FATAL", **SETTINGS)
        decoder.add_jsgf_string("callouts", grammar)
        decoder.activate_search("callouts")
        decoder.start_utt()
        decoder.process_raw(sound, full_utt=True)
        decoder.end_utt()
        found = decoder.hyp()
        return "" if found is None else re.sub(r"\(\d+\)", "", found.hypstr)
