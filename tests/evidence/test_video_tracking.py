"""Following a point against shifts made by an independent library.

The pictures are shifted in the frequency domain by scipy.ndimage.fourier_shift, which is exact for a periodic picture
without content at the Nyquist frequency (Oppenheim and Schafer, Discrete-Time Signal Processing, the shift property
of the discrete Fourier transform; from memory). Nothing of the renderer in tests/support is used.
"""

import numpy as np
import pytest
from scipy.ndimage import fourier_gaussian, fourier_shift

from rigcheck.files.video import FrameSource, track_video

pytestmark = pytest.mark.evidence(
    what="Following a point in a video to a fraction of a pixel",
    source="scipy.ndimage.fourier_shift",
    serves="explain",
)

SIZE = 128
POINT = (64.0, 64.0)


def picture(seed=11):
    """The spectrum of a speckle: white noise smoothed to nothing at the Nyquist frequency."""
    noise = np.random.default_rng(seed).normal(size=(SIZE, SIZE))
    return fourier_gaussian(np.fft.fft2(noise), 1.6)


def shifted(spectrum, right, down, *, grain=0.0, seed=0):
    values = np.fft.ifft2(fourier_shift(spectrum, (down, right))).real
    values = 128.0 + 40.0 * values / np.fft.ifft2(spectrum).real.std()
    values += np.random.default_rng(seed).normal(0.0, grain, values.shape) if grain else 0.0
    return np.clip(np.rint(values), 0, 255).astype(np.uint8)


SHIFTS = np.array([[0.0, 0.0], *np.random.default_rng(4).uniform(-4.0, 4.0, (60, 2))])


# The figure to reach is 0.1 px. Rounding to 8 bits and the grain allow about 0.002 px; what is left is the linear
# interpolation between pixels and the smoothing at the rim of the square, about a hundredth. A fifth of the figure.
@pytest.mark.parametrize("grain", [0.0, 2.0])
def test_shifts_made_in_the_frequency_domain(grain):
    spectrum = picture()
    frames = [shifted(spectrum, *shift, grain=grain, seed=n) for n, shift in enumerate(SHIFTS)]
    track = track_video(FrameSource(frames, 50.0), point=POINT, still=())
    error = track.positions - POINT - SHIFTS
    assert np.isfinite(error).all()
    assert np.sqrt((error**2).mean()) < 0.02


@pytest.mark.of_the_method
def test_the_expected_error_is_what_is_found():
    """The standard error told to the user against the scatter of 60 frames with independent grain."""
    spectrum = picture(13)
    frames = [shifted(spectrum, 0.0, 0.0, grain=5.0, seed=n) for n in range(61)]
    track = track_video(FrameSource(frames, 50.0), point=POINT, still=())
    scatter = np.sqrt(np.mean(np.var(track.positions[1:], axis=0)))
    # It takes the worse direction, and leaves out that the square turns and stretches too: within a factor of two.
    assert scatter == pytest.approx(track.expected_error, rel=1.0)
    assert scatter > 0.5 * track.expected_error
