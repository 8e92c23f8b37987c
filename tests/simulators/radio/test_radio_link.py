"""A link in flight: what arrives where, what is lost and how often, what disturbs it; repeatable by seed."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

import pytest

from simulators.radio.link import OVERHEAD_BYTES, SILENT_DBM, Interferer, Radio, open_link
from simulators.radio.loss import frame_loss
from simulators.radio.model import FadingModel, NetworkModel, RadioModel
from simulators.radio.network import Network
from simulators.radio.propagation import free_space_db
from simulators.site.ground import Ground, Hill, Obstacle, Ridge

STEADY = FadingModel(sigma_db=0.0, rice_db=100.0)
LENGTH = 50


def number(frame: bytes) -> int:
    return int.from_bytes(frame[:4], "big")


def sent_down(
    radio: Radio, frames: int, per_s: int = 50, north_m: float = 1000.0, speed_m_s: float = 0.0
) -> list[bool]:
    """Send frames of one length at a steady pace; tell of each whether it came."""
    came: set[int] = set()
    now_s = 0.0
    for i in range(frames):
        now_s = i / per_s
        if i % (per_s // 10) == 0:
            radio.move(now_s, north_m + speed_m_s * now_s, 0.0, 60.0, math.pi)
        assert radio.send_down(now_s, i.to_bytes(4, "big") + bytes(LENGTH - 4))
        came.update(number(frame) for frame in radio.arrived_down(now_s))
    came.update(number(frame) for frame in radio.arrived_down(now_s + 10.0))
    return [i in came for i in range(frames)]


def at_margin(margin_db: float, fading: FadingModel = STEADY, seed: int = 1, **keys: Any) -> Radio:
    """Return a radio whose mean margin down, 1 km off, is this."""
    model = RadioModel(fading=fading, **keys)
    steady = Radio(RadioModel(fading=STEADY, **keys))
    steady.move(0.0, 1000.0, 0.0, 60.0, math.pi)
    radio = Radio(model, seed=seed)
    radio.down_db = steady.margin_db.down - margin_db
    return radio


def test_nothing_comes_before_the_first_move() -> None:
    radio = Radio(RadioModel())
    radio.send_down(0.0, bytes(20))
    assert radio.arrived_down(5.0) == []
    assert radio.rssi_dbm == (SILENT_DBM, SILENT_DBM)


def test_a_good_link_delivers_all_both_ways_in_order_and_in_time() -> None:
    radio = Radio(RadioModel(fading=STEADY))
    radio.move(0.0, 200.0, 0.0, 40.0, 0.0)
    frames = [bytes([i]) * 30 for i in range(20)]
    for i, frame in enumerate(frames):
        assert radio.send_down(0.02 * i, frame)
        assert radio.send_up(0.02 * i, frame)
    # A wait of 0 to 60 ms for the window, and its own time on the air.
    assert radio.arrived_down(0.02 * 19 + 0.1) == radio.arrived_up(0.02 * 19 + 0.1) == frames


def test_levels_at_both_ends() -> None:
    radio = Radio(RadioModel(fading=STEADY, aircraft_power_dbm=17.0, station_power_dbm=24.0))
    radio.move(0.0, 1000.0, 0.0, 60.0, math.pi)
    down, up = radio.rssi_dbm
    assert up - down == pytest.approx(7.0, abs=0.01)
    # Free space, two dipoles, 4 dB of losses; the ground's ray changes it by 6 dB at most.
    assert down == pytest.approx(17.0 + 4.3 - 4.0 - free_space_db(915.0, 1000.0), abs=6.0)
    model = radio.model
    assert radio.noise_dbm == (model.noise_dbm + model.station_noise_db, model.noise_dbm + model.aircraft_noise_db)
    assert radio.margin_db.down == pytest.approx(down - radio.noise_dbm.down - model.required_db)
    assert radio.margin_db.up == pytest.approx(up - radio.noise_dbm.up - model.required_db)


@pytest.mark.parametrize("corrects", [False, True])
@pytest.mark.parametrize("margin_db", [-1.5, -1.0, 0.0, 0.7, 1.5])
def test_over_long_runs_loss_is_that_of_the_margin(margin_db: float, corrects: bool) -> None:
    frames = 4000
    came = sent_down(at_margin(margin_db, corrects=corrects), frames, per_s=20)
    expected = frame_loss(margin_db, LENGTH + OVERHEAD_BYTES, corrects=corrects)
    error = math.sqrt(expected * (1.0 - expected) / frames)
    assert came.count(False) / frames == pytest.approx(expected, abs=4.0 * error + 1e-9)


def test_with_fading_loss_grows_slowly_with_the_mean_margin_and_in_bursts() -> None:
    shares = []
    for margin_db in (14.0, 10.0, 7.0, 4.0, 1.0, -2.0, -6.0):
        came = sent_down(at_margin(margin_db, FadingModel()), 6000, speed_m_s=5.0)
        lost = came.count(False) / len(came)
        shares.append(lost)
        if 0.02 < lost < 0.5:
            after_loss = [not b for a, b in pairwise(came) if not a]
            assert sum(after_loss) / len(after_loss) > 2.0 * lost - lost * lost
    assert shares[0] < 0.01
    assert 0.01 < shares[3] < 0.4  # some is lost where a steady signal would lose nothing
    assert shares[-1] > 0.9
    assert all(a <= b for a, b in pairwise(shares))


def test_far_out_the_link_ends() -> None:
    # Down to the margin by distance alone: two-ray with these powers reaches some ten kilometres.
    near, far = Radio(RadioModel()), Radio(RadioModel())
    assert sent_down(near, 500, north_m=500.0).count(False) == 0
    assert sent_down(far, 500, north_m=60_000.0).count(True) == 0


def test_an_antenna_come_loose_takes_one_way_or_both() -> None:
    radio = Radio(RadioModel(fading=STEADY))
    radio.move(0.0, 500.0, 0.0, 40.0, math.pi)
    before = radio.margin_db
    radio.down_db, radio.up_db = 25.0, 10.0
    radio.move(0.0, 500.0, 0.0, 40.0, math.pi)
    assert before.down - radio.margin_db.down == pytest.approx(25.0)
    assert before.up - radio.margin_db.up == pytest.approx(10.0)


def test_blocked_lets_nothing_pass_and_then_again() -> None:
    radio = Radio(RadioModel(fading=STEADY))
    arrived = []
    for i in range(300):
        now_s = 0.1 * i
        radio.blocked = 100 <= i < 200
        radio.move(now_s, 300.0, 0.0, 40.0, 0.0)
        radio.send_up(now_s, i.to_bytes(4, "big"))
        arrived += [number(frame) for frame in radio.arrived_up(now_s)]
        if i == 199:
            assert radio.up_silent_s(now_s) == pytest.approx(10.0)
            assert radio.rssi_dbm.up == SILENT_DBM
    assert set(range(100)) <= set(arrived)
    assert not set(arrived) & set(range(100, 200))
    assert arrived[-1] > 290


def test_an_interferer_raises_the_noise_by_geometry_and_by_its_time() -> None:
    radio = Radio(RadioModel(fading=STEADY))
    radio.interferers.append(Interferer((100.0, 0.0), 20.0, from_s=10.0, to_s=20.0))
    radio.move(5.0, 2000.0, 0.0, 60.0, math.pi)
    calm_noise, calm_margin = radio.noise_dbm, radio.margin_db
    radio.move(10.0, 2000.0, 0.0, 60.0, math.pi)
    # Free space over 100 m, 2.15 dBi less 1 dB at the station: far above its own noise.
    assert radio.noise_dbm.down == pytest.approx(20.0 + 2.15 - 1.0 - free_space_db(915.0, 100.0), abs=0.01)
    assert radio.noise_dbm.down - radio.noise_dbm.up > 20.0  # the aircraft is 20 times as far away
    assert calm_margin.down - radio.margin_db.down == pytest.approx(
        radio.noise_dbm.down - calm_noise.down, abs=0.1
    )
    radio.move(20.0, 2000.0, 0.0, 60.0, math.pi)
    assert radio.noise_dbm == calm_noise


def test_interferers_add_their_powers_and_the_ground_hides_far_ones_from_the_station() -> None:
    radio = Radio(RadioModel(fading=STEADY))
    one = Interferer((4000.0, 0.0), 30.0)
    radio.interferers[:] = [one]
    radio.move(0.0, 2000.0, 0.0, 100.0, math.pi)
    single = radio.noise_dbm
    assert single.up - single.down > 10.0  # plane earth between two low antennas
    radio.interferers[:] = [one, one]
    radio.move(0.1, 2000.0, 0.0, 100.0, math.pi)
    assert radio.noise_dbm.up - single.up == pytest.approx(10.0 * math.log10(2.0), abs=0.1)


def test_interference_costs_frames() -> None:
    radio = Radio(RadioModel())
    radio.interferers.append(Interferer((30.0, 0.0), 20.0))
    assert sent_down(radio, 500, north_m=1500.0).count(False) > 400


def test_behind_a_ridge_frames_are_lost_that_come_over_level_ground() -> None:
    ridge = Ground(ridges=(Ridge(((2000.0, -500.0), (2000.0, 500.0)), 120.0, 60.0),))
    free, behind = Radio(RadioModel()), Radio(RadioModel(), ridge)
    assert sent_down(free, 1000, north_m=4000.0).count(False) < 20
    assert sent_down(behind, 1000, north_m=4000.0).count(False) > 300
    assert behind.blocked_db > 20.0


def test_a_second_link_carries_what_the_first_loses() -> None:
    # Two pairs of radios: the other's station stands where no ridge lies between.
    ground = Ground(ridges=(Ridge(((2000.0, -500.0), (2000.0, 500.0)), 120.0, 60.0),))
    first = Radio(RadioModel(), ground, "first")
    second = Radio(RadioModel(frequency_mhz=433.0, station_at=(2500.0, 1500.0)), ground, "second")
    came = [sent_down(radio, 1000, north_m=4000.0) for radio in (first, second)]
    assert came[0].count(False) > 300
    either = [a or b for a, b in zip(*came, strict=True)]
    assert either.count(False) < 20


def trace(seed: int, per_s: int = 10, frames: int = 1) -> list[tuple[float, ...]]:
    radio = Radio(RadioModel(), Ground((Hill((900.0, 80.0), 50.0, 120.0),)), seed)
    found: list[tuple[float, ...]] = []
    for i in range(30 * per_s):
        now_s = i / per_s
        radio.move(now_s, 15.0 * now_s, 3.0, 40.0, 0.0, 0.1, 0.0)
        for _ in range(frames):
            radio.send_down(now_s, bytes(20))
        found.append((*radio.rssi_dbm, *radio.margin_db))
    return found


def test_the_same_for_the_same_seed_at_any_pace_and_any_traffic() -> None:
    assert trace(1) == trace(1)
    assert trace(1) != trace(2)
    assert trace(1, frames=5) == trace(1)
    assert trace(1, per_s=50)[::5] == trace(1)
    assert sent_down(at_margin(0.0), 300) == sent_down(at_margin(0.0), 300)
    assert sent_down(at_margin(0.0), 300) != sent_down(at_margin(0.0, seed=2), 300)


def test_retries_mend_loss_and_make_a_backlog() -> None:
    plain, again = at_margin(-0.5), at_margin(-0.5, retries=6)
    assert sent_down(plain, 600, per_s=20).count(False) > 250
    assert sent_down(again, 600, per_s=20).count(False) < 60
    assert again.down.sent > 1.8 * plain.down.sent


def test_more_than_the_rate_fills_the_buffer() -> None:
    radio = Radio(RadioModel(fading=STEADY))
    radio.move(0.0, 300.0, 0.0, 40.0, 0.0)
    assert radio.model.bytes_s == pytest.approx(3360.0)  # 42 % of 64 kbit/s
    took = [radio.send_up(0.01 * i, bytes(100)) for i in range(300)]  # 10 kB/s for 3 s
    assert sum(took) * 100 == pytest.approx(3.0 * 3360.0 + 2048.0, abs=300.0)
    assert radio.up.free_pct < 6


ABSURD = [
    (0.0, 0.0, 2.0), (0.0, 0.0, 0.0), (0.0, 0.0, -50.0), (0.0, 0.0, 1e6), (1e6, -1e6, 0.0), (1e6, 0.0, -1e6),
    (900.0, 80.0, 1.0), (900.0, 80.0, 50.0), (200.0, 0.0, 10.0), (1500.0, 10.0, -3.0), (1e-9, 0.0, 1.7),
    (1.0, 1.0, 2.0),
]  # fmt: skip


@pytest.mark.parametrize("at", ABSURD)
@pytest.mark.parametrize("station", [(0.0, 0.0), (900.0, 80.0), (200.0, 0.0), (1e6, 1e6)])
def test_absurd_places_raise_nothing(at: tuple[float, float, float], station: tuple[float, float]) -> None:
    ground = Ground(
        (Hill((900.0, 80.0), 50.0, 120.0),),
        (Ridge(((1500.0, -900.0), (1500.0, 900.0)), 40.0, 80.0),),
        (Obstacle((200.0, 0.0), 30.0, 12.0),),
    )
    for place in (Ground(), ground):
        radio = Radio(RadioModel(station_at=station), place)
        radio.interferers += [Interferer(at[:2], 30.0, height_m=at[2]), Interferer(station, 30.0, height_m=-3.0)]
        for i, tilt in enumerate((0.0, 1.0, -1.0, 0.7)):
            radio.move(0.1 * i, *at, heading_rad=1e3 * i, tilt_north=tilt, tilt_east=tilt)
            assert all(math.isfinite(value) for value in (*radio.rssi_dbm, *radio.noise_dbm, *radio.margin_db))
            assert max(radio.rssi_dbm) < 20.0 + 2.0 * 2.15 + 10.0
            radio.send_down(0.1 * i, bytes(280))
            radio.report(0.1 * i)


def test_a_model_opens_its_link() -> None:
    assert isinstance(open_link(RadioModel()), Radio)
    assert isinstance(open_link(NetworkModel()), Network)
