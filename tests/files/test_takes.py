"""Reading tracks and keyframes: the ways they are written, and everything that can be wrong with them."""

import tracemalloc

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigcheck.errors import ArgumentError, InputError
from rigcheck.files import tables
from rigcheck.files.tables import LARGEST_TABLE, MOST_ROWS
from rigcheck.files.takes import keys_from_text, read_keys, read_take, take_from_text

ROWS = [(0, 0.0, 10.5, 20.25), (1, 0.04, 11.5, 20.5), (2, 0.08, 12.0, 21.0), (3, 0.12, 11.0, 20.75)]
PLAIN = "frame,time_s,x_px,y_px\n" + "\n".join(",".join(map(str, row)) for row in ROWS) + "\n"


def problems(text, read=take_from_text, **more):
    with pytest.raises(InputError) as caught:
        read(text, "take.csv", **more)
    assert str(caught.value).startswith("take.csv: ")
    return [str(problem) for problem in caught.value.problems]


def expected(take):
    assert take.times == pytest.approx([0.0, 0.04, 0.08, 0.12])
    assert take.positions == pytest.approx(np.array(ROWS)[:, 2:])


class TestWaysToWriteATrack:
    def test_plain(self) -> None:
        take = take_from_text(PLAIN, "take.csv")
        expected(take)
        assert (take.unit, take.background, take.dropped, take.source) == ("px", None, 0, "take.csv")
        assert take.frame_rate == pytest.approx(25.0)

    @pytest.mark.parametrize("separator", [",", ";", "\t"])
    @pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
    def test_separators_and_line_ends(self, separator, ending) -> None:
        expected(take_from_text(PLAIN.replace(",", separator).replace("\n", ending)))

    @pytest.mark.parametrize("separator", [";", "\t"])
    def test_decimal_commas(self, separator) -> None:
        expected(take_from_text(PLAIN.replace(",", separator).replace(".", ",")))

    def test_header_as_a_spreadsheet_writes_it(self) -> None:
        text = '\ufeff# from the tracker\n\n"Y (px)";"Time [s]";" X px ";note\n'
        text += "".join(f'"{y}"; {t} ;{x};ok\n' for _, t, x, y in ROWS)
        expected(take_from_text(text))

    def test_blank_lines_comments_and_trailing_separators(self) -> None:
        lines = PLAIN.splitlines()
        text = "\n".join([lines[0], "", "# second part", *[f"{line},," for line in lines[1:]], "   ", ""])
        expected(take_from_text(text))

    def test_millimetres_and_a_fixed_point(self) -> None:
        text = "time_s,x_mm,y_mm,still_x_mm,still_y_mm\n0,1,2,3,4\n0.5,1,2,3,4\n1,1,2,3,4\n1.5,1,2,3,5\n"
        take = take_from_text(text)
        assert take.unit == "mm"
        assert take.background.tolist() == [[3, 4], [3, 4], [3, 4], [3, 5]]

    def test_frames_and_a_frame_rate(self) -> None:
        text = "frame,x_px,y_px\n10,1,2\n11,1,2\n14,1,2\n15,1,2\n16,1,3\n"
        take = take_from_text(text, frame_rate=50.0)
        assert take.times == pytest.approx([0.0, 0.02, 0.08, 0.10, 0.12])
        assert (take.dropped, take.frame_rate) == (2, 50.0)

    def test_rows_and_a_frame_rate(self) -> None:
        take = take_from_text("x_px,y_px\n1,2\n,\n1,2\n1,2\n1,3\n", frame_rate=50.0)
        assert take.times == pytest.approx([0.0, 0.04, 0.06, 0.08])
        assert take.dropped == 1

    def test_frame_rate_wins_over_times_at_playback(self) -> None:
        assert take_from_text(PLAIN, frame_rate=100.0).times == pytest.approx([0.0, 0.01, 0.02, 0.03])
        without = PLAIN.replace("frame,", "number,")
        assert take_from_text(without, frame_rate=100.0).times == pytest.approx([0.0, 0.01, 0.02, 0.03])

    @pytest.mark.parametrize("empty", ["", "nan", "NaN", "N/A", "-", "null", " "])
    def test_frames_in_which_the_point_was_lost(self, empty) -> None:
        text = PLAIN + f"4,0.16,{empty},{empty}\n6,0.24,1,2\n"
        take = take_from_text(text)
        assert take.times == pytest.approx([0.0, 0.04, 0.08, 0.12, 0.24])
        assert take.dropped == 2

    def test_gaps_in_the_times_are_dropped_frames(self) -> None:
        times = np.delete(np.arange(100) / 24.0, [30, 31, 32, 70])
        text = "time_s,x_px,y_px\n" + "\n".join(f"{t:.6f},1,2" for t in times)
        take = take_from_text(text)
        assert take.dropped == 4
        assert take.frame_rate == pytest.approx(24.0, rel=1e-5)

    def test_rounded_times_are_made_even_again(self) -> None:
        exact = np.delete(np.arange(500) / 120.0, [77, 200])
        text = "time_s,x_px,y_px\n" + "\n".join(f"{t:.3f},1,2" for t in exact)
        assert take_from_text(text).times == pytest.approx(exact, abs=1e-4)

    def test_uneven_times_stay(self) -> None:
        uneven = np.cumsum(np.random.default_rng(1).uniform(0.03, 0.05, 50))
        text = "time_s,x_px,y_px\n" + "\n".join(f"{t:.4f},1,2" for t in uneven)
        assert take_from_text(text).times == pytest.approx(uneven, abs=5.1e-5)

    @pytest.mark.parametrize("coding", ["utf-8", "utf-8-sig", "utf-16"])
    def test_from_a_file(self, tmp_path, coding) -> None:
        path = tmp_path / "take.csv"
        path.write_text(PLAIN, encoding=coding)
        take = read_take(path)
        expected(take)
        assert take.source == str(path)

    def test_numbers_in_any_form(self) -> None:
        text = "time_s,x_px,y_px\n0,+1.5e1,-.5\n.5,1E-3,2.\n1.,1,2\n1.5,1,2\n"
        assert take_from_text(text).positions[:2].tolist() == [[15.0, -0.5], [0.001, 2.0]]


class TestWhatIsWrongWithATrack:
    def test_cells(self) -> None:
        text = "frame,time_s,x_px,y_px\n0,0,1,2\n1,0.04,abc,2\n2,0.08,1,2 px\n3,1e999,1,2\n"
        found = problems(text)
        assert found[0] == "line 3, x_px = abc: is not a number."
        assert found[1].startswith(
            "line 4, y_px = 2 px: is not a number. Write the unit into the column's name"
        )
        assert found[2] == "line 5, time_s: is too large a number."
        assert len(found) == 3

    @pytest.mark.parametrize("word", ["1_000", "0x10", "inf", "1e", "--1", "1,5", "٣"])
    def test_strange_numbers(self, word) -> None:
        text = PLAIN.replace(",", ";").replace("12.0;21.0", f"{word};21.0")
        if word == "1,5":
            assert any("decimal comma (line 4)" in problem for problem in problems(text))
        else:
            assert any(f"line 4, x_px = {word}" in problem for problem in problems(text.replace(";", ",")))

    def test_many_problems_are_counted(self) -> None:
        text = "time_s,x_px,y_px\n" + "\n".join(f"{i},bad,2" for i in range(500))
        found = problems(text)
        assert len(found) == 21
        assert "480 more problems" in found[-1]

    def test_columns(self) -> None:
        assert problems("time_s,x_px,y_pz\n0,1,2\n")[0].endswith('Did you mean "y_px" by "y_pz"?')
        assert 'Did you mean "x_px" by "x"?' in problems("time_s,x,y\n0,1,2\n")[0]
        assert any(
            'Did you mean "time_s" by "time"?' in found for found in problems("time,x_px,y_px\n0,1,2\n")
        )
        assert "the frame rate: --fps 25" in problems("frame,x_px,y_px\n0,1,2\n")[0]
        assert "has positions in px and in mm" in problems("time_s,x_px,y_px,x_mm,y_mm\n0,1,2,3,4\n")[0]
        assert "stands 2 times" in problems("time_s,x_px,y_px,x_px\n0,1,2,3\n")[0]
        assert "is missing beside still_x_px" in problems("time_s,x_px,y_px,still_x_px\n0,1,2,3\n")[0]
        assert (
            "is in mm, but the point is in px"
            in problems("time_s,x_px,y_px,still_x_mm,still_y_mm\n0,1,2,3,4\n")[0]
        )
        assert (
            "is no column that is known" in problems("time_s,x_px,y_px,stil_x_px,stil_y_px\n0,1,2,3,4\n")[0]
        )

    def test_no_header(self) -> None:
        (found,) = problems("0,0.0,10,20\n1,0.04,11,20\n")
        assert found.startswith("line 1, the first line: has numbers where the columns should be named.")

    def test_order_of_times_and_frames(self) -> None:
        found = problems(
            "frame,time_s,x_px,y_px\n0,0,1,2\n1,0.08,1,2\n1,0.08,1,2\n3,0.04,1,2\n2.5,1,1,2\n,2,1,1\n"
        )
        assert any("line 4, time_s = 0.08: does not come after 0.08 in line 3" in one for one in found)
        assert any("more digits" in one for one in found)
        assert any("line 4, frame = 1: does not come after 1 in line 3" in one for one in found)
        assert any("line 5, time_s = 0.04: does not come after" in one for one in found)
        assert any("line 6, frame = 2.5: is not a whole number" in one for one in found)
        assert any("line 7, frame: is empty" in one for one in found)

    def test_rows_of_another_width(self) -> None:
        found = problems("time_s,x_px,y_px\n0,1,2\n1,2\n2,1,2,3\n")
        assert found[0] == "line 3, row = 1,2: has 2 cells between commas, for 3 columns."
        assert found[1].endswith("With decimal commas, put semicolons or tabs between the columns.")

    def test_point_and_comma(self) -> None:
        text = "time_s;x_px;y_px\n0,5;1;2\n1.5;1;2\n2,5;1;2\n3,5;1;2\n"
        assert "a decimal point (line 3) and a decimal comma (line 2)" in problems(text)[0]

    def test_too_few(self) -> None:
        assert "is empty" in problems("")[0]
        assert "is empty" in problems("\n# nothing\n")[0]
        assert "has 0 frames with a position; at least 4" in problems("time_s,x_px,y_px\n")[0]
        assert "has 3 frames" in problems("time_s,x_px,y_px\n0,1,2\n1,1,2\n2,,\n3,1,1\n")[0]

    def test_files(self, tmp_path) -> None:
        def failing(path):
            with pytest.raises(InputError) as caught:
                read_take(path)
            return str(caught.value)

        (tmp_path / "inkwell-take.csv").write_text(PLAIN)
        assert 'Did you mean "' in failing(tmp_path / "inkwel-take.csv")
        assert "is a folder" in failing(tmp_path)
        (tmp_path / "clip.mov").write_bytes(b"\x00\x01moov\xff\xfe" * 50)
        assert "Export the track as CSV" in failing(tmp_path / "clip.mov")
        (tmp_path / "latin.csv").write_bytes("time_s,x_px,y_px,Größe\n".encode("latin-1"))
        assert "line 1, text: this is not UTF-8 text" in failing(tmp_path / "latin.csv")
        assert "cannot be opened" in failing("a\0b")

    def test_sizes_are_bounded(self, tmp_path, monkeypatch) -> None:
        assert "is too large: 40,000,000 bytes at most" in problems("x" * (LARGEST_TABLE + 1))[0]
        assert MOST_ROWS == 2_000_000
        monkeypatch.setattr(tables, "MOST_ROWS", 1000)
        assert "has more than 1,000 rows" in problems("time_s,value\n" + "1,2\n" * 1001, keys_from_text)[0]
        path = tmp_path / "huge.csv"
        with path.open("wb") as stream:
            stream.truncate(LARGEST_TABLE + 1)
        with pytest.raises(InputError, match="is too large"):
            read_take(path)

    @pytest.mark.parametrize("rate", [0.0, -25.0, float("nan"), float("inf")])
    def test_frame_rate(self, rate) -> None:
        with pytest.raises(ArgumentError, match="frame_rate: given"):
            take_from_text(PLAIN, frame_rate=rate)

    @given(st.text(max_size=200))
    def test_any_text_is_read_or_explained(self, text) -> None:
        for read in (take_from_text, keys_from_text):
            try:
                read(text)
            except InputError:
                continue

    @given(st.text(alphabet='0123456789.,;\t\n" -+enai#', max_size=120))
    def test_any_table_is_read_or_explained(self, text) -> None:
        for read, header in ((take_from_text, "time_s,x_px,y_px\n"), (keys_from_text, "")):
            try:
                read(header + text)
            except InputError:
                continue


class TestKeys:
    @pytest.mark.parametrize(
        "text",
        [
            "time_s,value\n0,0\n0.5,1.25\n2,220\n",
            "0,0\n0.5,1.25\n2,220\n",
            "0;0\n0,5;1,25\n2;220\n",
            "0\t0\n0,5\t1,25\n2\t220",
            "# the move\nValue;note;Time (s)\n0;a;0\n1,25;b;0,5\n220;c;2\n",
        ],
    )
    def test_ways_to_write_them(self, text) -> None:
        keys = keys_from_text(text, "inkwell-keys.csv")
        assert keys.times.tolist() == [0.0, 0.5, 2.0]
        assert keys.values.tolist() == [0.0, 1.25, 220.0]
        assert keys.source == "inkwell-keys.csv"

    def test_from_a_file(self, tmp_path) -> None:
        path = tmp_path / "keys.csv"
        path.write_text("0,0\n4,220\n")
        assert read_keys(path).values.tolist() == [0.0, 220.0]

    def test_what_is_wrong(self) -> None:
        def wrong(text):
            return problems(text, keys_from_text)

        assert "needs" in wrong("")[0] or "need two lines" in wrong("")[0]
        assert wrong("0,0\n1,\n2,5\n") == ["line 2, value: is empty; every keyframe needs a number."]
        assert wrong("0,0\n1,2\n1,5\n")[0].startswith("line 3, time_s = 1: does not come after 1 in line 2")
        assert "has 1 keyframes" in wrong("0,0\n")[0]
        assert "value: is missing" in wrong("time_s,values\n0,0\n1,1\n")[0]
        assert 'Did you mean "value"' in wrong("time_s,values\n0,0\n1,1\n")[0]
        assert "has 4 cells between commas, for 2 columns" in wrong("0,0,0,0\n0,5,12,3\n")[0]
        assert "semicolons or tabs" in wrong("0,0,0,0\n0,5,12,3\n")[0]
        assert "line 2, value = x: is not a number" in wrong("0,0\n1,x\n")[0]


def test_72000_rows_in_little_memory() -> None:
    rng = np.random.default_rng(0)
    rows = np.column_stack([np.arange(72_000), np.arange(72_000) / 120.0, rng.normal(900, 5, (72_000, 2))])
    text = "frame,time_s,x_px,y_px\n" + "\n".join(
        f"{frame:.0f},{at:.5f},{x:.3f},{y:.3f}" for frame, at, x, y in rows
    )
    tracemalloc.start()
    take = take_from_text(text)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert take.positions == pytest.approx(rows[:, 2:], abs=6e-4)
    assert peak < 60e6


@pytest.mark.parametrize("rate", [1e-300, 1e300])
def test_a_frame_rate_of_no_camera_is_refused(rate):
    with pytest.raises(ArgumentError, match=r"cameras film 0\.001 to 1e"):
        take_from_text("frame,x_px,y_px\n0,1,2\n", frame_rate=rate)
