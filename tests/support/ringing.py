"""How a move leaves a mode ringing."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from rigcheck.motion.profiles import Profile
from rigcheck.motion.response import end_state


def residual_amplitude(
    profile: Profile, *, duration: ArrayLike, angular_frequency: ArrayLike, damping_ratio: ArrayLike
) -> np.ndarray:
    """Amplitude of the free vibration after a move of unit stroke: abs(q + i (q' + zeta omega q) / omega_d)."""
    q, rate = end_state(
        profile, duration=duration, angular_frequency=angular_frequency, damping_ratio=damping_ratio
    )
    omega, zeta = np.asarray(angular_frequency), np.asarray(damping_ratio)
    return np.hypot(q, (rate + zeta * omega * q) / (omega * np.sqrt(1 - zeta**2)))
