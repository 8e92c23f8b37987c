"""RADIO_STATUS decoded by pymavlink, against what facts.md section 7 says of the radio's firmware."""

from __future__ import annotations

import math
from typing import Any

import pytest
from pymavlink.dialects.v20 import all as dialect

from simulators.radio.channel import Channel
from simulators.radio.link import Radio
from simulators.radio.model import FadingModel, RadioModel
from simulators.radio.modem import Modem, steps
from simulators.radio.report import RadioReport

STEADY = FadingModel(sigma_db=0.0, rice_db=100.0)


def parsed(frames: list[bytes]) -> list[Any]:
    parser = dialect.MAVLink(None)
    return [message for frame in frames for message in parser.parse_buffer(frame)]


def flown(radio: Radio, seconds: int, start_s: int = 0) -> list[Any]:
    frames = []
    for i in range(start_s * 10, (start_s + seconds) * 10):
        radio.move(0.1 * i, 1500.0, 0.0, 60.0, math.pi)
        frames += radio.report(0.1 * i)
    return parsed(frames)


@pytest.mark.parametrize(("level", "dbm"), [(40, -105.9), (100, -74.4), (190, -27.0)])
def test_scale_of_the_firmware(level: int, dbm: float) -> None:
    # facts.md section 7: rssi / 1.9 - 127, called approximate.
    assert steps(dbm) == pytest.approx(level, abs=0.15)
    assert steps(dbm + 10.0) - steps(dbm) == pytest.approx(19.0)


def test_levels_stay_in_their_range() -> None:
    # facts.md section 7: 0 to 254 in the device's units, 255 unknown.
    assert steps(-300.0) == 0.0
    assert steps(100.0) == 254.0


def test_once_a_second_from_its_own_system_with_its_own_sequence() -> None:
    # facts.md section 7: system 51, component 68, a counter of its own.
    messages = flown(Radio(RadioModel()), 300)
    assert len(messages) == 300
    assert {message.get_type() for message in messages} == {"RADIO_STATUS"}
    assert {(message.get_srcSystem(), message.get_srcComponent()) for message in messages} == {(51, 68)}
    assert [message.get_seq() for message in messages] == [i % 256 for i in range(300)]


def test_it_tells_both_ends_levels() -> None:
    radio = Radio(RadioModel(fading=STEADY, station_power_dbm=27.0))
    last = flown(radio, 10)[-1]
    # Signals this strong have no noise in them to speak of. Rounding to a step is half a step.
    assert last.rssi == pytest.approx(1.9 * (radio.rssi_dbm.down + 127.0), abs=0.51)
    assert last.remrssi == pytest.approx(1.9 * (radio.rssi_dbm.up + 127.0), abs=0.51)
    assert last.noise == pytest.approx(1.9 * (radio.noise_dbm.down + 127.0), abs=0.51)
    assert last.remnoise == pytest.approx(1.9 * (radio.noise_dbm.up + 127.0), abs=0.51)
    assert last.remrssi - last.rssi == pytest.approx(1.9 * 7.0, abs=1.0)
    (other,) = parsed(radio.aircraft_report.frames(100.0))
    assert (other.rssi, other.remrssi, other.noise, other.remnoise) == (
        last.remrssi,
        last.rssi,
        last.remnoise,
        last.noise,
    )


def test_smoothing_by_packet() -> None:
    # facts.md section 7: the signal keeps 7/8 of the old, the noise 3/4.
    modem, far = Modem(), Modem()
    modem.hear(0.0, -74.4, -120.0, far)
    modem.listen(-105.9)
    first, quiet = modem.rssi, modem.noise
    modem.hear(0.1, -64.4, -120.0, far)
    modem.listen(-95.9)
    assert modem.rssi - first == pytest.approx(19.0 / 8.0, abs=0.01)
    assert modem.noise - quiet == pytest.approx(19.0 / 4.0, abs=0.01)


def test_near_the_noise_the_signal_is_measured_with_it() -> None:
    modem = Modem()
    modem.hear(0.0, -100.0, -100.0, Modem())
    assert modem.rssi == pytest.approx(steps(-100.0 + 10.0 * math.log10(2.0)))


def test_when_the_far_end_falls_silent_it_keeps_talking_with_what_it_heard_last() -> None:
    radio = Radio(RadioModel(fading=STEADY))
    before = flown(radio, 10)[-1]
    radio.blocked = True
    after = flown(radio, 20, start_s=10)
    assert len(after) == 20
    assert {message.rssi for message in after} == {before.rssi}
    # What the far end told stands for about three seconds, then is zero (from memory).
    told = [message.remrssi for message in after]
    assert told[:3] == [before.remrssi] * 3
    assert told[4:] == [0] * 16
    assert [message.remnoise for message in after][4:] == [0] * 16
    assert {message.noise for message in after} == {before.noise}
    radio.blocked = False
    assert flown(radio, 5, start_s=30)[-1].remrssi == before.remrssi


def test_spoiled_and_mended_packets_are_counted_in_sixteen_bits() -> None:
    # facts.md section 7: rxerrors and fixed wrap at 65536.
    modem = Modem()
    modem.errors = modem.fixed = 65535
    report = RadioReport(modem, Channel(1000.0, 1000, lambda _length: False, lambda: 0.0))
    (full,) = parsed(report.frames(0.0))
    assert (full.rxerrors, full.fixed) == (65535, 65535)
    modem.miss(0.0, noticed=True)
    modem.mend()
    (wrapped,) = parsed(report.frames(1.0))
    assert (wrapped.rxerrors, wrapped.fixed) == (0, 0)


def test_counters_grow_near_the_end_of_the_link_only() -> None:
    good, weak, gone = (Radio(RadioModel(fading=STEADY, corrects=True)) for _ in range(3))
    good.move(0.0, 1500.0, 0.0, 60.0, math.pi)
    weak.down_db, gone.down_db = good.margin_db.down + 2.5, good.margin_db.down + 30.0
    lasts = [flown(radio, 60)[-1] for radio in (good, weak, gone)]
    assert [(last.rxerrors, last.fixed) for last in (lasts[0], lasts[2])] == [(0, 0), (0, 0)]
    assert lasts[1].fixed > 100
    assert lasts[1].rxerrors > 0


def test_room_in_the_stations_buffer() -> None:
    radio = Radio(RadioModel(fading=STEADY))
    assert flown(radio, 2)[-1].txbuf == 100
    radio.up.held = True
    radio.send_up(2.0, bytes(1024))
    assert flown(radio, 1, start_s=2)[-1].txbuf == 50


def test_a_late_caller_gets_one_report_not_all_that_he_missed() -> None:
    radio = Radio(RadioModel())
    assert len(radio.report(0.0)) == 1
    assert radio.report(0.9) == []
    assert len(radio.report(3600.0)) == 1
    assert radio.report(3600.5) == []
