"""Advice is a claim: each change is made in the rig file, the shot checked again, and the claim must hold."""

from __future__ import annotations

import re

import pytest

from rigcheck.files import rig_from_text
from rigcheck.studies.check import check
from rigcheck.studies.curing import _Prover
from rigcheck.studies.results import Finding, PropResult, Status

CAMERA = '[camera]\nfield_width = "420 mm"\nimage_width = 3840\n'


def rig(support: str, *, mass: str = "60 g", move: str = "", head: str = "", prop: str = "") -> str:
    """A rig file of one prop on one support."""
    return f"""{head}
[[prop]]
name = "inkwell"
mass = "{mass}"
{prop}
[[prop.support]]
{support}
{move}
"""


def slide(duration: str, profile: str = "trapezoidal", stroke: str = "100 mm") -> str:
    return f'[[prop.move]]\nslide = "{stroke}"\nduration = "{duration}"\nprofile = "{profile}"\n'


def round_wire(material: str, diameter: str, length: str) -> str:
    return f'material = "{material}"\ndiameter = "{diameter}"\nlength = "{length}"'


RIGS = {
    "swinging wire": rig(round_wire("music-wire", "3 mm", "180 mm"), move=slide("0.9 s"), head=CAMERA),
    "swinging wire, no camera": rig(round_wire("music-wire", "3 mm", "180 mm"), move=slide("0.9 s")),
    "swinging wire, jerky": rig(
        round_wire("music-wire", "2.5 mm", "160 mm"), move=slide("1.3 s", "harmonic"), head=CAMERA
    ),
    "late start": rig(
        round_wire("music-wire", "3 mm", "180 mm"), move=slide("0.9 s") + 'start = "0.5 s"\n', head=CAMERA
    ),
    "swinging tube": rig(
        'material = "brass-c260"\ndiameter = "3 mm"\nwall = "0.45 mm"\nlength = "150 mm"',
        mass="30 g",
        move=slide("1.1 s"),
        head=CAMERA,
    ),
    "soft wire": rig(round_wire("aluminium-1100-o", "1.5 mm", "200 mm"), mass="14 g"),
    "soft wire that moves": rig(
        round_wire("aluminium-1100-o", "2 mm", "150 mm"), mass="14 g", move=slide("1 s"), head=CAMERA
    ),
    "sagging wire": rig(round_wire("music-wire", "2 mm", "180 mm"), head='[limits]\nsag = "2 mm"\n'),
    "standing wire": rig(
        round_wire("music-wire", "1 mm", "180 mm") + '\nfrom = "below"',
        mass="50 g",
        prop='shape = "sphere"\nsize = ["30 mm", "30 mm", "30 mm"]',
    ),
    "hands under a wire": rig(
        round_wire("brass-c360", "2.5 mm", "160 mm"), mass="80 g", head='[limits]\nhazard = "hands"\n'
    ),
    "odd numbers": rig(round_wire("music-wire", "2.3 mm", "173 mm"), mass="83 g", move=slide("0.77 s")),
    "odd numbers, standing": rig(
        round_wire("music-wire", "1.13 mm", "167 mm") + '\nfrom = "below"', mass="59 g"
    ),
    "clamped in a collet": rig(
        round_wire("brass-c360", "2.5 mm", "200 mm") + '\nclamp = "collet"\ngrip = "20 mm"', mass="90 g"
    ),
}

FINDING = {
    "wobble": "residual-wobble",
    "strength factor": "yield-factor",
    "sag": "sag",
    "buckling factor": "buckling",
    "settled after": "settle",
}
QUOTE = re.compile(
    r"\((wobble|strength factor|sag|buckling factor|settled after)"
    r" (?:(\S+) to )?((?:under )?[0-9.e+-]+)(?: (px|mm|s))?\): (?:then it passes|that leaves .*|it brings .*)$"
)


def changed(text: str, advice: str) -> str:
    """The rig file with one piece of advice followed to the letter."""

    def put(key: str, value: str) -> str:
        new, count = re.subn(rf'^{key} = ".*"$', f'{key} = "{value}"', text, flags=re.MULTILINE)
        assert count == 1, key
        return new

    if found := re.match(r"Shorten the free length by (\d+) mm, to (\d+) mm", advice):
        before = float(re.search(r'^length = "(\d+) mm"', text, re.MULTILINE)[1])
        assert before - float(found[1]) == float(found[2])
        return put("length", f"{found[2]} mm")
    if found := re.match(r"Go up to (\S+) mm diameter", advice):
        return put("diameter", f"{found[1]} mm")
    if found := re.match(r"Go up to (\S+) mm x (\S+) mm tube", advice):
        text = put("diameter", f"{found[1]} mm")
        return put("wall", f"{found[2]} mm")
    if found := re.match(r"Take (\S+) of the same size", advice):
        return put("material", found[1])
    if found := re.match(r'Smooth the move: profile = "(\S+)"', advice):
        return put("profile", found[1])
    if found := re.match(r"Make the move (\S+) s longer, (\S+) s", advice):
        return put("duration", f"{found[2]} s")
    if found := re.match(r"Make the prop (\S+) g lighter, (\S+) g in all", advice):
        before = float(re.search(r'^mass = "(\d+) g"', text, re.MULTILINE)[1])
        assert before - float(found[1]) == pytest.approx(
            float(found[2]), rel=0.005
        )  # three digits are printed
        return put("mass", f"{found[2]} g")
    if found := re.match(r"Take a (\S+) x (\S+) mm (\S+?)(?: tube)? in its place", advice):
        text = put("diameter", f"{found[1]} mm").replace(
            "[[prop.support]]\n", f'[[prop.support]]\nwall = "{found[2]} mm"\n'
        )
        return put("material", found[3])
    if found := re.match(r"Glue a sleeve of (\S+) x (\S+) mm (\S+) over the first (\d+) mm", advice):
        sleeve = f'diameter = "{found[1]} mm"\nwall = "{found[2]} mm"\nmaterial = "{found[3]}"'
        return put_after_support(text, f'[[prop.support.sleeve]]\n{sleeve}\nend = "{found[4]} mm"')
    if found := re.match(r"Add a second support like it, (\d+) mm apart", advice):
        return with_second(text, int(found[1]))
    found = re.match(r"Bring the support in from (?:the )?(\S+)", advice)
    assert found, f"advice that no test follows: {advice}"
    text = re.sub(r'^from = ".*"\n', "", text, flags=re.MULTILINE)
    return text.replace("[[prop.support]]\n", f'[[prop.support]]\nfrom = "{found[1]}"\n')


def with_second(text: str, spacing: int) -> str:
    """The rig file with the support twice: above one another, or side by side where it hangs or stands."""
    upright = re.search(r'^from = "(above|below)"', text, re.MULTILINE) is not None
    place = '["{0} mm", "0 mm", "0 mm"]' if upright else '["0 mm", "{0} mm", "0 mm"]'
    support = re.search(r"\[\[prop\.support\]\]\n(?:\w+ = .*\n)+", text)[0]
    text = put_after_support(text, f"{support}offset = {place.format(-spacing)}")
    return text.replace("mass =", f"centre_of_mass = {place.format(-spacing / 2)}\nmass =", 1)


def put_after_support(text: str, table: str) -> str:
    """The rig file with a table between the support and the move."""
    before, header, after = text.partition("[[prop.move]]")
    return f"{before}\n{table}\n{header}{after}"


def only_prop(text: str, *, thorough: bool = False) -> PropResult:
    return check(rig_from_text(text), thorough=thorough).props[0]


def finding(result: PropResult, name: str) -> Finding:
    return next(one for one in result.findings if one.id == name)


@pytest.fixture(scope="module")
def results() -> dict[str, PropResult]:
    """Each rig as given."""
    return {name: only_prop(text, thorough=True) for name, text in RIGS.items()}


def follow(text: str, before: PropResult) -> int:
    """Follow every piece of advice whose effect is quoted, hold it to what it says, and count them."""
    followed = 0
    for cured in before.findings:
        for advice in cured.advice:
            if not (quoted := QUOTE.search(advice)):
                continue
            after = only_prop(changed(text, advice))
            followed += 1
            assert finding(after, cured.id).status is Status.PASS, advice
            what, old, new, unit = quoted.groups()
            now = finding(after, FINDING[what])
            assert unit == (now.unit or None), advice
            digits = 2 if what == "settled after" else 3
            shown = "under 0.001" if 0 < abs(now.value) < 1e-3 else f"{now.value:.{digits}g}"
            assert shown == new, advice
            assert (after.verdict is Status.PASS) == advice.endswith("then it passes"), advice
            if old is not None:
                assert f"{finding(before, FINDING[what]).value:.3g}" == old, advice
    return followed


@pytest.mark.parametrize("name", RIGS)
def test_every_change_does_what_it_says(results, name):
    assert follow(RIGS[name], results[name]) > 0, "nothing was advised that can be computed"


@pytest.mark.parametrize(
    ("support", "mass", "move"),
    [
        (round_wire("carbon-rod", "3.3 mm", "211 mm"), "37 g", slide("1.13 s", "harmonic")),
        (round_wire("music-wire", "2.1 mm", "211 mm"), "37 g", slide("1.13 s")),
        (round_wire("brass-c260", "2.1 mm", "143 mm"), "113 g", slide("0.57 s")),
    ],
    ids=["duration", "inch size", "mass"],
)
def test_what_is_said_holds_for_the_figures_that_are_printed(support, mass, move):
    text = rig(support, mass=mass, move=move, head=CAMERA)
    assert follow(text, only_prop(text, thorough=True)) > 0


SOFT_NOTEBOOK = """
[camera]
field_width = "420 mm"
image_width = 3840
[[prop]]
name = "notebook"
mass = "150 g"
shape = "box"
size = ["105 mm", "12 mm", "148 mm"]
[[prop.support]]
material = "carbon-rod"
diameter = "5 mm"
length = "220 mm"
[[prop.move]]
slide = "150 mm"
along = "left"
duration = "1.6 s"
profile = "trapezoidal"
"""


def test_a_change_that_shows_the_support_says_so_or_is_not_offered():
    """From the side the rod is in plain sight, though along the slide it does not swing at all."""
    result = only_prop(SOFT_NOTEBOOK, thorough=True)
    assert finding(result, "hidden").status is Status.PASS
    sides = {
        word: SOFT_NOTEBOOK.replace("length =", f'from = "{word}"\nlength =') for word in ("left", "right")
    }
    shown = {word: finding(only_prop(text), "hidden") for word, text in sides.items()}
    assert {one.status for one in shown.values()} <= {Status.CAUTION, Status.FAIL}
    for advice in finding(result, "residual-wobble").advice:
        if found := re.match(r"Bring the support in from (?:the )?(left|right)", advice):
            assert shown[found[1]].status is Status.CAUTION
            assert f"it brings {shown[found[1]].label} (caution)" in advice


@pytest.mark.parametrize("name", RIGS)
def test_no_change_makes_another_finding_worse_unsaid(results, name):
    order = [Status.SKIPPED, Status.PASS, Status.CAUTION, Status.FAIL]
    before = {one.id: one.status for one in results[name].findings}
    for cured in results[name].findings:
        for advice in cured.advice:
            if QUOTE.search(advice):
                for after in only_prop(changed(RIGS[name], advice)).findings:
                    was = before.get(after.id, Status.PASS)
                    if was is not Status.SKIPPED and order.index(after.status) > order.index(was):
                        assert after.status is Status.CAUTION, (advice, after.id)
                        assert f"{after.label} (caution)" in advice.partition("it brings")[2], advice


@pytest.mark.parametrize("name", RIGS)
def test_an_ordinary_check_stops_at_what_to_do_next_and_keeps_its_word(results, name):
    few = only_prop(RIGS[name])
    follow(RIGS[name], few)
    quoted = [
        [one for item in found.findings for one in item.advice if QUOTE.search(one)]
        for found in (few, results[name])
    ]
    assert len(quoted[0]) <= len(quoted[1])
    passing = [any(one.endswith("then it passes") for one in advice) for advice in quoted]
    assert passing[0] == passing[1]


@pytest.mark.parametrize("name", RIGS)
def test_next_step_is_the_first_advice_of_the_gravest_finding(results, name):
    result = results[name]
    advised = [one for one in result.findings if one.advice and one.status in (Status.FAIL, Status.CAUTION)]
    assert result.next_step == advised[0].advice[0]


def test_smallest_change_comes_not_the_largest(results):
    """The quoted length is the longest of the tried ones that passes: 5 % longer does not."""
    text = RIGS["sagging wire"]
    advice = next(one for one in finding(results["sagging wire"], "sag").advice if one.startswith("Shorten"))
    length = int(re.search(r"to (\d+) mm", advice)[1])
    longer = round(length + 0.05 * 180)
    assert finding(only_prop(changed(text, advice)), "sag").status is Status.PASS
    kept = text.replace('length = "180 mm"', f'length = "{longer} mm"')
    assert finding(only_prop(kept), "sag").status is not Status.PASS


def test_shorter_cures_for_good_while_slower_may_be_lucky(results):
    """A longer move that falls on a whole number of periods passes by luck; the advice holds beyond it."""
    found = finding(results["swinging wire"], "residual-wobble")
    slower = [one for one in found.advice if one.startswith("Make the move")]
    for advice in slower:
        duration = float(re.search(r", (\S+) s", advice)[1])
        for more in (1.1, 1.25, 1.4):
            text = RIGS["swinging wire"].replace(
                'duration = "0.9 s"', f'duration = "{duration * more:.4g} s"'
            )
            assert finding(only_prop(text), "residual-wobble").status is not Status.FAIL


def test_no_thicker_wire_is_tried_where_the_clamp_holds_the_first_too_short(monkeypatch):
    """Two set screws want 5 diameters; what they hold of a thicker wire is shorter still, so all come out alike."""
    held = '\nclamp = "two-set-screws"\ngrip = "15 mm"'
    wire = round_wire("music-wire", "3 mm", "180 mm") + held
    shot = rig_from_text(rig(wire, mass="30 g", move=slide("0.9 s"), head=CAMERA))
    tried = []
    judge = _Prover._judge

    def judged(self, cure, step):
        tried.append(step.words)
        return judge(self, cure, step)

    def thicker(words):
        return [text for text in words if text.startswith("Go up to")]

    monkeypatch.setattr(_Prover, "_judge", judged)
    found = check(shot, thorough=True).props[0]
    assert len(thicker(tried)) == 1
    monkeypatch.setattr("rigcheck.studies.curing._LASTS", ())
    tried.clear()
    again = check(shot, thorough=True).props[0]
    assert len(thicker(tried)) > 1
    assert again.findings == found.findings


def test_nothing_is_advised_where_nothing_is_wrong():
    good = only_prop(rig(round_wire("music-wire", "4 mm", "100 mm"), move=slide("6 s", "cycloidal")))
    assert good.verdict is Status.PASS
    assert good.next_step is None
    assert not [advice for one in good.findings for advice in one.advice if QUOTE.search(advice)]


def test_strength_over_people_is_not_advised_away():
    """No strength makes a pass there, so nothing claims one."""
    text = rig(
        round_wire("brass-c360", "2.5 mm", "160 mm"), mass="50 g", head='[limits]\nhazard = "overhead"\n'
    )
    for one in only_prop(text).findings:
        assert not [advice for advice in one.advice if "strength factor" in advice]
