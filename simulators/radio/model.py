"""What a link is: a radio with its antennas and surroundings, or a network that says nothing of itself."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Final, Literal

from simulators.radio.antenna import BodyShadow, Panel

THERMAL_DBM_HZ: Final = -173.98
"""k T at 290 K in 1 Hz (k = 1.380649e-23 J/K)."""
BITS_WRONG: Final = 1e-3
"""Where a receiver's sensitivity is stated: one bit in a thousand wrong (data sheets of transceivers)."""
BIT_OVER_NOISE: Final = 2.0 * math.log(0.5 / BITS_WRONG)
"""Energy of a bit over noise density that gives that with frequency shift keying, see loss.py: 10.9 dB."""


@dataclass(frozen=True, slots=True)
class FadingModel:
    """How the signal wanders about its mean."""

    sigma_db: float = 2.5
    """Slow: log-normal, by what stands and grows along the way (2 to 4 dB in open country, common practice)."""
    along_m: float = 30.0
    """Flown so far, the slow fade keeps 1/e of its likeness."""
    along_s: float = 120.0
    rice_db: float = 10.0
    """Fast: steady part over scattered part, as over open ground."""
    scatter_s: float = 0.5
    """How long scattering lasts in hover; in flight half a wavelength ends it."""

    def __post_init__(self) -> None:
        if not (self.sigma_db >= 0.0 and min(self.along_m, self.along_s, self.scatter_s) > 0.0):
            raise ValueError("sigma is not below 0 dB; lengths and times must be above 0")


@dataclass(frozen=True, slots=True)
class RadioModel:
    """A pair of telemetry radios. The first defaults are those of a common small one at 915 MHz."""

    kind: Literal["radio"] = "radio"
    frequency_mhz: float = 915.0
    aircraft_power_dbm: float = 20.0
    station_power_dbm: float = 20.0
    air_bits_s: float = 64_000.0
    bandwidth_hz: float = 128_000.0
    """Of the receiver: about twice the bit rate (common practice)."""
    noise_figure_db: float = 7.0
    aircraft_noise_db: float = 8.0
    """What motors, converters and computers add above the receiver's own noise (assumed)."""
    station_noise_db: float = 4.0
    """What other users of an open band add (assumed)."""
    aircraft_loss_db: float = 3.0
    """Cable, and an antenna out of tune so near to the body (assumed)."""
    station_loss_db: float = 1.0
    station_at: tuple[float, float] = (0.0, 0.0)
    station_antenna_m: float = 2.0
    """Above the ground there."""
    aircraft_antenna_m: float = 0.3
    """Above the landing gear's feet, from which the aircraft's height counts."""
    panel: Panel | None = None
    """Without it the station has an upright dipole."""
    shadow: BodyShadow = field(default_factory=BodyShadow)
    fading: FadingModel = field(default_factory=FadingModel)
    roughness_m: float = 0.1
    """Standard deviation of the ground's height where it mirrors: grass, furrows."""
    corrects: bool = False
    """Whether it sends every 12 bits as 24, of which 3 may be wrong (Golay)."""
    share: float = 0.42
    """Of the air's time one way: two windows, with guard times and headers (common practice)."""
    delay_s: float = 0.03
    """Mean wait for the own window."""
    buffer_bytes: int = 2048
    retries: int = 0
    """How often a frame that was not acknowledged is sent again. Simple radios do not."""

    def __post_init__(self) -> None:
        sizes = (self.frequency_mhz, self.air_bits_s, self.bandwidth_hz, self.share, self.buffer_bytes)
        if not all(0.0 < size < math.inf for size in (*sizes, self.station_antenna_m)):
            raise ValueError("frequency, bit rate, bandwidth, share, buffer and mast must be above 0")

    @property
    def noise_dbm(self) -> float:
        """The receiver's own noise."""
        return THERMAL_DBM_HZ + 10.0 * math.log10(self.bandwidth_hz) + self.noise_figure_db

    @property
    def required_db(self) -> float:
        """Signal over noise in the bandwidth at which one bit in a thousand is wrong: margin 0."""
        return 10.0 * math.log10(BIT_OVER_NOISE * self.air_bits_s / self.bandwidth_hz)

    @property
    def sensitivity_dbm(self) -> float:
        """The least signal, with nothing but the receiver's own noise."""
        return self.noise_dbm + self.required_db

    @property
    def bytes_s(self) -> float:
        """Bytes a second one way."""
        return self.share * self.air_bits_s / (16.0 if self.corrects else 8.0)


@dataclass(frozen=True, slots=True)
class NetworkModel:
    """A mobile network, mesh or tunnel: late by turns, away by turns, and without any report of itself."""

    kind: Literal["network"] = "network"
    latency_s: float = 0.12
    jitter_s: float = 0.03
    """Mean of what comes on top, exponential; nothing overtakes."""
    loss: float = 0.002
    """Of frames while it is there."""
    bytes_s: float = 60_000.0
    buffer_bytes: int = 32_768
    between_s: float = math.inf
    """Mean time from the end of an outage to the next; without it there are none by chance."""
    outage_s: float = 4.0
    """Mean length of an outage."""
    holds: bool = False
    """Whether frames wait out an outage, up to the buffer, and then come late all at once."""

    def __post_init__(self) -> None:
        if not all(size > 0.0 for size in (self.bytes_s, self.buffer_bytes, self.between_s, self.outage_s)):
            raise ValueError("rate, buffer and mean times must be above 0")
        if not (0.0 <= self.loss <= 1.0 and self.latency_s >= 0.0 and self.jitter_s >= 0.0):
            raise ValueError("loss is a share, latency and jitter are not below 0 s")


LinkModel = RadioModel | NetworkModel
