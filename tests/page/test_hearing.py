"""Who hears the watch by phone, under a clock of our own; the bounds are the project's (a word every 5 s)."""

from __future__ import annotations

from tests.test_before_take_off import Ground
from tests.test_test_calls import RULES
from watchkeeper.alerts.audience import told
from watchkeeper.alerts.events import AlertChange, Change, Level
from watchkeeper.page.hearing import HEARS, MOST_PHONES, NOT_HEARING, STOPPED, Hearing
from watchkeeper.rules.wording import MOST_WORDS

S = 1_000_000


class Post:
    """Phones, their connections, and what was reported of them."""

    def __init__(self) -> None:
        self.now_us = 5 * S
        self.connected = {"observer", "pilot", "post"}
        self.reports: list[tuple[str, bool, str]] = []
        self.began: list[str] = []
        self.hearing = Hearing(
            lambda *told: self.reports.append(told),
            self.connected.__contains__,
            began=self.began.append,
            now_us=lambda: self.now_us,
        )

    def go(self, seconds: float) -> None:
        for _ in range(round(2 * seconds)):
            self.now_us += S // 2
            self.hearing.look()

    def plays(self, seconds: int, phone: str = "a", role: str = "observer", since_s: float = 0.0) -> None:
        """Say every 5 s that it plays."""
        for turn in range(seconds // 5):
            assert self.hearing.heard(role, phone, since_s + 5.0 * turn + 1.0)
            self.go(5)

    @property
    def observer(self) -> bool | None:
        return self.hearing.by_role()["observer"]


def test_a_role_hears_while_its_phone_says_so() -> None:
    post = Post()
    post.go(30)
    assert post.hearing.by_role() == {"pilot": None, "observer": None, "post": None}
    assert post.reports == []
    post.plays(60)
    assert post.hearing.by_role() == {"pilot": None, "observer": True, "post": None}
    post.go(6.5)  # 11.5 s since the last word
    assert (post.observer, post.reports) == (True, [])
    post.go(1)
    assert (post.observer, post.reports) == (False, [("observer", False, NOT_HEARING)])
    post.go(600)
    assert post.reports == [("observer", False, NOT_HEARING)]  # once
    post.plays(10, since_s=90)
    assert (post.observer, [ok for _, ok, _ in post.reports]) == (True, [False, True])
    assert post.began == ["observer"] * 2


def test_one_missed_word_is_not_told() -> None:
    post = Post()
    for at in range(1, 100, 10):
        post.hearing.heard("observer", "a", float(at))
        post.go(10)
    assert (post.observer, post.reports) == (True, [])


def test_a_position_that_stands_still_is_not_hearing() -> None:
    post = Post()
    post.plays(20)
    for _ in range(4):
        post.hearing.heard("observer", "a", 16.0)  # the same as last
        post.go(5)
    assert (post.observer, post.reports) == (False, [("observer", False, NOT_HEARING)])
    assert not post.hearing.heard("observer", "a", 16.0)
    assert post.hearing.heard("observer", "a", 0.4)  # connected anew: it counts from nothing again
    assert post.observer is True


def test_who_is_not_connected_does_not_hear_whatever_it_says() -> None:
    post = Post()
    post.connected.discard("observer")
    assert not post.hearing.heard("observer", "a", 1.0)
    assert post.hearing.by_role()["observer"] is None
    post.connected.add("observer")
    post.plays(10)
    post.connected.discard("observer")
    for at in (11.0, 16.0, 21.0):
        post.hearing.heard("observer", "a", at)
        post.go(5)
    assert (post.observer, post.reports) == (False, [("observer", False, NOT_HEARING)])


def test_a_stop_that_was_wished_is_an_advisory() -> None:
    post = Post()
    post.plays(10)
    post.hearing.stopped("observer", "a")
    post.go(60)
    assert (post.observer, post.reports) == (None, [("observer", False, STOPPED)])
    post.plays(5)
    assert post.reports[1][1] is True
    post.go(20)
    assert post.reports[2:] == [("observer", False, NOT_HEARING)]
    post.hearing.stopped("observer", "a")  # comes late: it was lost, now it is known why
    assert post.reports[3:] == [("observer", True, STOPPED), ("observer", False, STOPPED)]
    post.hearing.stopped("observer", "b")
    post.hearing.stopped("post", "a")
    assert len(post.reports) == 5


def test_of_several_phones_any_will_do() -> None:
    post = Post()
    for turn in range(6):
        post.hearing.heard("observer", "a", 1.0 + 5 * turn)
        if turn < 2:
            post.hearing.heard("observer", "b", 1.0 + 5 * turn)  # then its battery is empty
        post.go(5)
    assert (post.observer, post.reports) == (True, [])
    post.hearing.heard("observer", "b", 40.0)
    post.hearing.stopped("observer", "a")
    post.go(10)
    assert (post.observer, post.reports) == (True, [])
    post.go(10)  # the one that was left was not stopped, it was lost
    assert post.reports == [("observer", False, NOT_HEARING)]


def test_only_the_observers_phone_is_told_of() -> None:
    post = Post()
    for role in ("pilot", "post"):
        post.plays(10, role=role)
        post.go(20)
        assert post.hearing.by_role()[role] is False
        post.hearing.heard(role, "a", 77.0)
        post.hearing.stopped(role, "a")
        assert post.hearing.by_role()[role] is None
    assert post.reports == []


def test_names_without_end_fill_nothing() -> None:
    post = Post()
    for number in range(1000):
        post.hearing.heard("observer", f"phone-{number}", 1.0)
    assert len(post.hearing._roles["observer"].played) == MOST_PHONES
    assert post.observer is True


def test_what_pilot_and_post_are_told() -> None:
    """The watch's own alert; the pilot hears it, the observer's phone would not say it (it is not heard)."""
    field = Ground(None, RULES)
    field.run(3)
    post = Post()
    post.plays(10)
    post.go(20)

    def carry() -> AlertChange:
        happened = [
            one
            for part, ok, text in post.reports
            for one in field.order("report", rule=part, ok=ok, text=text, role="watch")
        ]
        post.reports.clear()
        assert isinstance(happened[-1], AlertChange)
        return happened[-1]

    raised = carry()
    assert (raised.rule, raised.aircraft, raised.level) == ("watch-observer", None, Level.CAUTION)
    assert raised.callout == "Caution. Watch. Observer does not hear the watch. Check the phone."
    assert len(raised.callout.split()) <= MOST_WORDS
    assert (raised.spoken, told(raised, "pilot"), told(raised, "observer")) == (True, True, False)
    post.plays(5)
    cleared = carry()
    assert (cleared.rule, cleared.change, cleared.reason) == (raised.rule, Change.CLEARED, HEARS)
