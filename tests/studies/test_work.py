"""Props computed together: the same as each alone, whatever stands beside it in the batch."""

from __future__ import annotations

import numpy as np
import pytest

from rigcheck.files import rig_from_text
from rigcheck.studies.examining import examine
from rigcheck.studies.moving import deviation_bound
from rigcheck.studies.results import Status
from rigcheck.studies.work import Work, work_on, works_together

HEAD = 'format = 1\n[camera]\nfield_width = "420 mm"\nimage_width = 3840\nframe_rate = "50 fps"\n'
SLIDE = '[[prop.move]]\nslide = "150 mm"\nalong = "up"\nduration = "{}"\nprofile = "{}"\n'
ROLL = '[[prop.move]]\nroll = "60 deg"\nabout = "toward"\nduration = "2 s"\n'
ROD = 'material = "{}"\ndiameter = "{} mm"\nlength = "{} mm"\nclamp = "collet"\ngrip = "25 mm"\nembed = "20 mm"\n'
SECOND = (
    '[[prop.support]]\nmaterial = "carbon-rod"\ndiameter = "3 mm"\nlength = "200 mm"\n'
    'offset = ["30 mm", "0 mm", "0 mm"]\n'
)
SLEEVE = (
    '[[prop.support.sleeve]]\nmaterial = "brass-c260"\ndiameter = "4 mm"\nwall = "0.45 mm"\nend = "90 mm"\n'
)
LINE = 'material = "nylon-monofilament"\ndiameter = "0.3 mm"\nlength = "400 mm"\nfrom = "above"\n'


def rod(material: str, diameter: float, length: float, more: str = "") -> str:
    return ROD.format(material, diameter, length) + more


def slide(duration: str = "2 s", profile: str = "cycloidal") -> str:
    return SLIDE.format(duration, profile)


RIGS = {
    "stiff": ("60 g", rod("carbon-rod", 5, 220), slide()),
    "stiff, longer": ("60 g", rod("carbon-rod", 5, 260), slide()),
    "slower": ("60 g", rod("carbon-rod", 5, 220), slide("3 s")),
    "another profile": ("60 g", rod("carbon-rod", 5, 220), slide(profile="trapezoidal")),
    "droops": ("60 g", rod("music-wire", 1.5, 220), slide()),
    "droops more": ("80 g", rod("music-wire", 1.5, 240), slide()),
    "yields a little": ("30 g", rod("aluminium-1100-o", 3, 150), slide()),
    "yields far": ("30 g", rod("aluminium-1100-o", 2, 150), slide()),
    "folds": ("200 g", rod("aluminium-1100-o", 1.5, 250), slide()),
    "stands": ("60 g", rod("carbon-rod", 5, 220, 'from = "below"\n'), slide()),
    "from the left": ("60 g", rod("carbon-rod", 5, 220, 'from = "left"\n'), slide()),
    "hangs": ("60 g", rod("music-wire", 3, 300, 'from = "above"\n'), slide()),
    "hangs on a thread": ("60 g", rod("music-wire", 0.15, 300, 'from = "above"\n'), slide()),
    "two": ("60 g", rod("carbon-rod", 5, 200, SECOND), slide()),
    "sleeved": ("60 g", rod("music-wire", 3, 180, SLEEVE), slide()),
    "sleeved, thinner": ("60 g", rod("music-wire", 2.8, 180, SLEEVE), slide()),
    "sleeved, longer": ("60 g", rod("music-wire", 3, 200, SLEEVE), slide()),
    "sleeved to near the tip": ("60 g", rod("music-wire", 3, 180, SLEEVE.replace("90", "179.9")), slide()),
    "line": ("60 g", LINE, slide()),
    "rolls": ("60 g", rod("carbon-rod", 5, 220), ROLL),
    "rolls, thicker": ("60 g", rod("carbon-rod", 6, 220), ROLL),
    "at rest": ("60 g", rod("carbon-rod", 5, 220), ""),
}


def asked(name: str, head: str = ""):
    mass, support, move = RIGS[name]
    sized = (
        f'[[prop]]\nname = "inkwell"\nmass = "{mass}"\nshape = "box"\nsize = ["60 mm", "40 mm", "50 mm"]\n'
    )
    shot = rig_from_text(f"{HEAD}{sized}[[prop.support]]\n{support}{move}{head}")
    return shot, shot.prop[0]


HEADS = ("", '[prop.axis]\npayload = "1 kg"\nmoment = "0.1 N*m"\n')


@pytest.mark.parametrize("head", HEADS)
@pytest.mark.parametrize("name", RIGS)
def test_a_verdict_leaves_out_no_finding(name, head):
    """But how to set the mount, which always passes."""
    shot, prop = asked(name, head)
    work = work_on(shot, prop)
    brief, whole = (
        [(one.id, one.status) for one in examine(work, for_verdict=verdict).findings]
        for verdict in (True, False)
    )
    assert brief == [one for one in whole if one != ("offsets", Status.PASS)]


@pytest.fixture(scope="module")
def together() -> dict[str, Work]:
    return dict(zip(RIGS, works_together([asked(name) for name in RIGS]), strict=True))


@pytest.mark.parametrize("name", RIGS)
def test_each_comes_out_as_it_does_alone(together, name):
    one, alone = together[name], work_on(*asked(name))
    assert one.prop.support[0].length == alone.prop.support[0].length
    assert one.solved == alone.solved
    assert (one.motion is None) == (alone.motion is None)
    assert examine(one, for_verdict=True).verdict is examine(alone, for_verdict=True).verdict
    if not alone.solved:
        return
    exact = {"rtol": 1e-9, "atol": 1e-15}
    for part in ("displacement", "rotation", "strength_factor", "buckling_factor", "peak_stress", "slack"):
        np.testing.assert_allclose(getattr(one.still, part), getattr(alone.still, part), **exact)
    np.testing.assert_array_equal(one.still.large, alone.still.large)
    assert one.still.large_work[0] == alone.still.large_work[0]
    assert (one.still.yielding is None) == (alone.still.yielding is None)
    np.testing.assert_allclose(
        one.still.natural_frequency[0, 0], alone.still.natural_frequency[0, 0], **exact
    )
    if alone.motion is None:
        return
    assert one.motion.peak_deviation is None
    for part in ("residual", "residual_px", "strength_factor", "swing_stress", "turning_share"):
        np.testing.assert_allclose(
            getattr(one.motion, part), getattr(alone.motion, part), rtol=1e-8, atol=1e-15
        )
    # Peaks of the modes are looked for at samples.
    assert float(alone.motion.peak_deviation[0]) <= float(deviation_bound(one.still, one.motion)[0]) * 1.001


def test_what_is_laid_out_alike_is_one_batch(monkeypatch):
    import rigcheck.studies.task as task

    batches = []
    evaluate = task.evaluate

    def counted(rig, *given, **more):
        batches.append(rig.batch)
        return evaluate(rig, *given, **more)

    monkeypatch.setattr(task, "evaluate", counted)
    works_together([asked(name) for name in RIGS])
    # However they move they are one batch at rest, but for those that are steep, roll or have sleeves in one place.
    assert sorted(batches, reverse=True)[:5] == [11, 2, 2, 2, 1]
    assert sum(batches) == len(RIGS)
