"""The pilot's switch in RC_CHANNELS: what makes a press and what does not, and which channels are left alone.

Messages are packed by pymavlink, whose definitions are the authority for RC_CHANNELS (chanN_raw: UINT16_MAX where
unused; chancount; rssi 0 to 254, 255 unknown) and RC_CHANNELS_OVERRIDE (0, UINT16_MAX - 1 or UINT16_MAX: not
overridden, by channel). What parameters give a channel a function is from memory of their public documentation.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.aircraft.feeder import ARDUPILOT, GENERIC, PX4, QUADROTOR, Flight, Sender
from watchkeeper.aircraft.ackswitch import Presses
from watchkeeper.aircraft.channeluse import Known, use_of
from watchkeeper.aircraft.files import load_sortie_file
from watchkeeper.aircraft.fleet import Fleet
from watchkeeper.aircraft.parameters import CAST, Parameters

LOW, MIDDLE, HIGH = 1000, 1500, 2000
RECEIVER = 65536  # MAV_SYS_STATUS_SENSOR_RC_RECEIVER
UNUSED = 65535  # UINT16_MAX


class Stick(Flight):
    """An aircraft whose crew named a channel; its RC_CHANNELS at 4 Hz and SYS_STATUS at 1 Hz."""

    def __init__(self, channel: int = 9) -> None:
        sortie = load_sortie_file(f"crew: {{acknowledge_channel: {channel}}}", "s.yaml")
        super().__init__(Fleet((), sortie))
        self.channel = channel
        self.count = 16
        self.rssi = 200
        self.healthy = True
        self.tells = True
        """It sends SYS_STATUS too."""
        self._n = 0
        self.beat()

    def hold(self, width: int, seconds: float) -> int:
        """Keep the switch there; return how many presses that made."""
        presses = 0
        for _ in range(round(seconds * 4)):
            self.wait(0.25)
            if self._n % 4 == 0:
                self.beat()
                if self.tells:
                    bits = RECEIVER if self.healthy else 0
                    self.send(
                        "SYS_STATUS",
                        onboard_control_sensors_present=RECEIVER,
                        onboard_control_sensors_enabled=RECEIVER,
                        onboard_control_sensors_health=bits,
                    )
            self._n += 1
            self.channels(width)
            presses += self.taken()
        return presses

    def channels(self, width: int) -> None:
        widths = {f"chan{n}_raw": MIDDLE for n in range(1, 19)} | {f"chan{self.channel}_raw": width}
        self.send("RC_CHANNELS", chancount=self.count, rssi=self.rssi, **widths)

    def taken(self) -> int:
        pressed_us, self.aircraft.switch.pressed_us = self.aircraft.switch.pressed_us, None
        return pressed_us is not None


def test_where_it_is_found_is_no_press_and_every_flip_is_one() -> None:
    stick = Stick()
    assert stick.hold(HIGH, 5) == 0
    assert [stick.hold(width, 4) for width in (LOW, MIDDLE, HIGH, LOW)] == [1, 1, 1, 1]


def test_a_button_that_springs_back_is_one_press() -> None:
    stick = Stick()
    stick.hold(LOW, 3)
    assert [stick.hold(HIGH, 1.5), stick.hold(LOW, 5)] == [1, 0]
    assert [stick.hold(HIGH, 1.5), stick.hold(LOW, 5)] == [1, 0]


def test_the_press_is_of_the_moment_at_which_it_moved() -> None:
    stick = Stick()
    stick.tells = False
    stick.hold(LOW, 3)
    moved_us = stick.now_us + 250_000
    for _ in range(3):
        stick.wait(0.25)
        stick.channels(HIGH)
    assert stick.aircraft.switch.pressed_us == moved_us


def test_one_sample_is_none_and_neither_is_a_knob_on_the_edge() -> None:
    stick = Stick()
    stick.hold(LOW, 3)
    assert sum(stick.hold(width, 0.25) for width in (HIGH, LOW) * 10) == 0
    stick.hold(1320, 3)
    assert sum(stick.hold(width, 1) for width in (1345, 1320) * 5) == 0


@pytest.mark.parametrize("width", [0, UNUSED, 700, 2400])
def test_what_is_no_pulse_is_no_position(width: int) -> None:
    stick = Stick()
    stick.hold(LOW, 3)
    assert [stick.hold(width, 3), stick.hold(HIGH, 3)] == [0, 0]  # moved while nobody saw it
    assert stick.hold(LOW, 3) == 1


def test_a_receiver_that_jumps_as_its_link_drops_presses_nothing() -> None:
    stick = Stick()
    stick.hold(LOW, 3)
    jumped = stick.hold(HIGH, 0.25)  # the value set for a lost link; the aircraft notices a little later
    stick.healthy = False
    assert jumped + stick.hold(HIGH, 4) == 0
    stick.healthy = True
    assert stick.hold(LOW, 4) == 0  # it is back, and where it was
    assert stick.hold(HIGH, 4) == 1


def test_a_loss_told_between_two_looks_at_the_channels_counts_too() -> None:
    stick = Stick()
    stick.hold(LOW, 3)
    for bits in (0, RECEIVER):
        stick.send(
            "SYS_STATUS",
            onboard_control_sensors_present=RECEIVER,
            onboard_control_sensors_enabled=RECEIVER,
            onboard_control_sensors_health=bits,
        )
    assert stick.hold(HIGH, 4) == 0


def test_a_jump_waits_for_the_next_word_of_the_aircraft() -> None:
    stick = Stick()
    stick.hold(LOW, 4)
    stick.hold(LOW, 0.25)  # SYS_STATUS came with this one; the next is 1 s away
    assert [stick.hold(HIGH, 0.25) for _ in range(4)] == [0, 0, 0, 1]


def test_a_strength_that_falls_to_nothing_is_a_lost_link() -> None:
    stick = Stick()
    stick.tells = False
    stick.hold(LOW, 3)
    stick.rssi = 0
    assert stick.hold(HIGH, 3) == 0
    stick.rssi = 200
    assert stick.hold(LOW, 3) == 0


def test_an_unknown_strength_and_a_receiver_alone_are_enough() -> None:
    stick = Stick()
    stick.tells, stick.rssi = False, 255
    stick.hold(LOW, 3)
    assert stick.hold(HIGH, 3) == 1


def test_without_a_live_receiver_or_beyond_its_channels_nothing_counts() -> None:
    for count in (0, 8):
        stick = Stick()
        stick.tells, stick.count = False, count
        assert [stick.hold(LOW, 3), stick.hold(HIGH, 3)] == [0, 0]


def test_a_silence_in_which_it_may_have_been_moved_is_no_press() -> None:
    stick = Stick()
    stick.hold(LOW, 3)
    stick.wait(5)
    assert stick.hold(HIGH, 3) == 0


def test_a_restart_finds_it_anew() -> None:
    stick = Stick()
    stick.hold(LOW, 3)
    stick.aircraft.restart(stick.now_us)
    assert stick.hold(HIGH, 3) == 0


@pytest.mark.parametrize(("channel", "given_back"), [(7, UNUSED), (7, 0), (9, UNUSED), (9, 0), (9, UNUSED - 1)])
def test_what_a_station_overrides_is_not_the_pilots_switch(channel: int, given_back: int) -> None:
    stick = Stick(channel)
    station = Sender(255, 190)

    def override(value: int) -> None:
        widths = {f"chan{n}_raw": UNUSED for n in range(1, 9)} | {f"chan{channel}_raw": value}
        stick.hear(station.pack("RC_CHANNELS_OVERRIDE", target_system=7, target_component=1, **widths))

    stick.hold(LOW, 3)
    pressed = 0
    for _ in range(6):
        override(HIGH)
        pressed += stick.hold(HIGH, 0.5)
    assert pressed == 0
    assert stick.hold(LOW, 2) == 0  # for three seconds after
    stick.hold(LOW, 3)
    for _ in range(6):
        override(given_back)
        pressed += stick.hold(HIGH, 0.5)
    assert pressed == 1


# Against a naive reference that is given all samples at once and looks only at runs of them.

SAMPLES = st.lists(
    st.tuples(
        st.sampled_from([0, 1000, 1050, 1320, 1345, 1500, 1650, 1700, 2000, UNUSED]),
        st.integers(1, 6),
        st.sampled_from([50_000, 100_000, 250_000, 500_000, 1_000_000]),
    ),
    max_size=25,
)


def naive(samples: list[tuple[int, int]]) -> list[int]:
    """Return the times since when a press stands: (time in microseconds, width) of all samples, control alive."""
    presses: list[int] = []
    settled: tuple[int, int] | None = None
    came_from, counted_at = None, 0
    i = 0
    while i < len(samples):
        at, width = samples[i]
        if i and at - samples[i - 1][0] > 4_000_000:
            settled = None
        if not 800 <= width <= 2200:
            settled, i = None, i + 1
            continue
        place = sum(width * 3 >= edge for edge in (4000, 5000))
        if settled is not None and (place == settled[0] or abs(width - settled[1]) <= 100):
            i += 1
            continue
        end = i
        for j in range(i, len(samples)):
            t, w = samples[j]
            same = 800 <= w <= 2200 and sum(w * 3 >= edge for edge in (4000, 5000)) == place
            near = settled is not None and abs(w - settled[1]) <= 100
            if not same or near or (j > i and t - samples[j - 1][0] > 4_000_000):
                break
            end = j
            if j > i and t - at >= 300_000:
                break
        if end > i and samples[end][0] - at >= 300_000:
            if settled is not None:
                if place == came_from and at - counted_at <= 2_000_000:
                    came_from = None
                else:
                    presses.append(at)
                    came_from, counted_at = settled[0], samples[end][0]
            settled = place, samples[end][1]
        i = end + 1
    return presses


@settings(max_examples=400, deadline=None)
@given(SAMPLES)
def test_presses_are_those_of_a_naive_look_at_all_samples(runs: list[tuple[int, int, int]]) -> None:
    samples: list[tuple[int, int]] = []
    now_us = 10_000_000
    for width, count, step_us in runs:
        for _ in range(count):
            now_us += step_us
            samples.append((now_us, width))
    presses = Presses()
    found = [began for at, width in samples if (began := presses.take(width, at, at)) is not None]
    assert found == naive(samples)
    assert all(later > earlier for earlier, later in pairwise(found))


# What the aircraft's parameters give a channel.


def parameters(values: Mapping[str, float], total: int | None = None) -> Parameters:
    known = Parameters()
    known.capabilities(CAST, ARDUPILOT)
    for name, value in values.items():
        known.take(name, struct.pack("<f", value), 9, len(values) if total is None else total, ARDUPILOT)
    return known


FREE_OF_IT = {"RTL_ALT": 1500.0, "FLTMODE_CH": 5.0, "RC9_OPTION": 0.0, "RCMAP_ROLL": 1.0, "SERVO9_FUNCTION": 0.0}


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("RC9_OPTION", 41.0), ("CH9_OPT", 7.0), ("FLTMODE_CH", 9.0), ("RCMAP_YAW", 9.0), ("RSSI_CHANNEL", 9.0),
        ("SERVO12_FUNCTION", 59.0), ("SERVO9_FUNCTION", 1.0), ("SERVO3_FUNCTION", 148.0), ("MNT_RC_IN_TILT", 9.0),
    ],
)  # fmt: skip
def test_a_channel_with_a_function_is_left_alone(name: str, value: float) -> None:
    assert use_of(9, ARDUPILOT, QUADROTOR, parameters(FREE_OF_IT)).known is Known.FREE
    use = use_of(9, ARDUPILOT, QUADROTOR, parameters(FREE_OF_IT | {name: value}))
    assert (use.known, use.why) == (Known.TAKEN, f"{name} gives channel 9 a function")
    other = use_of(10, ARDUPILOT, QUADROTOR, parameters(FREE_OF_IT | {name: value}))
    assert other.known is Known.FREE


@pytest.mark.parametrize(
    ("name", "value"), [("RC_MAP_RETURN_SW", 9.0), ("RC_MAP_AUX1", 9.0), ("RC_MAP_FLTM_BTN", 256.0)]
)
def test_channels_named_by_what_they_do(name: str, value: float) -> None:
    free = {"RTL_RETURN_ALT": 30.0, "RC_MAP_ROLL": 1.0, "RC_MAP_FLTM_BTN": 9.0}
    assert use_of(9, PX4, QUADROTOR, parameters(free)).known is Known.FREE
    assert use_of(9, PX4, QUADROTOR, parameters(free | {name: value})).known is Known.TAKEN


def test_what_is_not_known_is_not_trusted() -> None:
    assert "no parameters seen" in use_of(9, ARDUPILOT, QUADROTOR, Parameters()).why
    assert "5 of 900" in use_of(9, ARDUPILOT, QUADROTOR, parameters(FREE_OF_IT, 900)).why
    assert use_of(9, ARDUPILOT, QUADROTOR, parameters({"OTHER": 1.0})).known is Known.UNKNOWN
    assert use_of(9, 4, QUADROTOR, parameters(FREE_OF_IT)).known is Known.UNKNOWN  # another autopilot
    assert use_of(9, ARDUPILOT, 1, parameters(FREE_OF_IT)).known is Known.UNKNOWN  # MAV_TYPE_FIXED_WING
    unread = parameters(FREE_OF_IT)
    unread.values["RC9_OPTION"] = None
    assert use_of(9, ARDUPILOT, QUADROTOR, unread).why == "RC9_OPTION was not understood"
    assert use_of(3, GENERIC, QUADROTOR, parameters({"return.order": 136.0})).known is Known.TAKEN
    assert use_of(9, GENERIC, QUADROTOR, parameters({"return.order": 136.0})).known is Known.FREE
