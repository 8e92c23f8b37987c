"""The words of every English callout are recognised among wrong ones: by pocketsphinx, from the project's voice.

facts.md section 12: a grammar without wrong callouts would prove nothing. What it holds: recognition.grammar_of.
Every word is in pocketsphinx's own dictionary (the CMU one); words joined by a hyphen are two. The voice is eSpeak
NG's American one, for the recogniser's model of sounds is of American speech; the words are the same.
"""

from __future__ import annotations

import zlib

import pytest

from tests.words.callouts import shipped
from tests.words.recognition import Recogniser, as_heard, grammar_of, heard_words, spoken_by
from watchkeeper.alerts.spoken import NumberStyle
from watchkeeper.edges.configuration import Voice
from watchkeeper.edges.voice_synthesiser import Synthesiser
from watchkeeper.rules.schema import Rule

NOT_RECOGNISED: dict[str, str] = {
    "keep-out-near": "the last word, 'it', is not heard: the recogniser's end of a short word before silence",
    "motor-balance": "'let' of another callout is heard in the silence after 'land soon'",
    "cell-behind": "'seven one' is heard as 'seven eight one': a number and a word that is one follow each other",
    "resistance-high": "digits are heard around the one said: the recogniser joins short number words",
    "cells-uneven": "'do not' is not heard",
}
"""By rule, what is heard instead, and why."""


async def unheard(rules: list[Rule], style: NumberStyle, above_noise_db: float) -> dict[str, str]:
    """Return what was heard wrongly, by rule."""
    synthesiser, recogniser = (
        Synthesiser(Voice(language="en-us"), timeout_s=30.0, start_timeout_s=60.0),
        Recogniser(),
    )
    wrong = {}
    for rule in rules:
        words = spoken_by(rule, zlib.crc32(rule.id.encode()), style)
        heard = recogniser.hear(grammar_of(rule, style), as_heard(await synthesiser.sound(words), above_noise_db))
        if heard != heard_words(words):
            wrong[rule.id] = heard
    await synthesiser.close()
    return wrong


@pytest.mark.timeout(1200)
async def test_every_callout_is_recognised() -> None:
    wrong = await unheard(list(shipped()), NumberStyle.DIGITS, 40.0)
    assert set(wrong) == set(NOT_RECOGNISED), wrong


async def test_other_words_are_not_taken_for_the_right_ones() -> None:
    """So that the test above can fail: words swapped before they are spoken come out swapped, or not at all."""
    rule = next(rule for rule in shipped() if rule.id == "return-now")
    synthesiser, recogniser = (
        Synthesiser(Voice(language="en-us"), timeout_s=30.0, start_timeout_s=60.0),
        Recogniser(),
    )
    right = heard_words(spoken_by(rule, 0, NumberStyle.DIGITS))
    for said in (
        "Caution. Return. Reserve reached. Turn back now.",
        "Warning. Return. Reserve reached. Turn on now.",
        "Warning. Home. Reserve reached. Turn back now.",
    ):
        sound = as_heard(await synthesiser.sound(said))
        assert recogniser.hear(grammar_of(rule, NumberStyle.DIGITS), sound) != right, said
    await synthesiser.close()
