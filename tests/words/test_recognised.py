"""The words of every English callout are recognised among wrong ones: by pocketsphinx, from the project's voice.

facts.md section 12: a grammar without wrong callouts would prove nothing. What it holds: recognition.grammar_of.
Every word is in pocketsphinx's own dictionary (the CMU one); words joined by a hyphen are two. Numbers are spoken
digit by digit, as shipped.

The recogniser's model of sounds is of American speech, as is the shipped voice (`en-us`). Measured once over all
166 callouts with the same settings, eSpeak NG's British voice had 132 recognised ("link back" taken for "link
lost", "fly by hand" for "land") where the American one had 160: one reason for which it is the shipped one.
"""

from __future__ import annotations

import pytest

from tests.words.callouts import shipped
from tests.words.recognise import hearings
from tests.words.recognition import Recogniser, as_heard, grammar_of, heard_words, spoken_by
from watchkeeper.alerts.spoken import NumberStyle
from watchkeeper.edges.configuration import Voice
from watchkeeper.edges.voice.synthesiser import Synthesiser

LANGUAGE = Voice().language


@pytest.mark.timeout(1200)
async def test_every_callout_is_recognised() -> None:
    """Each is spoken after the same word, for eSpeak's samples differ a little by what it said before."""
    wrong = {}
    async for one in hearings(shipped(), LANGUAGE, NumberStyle.DIGITS, 40.0):
        if one.heard != one.said:
            wrong[one.rule.id] = f"said '{one.said}', heard '{one.heard}'"
    assert wrong == {}


@pytest.mark.parametrize(
    "said",
    [
        "Caution. Return. Reserve reached. Turn back now.",
        "Warning. Return. Reserve reached. Turn on now.",
        "Warning. Return. Reserve reached. Land now.",
        "Warning. Plan. Reserve reached. Turn back now.",
    ],
)
async def test_wrong_callouts_are_heard_as_wrong(said: str) -> None:
    """So that the test above can fail: swapped words come out swapped."""
    rule = next(rule for rule in shipped() if rule.id == "return-now")
    right = spoken_by(rule, 0, NumberStyle.DIGITS)
    grammar = grammar_of(rule, NumberStyle.DIGITS)
    synthesiser, recogniser = (
        Synthesiser(Voice(language=LANGUAGE), timeout_s=30.0, start_timeout_s=60.0),
        Recogniser(),
    )
    try:
        assert recogniser.hear(grammar, as_heard(await synthesiser.sound(right))) == heard_words(right)
        assert recogniser.hear(grammar, as_heard(await synthesiser.sound(said))) == heard_words(said)
    finally:
        await synthesiser.close()
