"""The command `explain` as people and programs see it: the demo takes, what cannot be known, bad input."""

import contextlib
import importlib.util
import io
import json
import sys
from pathlib import Path
from unittest.mock import patch

import numpy as np
import pytest
from rich.console import Console

from rigcheck.__main__ import main
from rigcheck.files import read_rig
from rigcheck.files.takes import Take
from rigcheck.studies.explain.study import explain
from rigcheck.views.explain_view import explain_json, render_explain

SHARED = Path(__file__).parents[2] / "shared"
RIG = str(SHARED / "shots" / "desk-set.toml")
TAKE = str(SHARED / "takes" / "notebook-take.csv")
TAP = str(SHARED / "takes" / "notebook-tap.csv")


def run(*words):
    """The program within this process: exit code, what it printed, what it said."""
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8") for _ in range(2))
    with (
        patch.object(sys, "argv", ["rigcheck", *words]),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        try:
            main()
            code = 0
        except SystemExit as end:
            code = int(end.code or 0)
    out.seek(0)
    err.seek(0)
    return code, out.read(), err.read()


def ringing(times, frequency, ratio, amplitude, angle=0.3):
    omega = 2 * np.pi * frequency
    wave = amplitude * np.exp(-ratio * omega * times) * np.cos(omega * np.sqrt(1 - ratio**2) * times)
    return wave[:, None] * [np.cos(angle), np.sin(angle)]


def take(track, rate=50.0, times=None, **more):
    times = np.arange(len(track)) / rate if times is None else times
    values = {"unit": "px", "background": None, "dropped": 0, "frame_rate": rate, "source": "take.csv"}
    return Take(times=times, positions=track, **(values | more))


def noise(count, size=0.1, seed=3):
    return np.random.default_rng(seed).normal(0.0, size, (count, 2))


def printed(result, width=80, **more):
    console = Console(width=width, file=io.StringIO(), force_terminal=False)
    render_explain(console, result, **more)
    return console.file.getvalue()


def words(text):
    return " ".join(text.split())


class TestTheDemo:
    def test_the_files_are_what_their_script_makes(self) -> None:
        path = SHARED / "takes" / "make_notebook_takes.py"
        spec = importlib.util.spec_from_file_location("make_notebook_takes", path)
        module = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)
        for name, text in module.takes().items():
            made, kept = (
                np.genfromtxt(io.StringIO(part), delimiter=",", skip_header=1)
                for part in (text, (path.parent / name).read_text())
            )
            assert made == pytest.approx(kept, abs=0.02)  # two decimals, and a last digit that may turn

    def test_the_take_is_read_in_ten_seconds(self) -> None:
        code, out, err = run("explain", TAKE, "--rig", RIG, "--prop", "notebook")
        assert (code, err) == (0, "")
        top = words("\n".join(out.splitlines()[:12]))
        assert "8.886 ± 0.007 Hz, sway left-right: 0.58 ± 0.05 px" in top
        assert "damping 0.0037 (0.003 to 0.0044)" in top
        assert "by the file, after its move 0.511 px" in top
        assert "seen in the take 1.15 px" in top
        assert "Do: Find out first which it is: tap the prop" in top
        for part in ("Likeliest causes", "The clamp gives more", "It takes:", "Test:", "Cure:", "Cautions"):
            assert part in out
        assert max(len(line) for line in out.splitlines()) <= 100

    def test_the_tap_finds_the_loose_collet(self) -> None:
        """The script made it like 8 diameters of free length; its stiffness follows from k = EI/(a d)."""
        code, out, _ = run("explain", TAP, "--rig", RIG, "--prop", "notebook", "--tap", "--json")
        assert code == 0
        found = json.loads(out)
        cause = found["causes"][0]
        assert cause["id"] == "clamp-softer"
        assert cause["chance"] > 0.9
        implied = cause["implied"]
        assert implied["given"] / implied["value"] == pytest.approx(8.0, rel=0.05)
        assert implied["range"][0] < implied["given"] / 8.0 < implied["range"][1]
        assert implied["plausible"] is True
        assert found["next_step"].startswith("Hold the root as the file says")
        frequencies = [one["frequency_Hz"] for one in found["components"]]
        # Twist and rocking of the rig with that clamp, computed by its own script.
        assert min(abs(np.array(frequencies) / 12.349 - 1)) < 0.005
        assert min(abs(np.array(frequencies) / 16.998 - 1)) < 0.005

    def test_json_has_the_keys_that_others_read(self) -> None:
        _, out, _ = run("explain", TAKE, "--rig", RIG, "--prop", "notebook", "--json")
        found = json.loads(out)
        assert {"components", "causes"} <= set(found)
        keys = {"frequency_Hz", "frequency_range_Hz", "damping_ratio", "amplitude_px", "direction"}
        assert keys <= set(found["components"][0])
        assert {"id", "chance", "says", "implied", "cure"} <= set(found["causes"][0])
        chances = [cause["chance"] for cause in found["causes"]]
        assert chances == sorted(chances, reverse=True)
        assert 0.95 < sum(chances) <= 1.0 + 1e-9

    def test_a_bench_test_alone(self) -> None:
        code, out, _ = run("explain", "--hung", "200g", "--sag", "2.8mm", "--rig", RIG, "--prop", "notebook")
        assert code == 0
        assert "What wobbles: a bench test" in out
        assert "The clamp gives more than the file says" in out

    def test_details_tell_all(self) -> None:
        _, out, _ = run("explain", TAP, "--rig", RIG, "--prop", "notebook", "--tap", "--details")
        for part in ("swings in view", "Bayesian information criterion", "Assumed", "root stiffness"):
            assert part in out


class TestSave:
    def test_the_new_file_rings_as_the_take_did(self, tmp_path) -> None:
        new = tmp_path / "fitted.toml"
        before = Path(RIG).read_text()
        code, out, _ = run("explain", TAP, "--rig", RIG, "--prop", "notebook", "--tap", "--save", str(new))
        assert code == 0
        assert "Written to" in out
        # The script's collet: EI/(8 d) = 97.4 N*m/rad.
        fitted = read_rig(new).find_prop("notebook").support[0].root_stiffness
        assert fitted.m_as("N*m/rad") == pytest.approx(97.4, rel=0.03)
        assert Path(RIG).read_text() == before
        code, out, _ = run("check", str(new), "--prop", "notebook", "--json")
        modes = json.loads(out)["props"][0]["modes"]
        assert modes[0]["damping_ratio"] == pytest.approx(0.004, rel=0.1)
        assert min(abs(mode["frequency_Hz"] / 8.9 - 1) for mode in modes) < 0.005

    def test_never_over_a_file_unasked(self, tmp_path) -> None:
        new = tmp_path / "fitted.toml"
        new.write_text("mine")
        words_ = ("explain", TAP, "--rig", RIG, "--prop", "notebook", "--tap", "--save", str(new))
        code, out, err = run(*words_)
        assert code == 2
        assert out == ""
        assert "is there already" in err
        assert new.read_text() == "mine"
        assert run(*words_, "--overwrite")[0] == 0
        assert "root_stiffness" in new.read_text()

    def test_nothing_found_nothing_written(self, tmp_path) -> None:
        still = tmp_path / "still.csv"
        rows = "".join(f"{k},{k / 50:.3f},{x:.3f},{y:.3f}\n" for k, (x, y) in enumerate(noise(300)))
        still.write_text("frame,time_s,x_px,y_px\n" + rows)
        new = tmp_path / "fitted.toml"
        code, _, err = run("explain", str(still), "--rig", RIG, "--prop", "notebook", "--save", str(new))
        assert code == 2
        assert "nothing was fitted" in err
        assert not new.exists()


class TestWhatCannotBeKnown:
    def test_noise_only(self) -> None:
        text = words(printed(explain(take(noise(400)))))
        assert "Nothing that can be told from noise" in text
        assert "Nothing rings above the noise" in text
        assert "Do: Nothing to cure" in text

    def test_too_few_swings(self) -> None:
        times = np.arange(60) / 50.0
        text = words(printed(explain(take(ringing(times, 1.2, 0.01, 9.0) + noise(60, 0.05)))))
        assert "Fewer than two cycles" in text
        assert "too few swings in view to tell its damping" in text
        assert "Do: Film again, and let the camera run on" in text

    def test_aliases(self) -> None:
        times = np.arange(400) / 25.0
        result = explain(take(ringing(times, 18.0, 0.002, 6.0) + noise(400), rate=25.0))
        text = words(printed(result))
        assert result.components[0].frequency_Hz == pytest.approx(7.0, rel=1e-3)
        assert min(abs(value - 18.0) for value in result.components[0].aliases_Hz) < 0.02
        assert "7 Hz looks the same as 18, 32, 43 Hz" in text
        assert "the camera alone cannot tell which it is" in text

    def test_a_mode_above_half_the_frame_rate_is_named(self) -> None:
        """The notebook's left-right sway lies at 10.6 Hz; at 16 frames a second it is seen at 5.4 Hz."""
        times = np.arange(300) / 16.0
        track = ringing(times, 10.58, 0.003, 6.0, angle=0.0) + noise(300)
        result = explain(take(track, rate=16.0), shot=read_rig(RIG), prop="notebook", tap=True)
        assert result.components[0].frequency_Hz == pytest.approx(5.42, rel=0.01)
        assert "truly at 10.6 Hz" in result.components[0].what

    def test_a_point_stuck_at_the_edge(self) -> None:
        times = np.arange(500) / 50.0
        track = np.minimum(ringing(times, 4.0, 0.004, 10.0, angle=0.0), 6.0) + 0.0 * noise(500)
        text = words(printed(explain(take(track))))
        assert "stuck at" in text

    def test_dropped_frames(self) -> None:
        times = np.arange(500) / 50.0
        track = ringing(times, 4.0, 0.004, 10.0) + noise(500)
        kept = np.delete(np.arange(500), np.arange(100, 130))
        text = words(printed(explain(take(track[kept], times=times[kept], dropped=30))))
        assert "30 frames missing or without a position" in text

    def test_without_a_rig_no_causes(self) -> None:
        code, out, _ = run("explain", TAKE, "--json")
        found = json.loads(out)
        assert code == 0
        assert found["causes"] == []
        assert found["components"][0]["frequency_Hz"] == pytest.approx(8.886, rel=1e-3)
        assert "--rig" in found["next_step"]

    def test_times_at_playback_are_doubted(self) -> None:
        times = np.arange(400) / 25.0
        result = explain(
            take(ringing(times, 4.4, 0.004, 6.0), rate=25.0), shot=read_rig(RIG), prop="notebook"
        )
        assert any("give --fps 50" in note for note in result.notes)


class TestBadInput:
    @pytest.mark.parametrize(
        ("words_", "said"),
        [
            (("explain",), "Give a take, or a bench test"),
            (("explain", TAKE, "--prop", "notebook"), "--prop needs the rig file"),
            (("explain", TAKE, "--save", "x.toml"), "--save needs the rig file"),
            (("explain", "nowhere.csv"), "there is no such file"),
            (("explain", TAKE, "--rig", RIG), "the shot has several props"),
            (("explain", TAKE, "--rig", RIG, "--prop", "inkpot"), "inkwell"),
            (("explain", TAKE, "--rig", "nowhere.toml"), "nowhere.toml"),
            (("explain", TAKE, "--fps", "-3"), "above 0"),
            (("explain", TAKE, "--fps", "nan"), "above 0"),
            (("explain", "--hung", "200", "--rig", RIG), '--sag: is missing beside --hung'),
            (("explain", "--hung", "200", "--sag", "1 mm", "--rig", RIG), "--hung = 200"),
            (("explain", TAKE, "--rig", RIG, "--point", "3mm"), "is not three lengths"),
            (("explain", TAKE, "--drive-rate", "20 Hz"), "--drive-rate needs the rig file"),
            (("explain", TAKE, "--rig", RIG, "--drive-rate", "belt=fast"), "--drive-rate = fast"),
            (("explain", RIG), "problem"),
        ],
    )  # fmt: skip
    def test_is_told_in_words(self, words_, said) -> None:
        code, out, err = run(*words_)
        assert code == 2
        assert out == ""
        assert said in err
        assert "Traceback" not in err


class TestView:
    def test_narrow_and_without_unicode(self) -> None:
        result = explain(TAP, shot=read_rig(RIG), prop="notebook", tap=True)
        narrow = printed(result, width=60, details=True)
        assert max(len(line) for line in narrow.splitlines()) <= 60
        plain = io.TextIOWrapper(io.BytesIO(), encoding="ascii")
        render_explain(Console(width=80, file=plain), result, details=True)
        plain.seek(0)
        text = plain.read()
        assert "+/-" in text
        assert "####" in text

    def test_text_from_files_cannot_steer_the_terminal(self) -> None:
        times = np.arange(300) / 50.0
        nasty = take(ringing(times, 4.0, 0.01, 5.0) + noise(300), source="x\x1b[31m[bold]y[/]\n.csv")
        text = printed(explain(nasty))
        assert "\x1b" not in text
        assert "[bold]y[/]" in text

    def test_a_track_in_millimetres(self) -> None:
        times = np.arange(300) / 50.0
        mm = take(ringing(times, 4.0, 0.01, 5.0) + noise(300, 0.05), unit="mm")
        (one,) = explain_json(explain(mm))["components"]
        assert one["amplitude_px"] is None
        assert one["amplitude_mm"] == pytest.approx(5.0, rel=0.05)
        (one,) = explain_json(explain(mm, shot=read_rig(RIG), prop="notebook", tap=True))["components"]
        assert one["amplitude_px"] == pytest.approx(5.0 * 3840 / 420, rel=0.05)

    def test_curves_for_a_figure(self) -> None:
        """Track less fit is the residual, swing and fitted swing differ by the same, and the spectra peak alike."""
        result = explain(TAKE, shot=read_rig(RIG), prop="notebook")
        curves = result.curves
        inside = np.isfinite(curves.fit[:, 0])
        assert inside.any()
        assert not inside.all()
        left = (curves.positions - curves.fit)[inside]
        assert (curves.swing - curves.fitted_swing)[inside] == pytest.approx(left, abs=1e-9)
        assert np.sqrt((left**2).mean()) < 0.2
        peak = curves.frequencies[curves.spectrum.argmax()]
        assert peak == pytest.approx(result.components[0].frequency_Hz, abs=0.2)
        assert curves.frequencies[curves.fitted_spectrum.argmax()] == pytest.approx(peak, abs=0.1)
        assert curves.frequencies[-1] == pytest.approx(25.0, rel=0.01)
