"""Following a point through a video: accuracy against motion that is known exactly, and files that are no good."""

import csv
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from rendered_takes import Again, RenderedTake, encode

import rigcheck
from rigcheck.errors import ArgumentError, InputError, RigcheckError
from rigcheck.files import write_whole
from rigcheck.files.takes import read_take
from rigcheck.files.video import (
    FrameSource,
    Video,
    is_video,
    marked_picture,
    propose_points,
    track_csv,
    track_video,
)

RATE = 50.0
FRAMES = 70
INSIDE = (92.0, 112.0)  # on the prop, its square well within the outline
GROUND = [
    (293.0, 30.0),
    (70.0, 212.0),
    (285.0, 205.0),
    (180.0, 200.0),
    (180.0, 35.0),
]  # the last is hidden later


def glide(times):
    """A move of 126 px in 0.8 s, 6 px from frame to frame at its fastest, then 7 Hz dying down."""
    share = np.clip(times / 0.8, 0.0, 1.0)
    way = share**3 * (10.0 - 15.0 * share + 6.0 * share**2)
    since = np.maximum(times - 0.8, 0.0)
    ringing = np.exp(-0.02 * 2 * np.pi * 7.0 * since) * np.sin(2 * np.pi * 7.0 * since)
    return np.stack(
        [90.0 + 125.0 * way + 1.5 * ringing, 110.0 - 20.0 * way + 3.0 * ringing, 0.0 * times], axis=1
    )


def turning(times):
    """The same, while the prop turns by 126 degrees."""
    places = glide(times)
    share = np.clip(times / 0.8, 0.0, 1.0)
    places[:, 2] = 0.7 * np.pi * share**3 * (10.0 - 15.0 * share + 6.0 * share**2)
    return places


def shaking(times):
    """A tripod that is knocked: both ways, and a turn of a quarter of a degree."""
    w = 2 * np.pi * times
    return np.stack([1.5 * np.sin(3.0 * w), np.sin(4.3 * w + 1.0), 0.004 * np.sin(2.2 * w)], axis=1)


def off(track, truth):
    """Error of each axis, root mean square over the frames found, and how many were lost [px]."""
    error = track.positions - truth
    found = np.isfinite(error).all(axis=1)
    return float(np.sqrt((error[found] ** 2).mean())), int((~found).sum())


def raw(take):
    return FrameSource(Again(take), RATE)


# Half a tenth of a pixel, where the issue asks for one tenth. 8 bits and grain of two levels alone would allow 0.007.
@pytest.mark.parametrize(
    "changes",
    [
        pytest.param({}, id="plain"),
        pytest.param({"way": turning}, id="turned by 126 degrees"),
        pytest.param({"grain": 6.0}, id="coarse grain"),
        pytest.param({"shutter": 1.0}, id="shutter open all the time"),
        pytest.param({"brightness": lambda frame: 1.0 + 0.1 * np.sin(frame)}, id="flickering lamp"),
    ],
)
def test_a_point_is_followed_to_a_twentieth_of_a_pixel(changes):
    take = RenderedTake(**{"way": glide, "frames": FRAMES} | changes)
    track = track_video(raw(take), point=INSIDE, still=())
    error, lost = off(track, take.truth(INSIDE))
    assert lost == 0
    assert error < 0.05
    assert np.nanmax(track.way_back) < 0.2


# mp4v costs most: its blocks are coarse at the default quality, and it is the worst of the codecs met in practice.
@pytest.mark.parametrize(("codec", "ending"), [("mp4v", "mp4"), ("MJPG", "avi"), ("FFV1", "mkv")])
def test_a_compressed_file_is_followed_to_a_tenth_of_a_pixel(tmp_path, codec, ending):
    take = RenderedTake(way=glide, frames=FRAMES)
    path = encode(take.pictures(), tmp_path / f"take.{ending}", rate=RATE, codec=codec)
    track = track_video(path, point=INSIDE, still=())
    error, lost = off(track, take.truth(INSIDE))
    assert lost == 0
    assert error < 0.1
    assert track.frame_rate == pytest.approx(RATE)


def test_positions_between_pixels_and_the_point_named_are_kept():
    take = RenderedTake(way=glide, frames=6)
    point = (92.3, 111.6)
    track = track_video(raw(take), point=point, still=())
    assert track.positions[0] == pytest.approx(point)
    assert off(track, take.truth(point))[0] < 0.05


def test_camera_shake_is_taken_out_with_its_turning():
    take = RenderedTake(way=glide, shake=shaking, frames=FRAMES)
    track = track_video(raw(take), point=INSIDE, still=GROUND)
    freed = track.positions - track.background
    steady = RenderedTake(way=glide, frames=FRAMES).truth(INSIDE)
    error = freed - freed[0] - (steady - steady[0])
    assert np.sqrt((error**2).mean()) < 0.05
    assert np.ptp(take.background_truth(GROUND[0])[:, 0]) > 2.0  # there was something to take out
    assert any("its turning included" in note for note in track.take.notes)


def test_a_single_still_point_is_followed_as_it_is():
    take = RenderedTake(way=glide, shake=shaking, frames=30)
    track = track_video(raw(take), point=INSIDE, still=GROUND[:1])
    error = track.background - take.background_truth(GROUND[0])
    assert np.sqrt((error**2).mean()) < 0.05


def test_what_the_prop_comes_before_is_left_out_of_the_background():
    take = RenderedTake(way=glide, frames=FRAMES)
    hidden = (215.0, 110.0)
    track = track_video(raw(take), point=INSIDE, still=[hidden, *GROUND])
    assert np.nanmax(np.abs(track.background - track.background[0])) < 0.1
    assert any(
        "2 of 6 background points" in note and "215,110 from frame" in note for note in track.take.notes
    )


def test_points_are_proposed_on_what_moves_and_on_what_stays():
    take = RenderedTake(way=glide, frames=FRAMES)
    found = propose_points(raw(take))
    assert found.moving
    assert found.still
    for one in found.moving:  # the square of each lies on the prop
        assert abs(one.x - 90.0) + one.half <= 0.5 * take.prop[0]
        assert abs(one.y - 110.0) + one.half <= 0.5 * take.prop[1]
        assert one.extent > 10.0
    for one in found.still:
        assert (
            abs(one.x - 90.0) - one.half > 0.5 * take.prop[0]
            or abs(one.y - 110.0) - one.half > 0.5 * take.prop[1]
        )
    assert [one.number for one in (*found.moving, *found.still)] == list(
        range(1, 1 + len(found.moving) + len(found.still))
    )


def test_a_wobble_of_one_pixel_alone_is_enough_to_tell_the_prop():
    def wobble(times):
        return np.stack([160.0 + np.sin(2 * np.pi * 4.0 * times), 110.0 + 0 * times, 0 * times], axis=1)

    found = propose_points(raw(RenderedTake(way=wobble, frames=40)))
    assert found.moving
    assert all(abs(one.x - 160.0) < 55.0 and abs(one.y - 110.0) < 45.0 for one in found.moving)


def test_a_small_prop_is_found_with_a_small_square():
    take = RenderedTake(way=glide, frames=40, prop=(38.0, 34.0))
    found = propose_points(raw(take))
    assert found.moving
    assert found.moving[0].half == 12
    track = track_video(raw(take))
    assert off(track, take.truth(track.point))[0] < 0.1


def test_the_strongest_point_that_moves_is_taken_where_none_is_named():
    take = RenderedTake(way=glide, frames=FRAMES)
    track = track_video(raw(take))
    assert off(track, take.truth(track.point))[0] < 0.05
    assert any("No point was named" in note for note in track.take.notes)
    assert len(track.still) > 2


def test_nothing_moves():
    def rest(times):
        return np.stack([90.0 + 0 * times, 110.0 + 0 * times, 0 * times], axis=1)

    with pytest.raises(InputError, match=r"nothing in the picture was seen to move.*--follow"):
        track_video(raw(RenderedTake(way=rest, frames=12)))


def test_a_named_point_on_the_edge_of_the_prop_is_remarked_upon():
    take = RenderedTake(way=glide, frames=FRAMES)
    track = track_video(raw(take), point=(130.0, 112.0), still=())  # 5 of 41 px of its square are background
    assert any("One side of the square" in note for note in track.take.notes)


def test_a_named_point_half_off_the_prop_is_lost_with_advice():
    take = RenderedTake(way=glide, frames=FRAMES)
    track = track_video(raw(take), point=(140.0, 112.0), still=())
    assert any("lost for good" in note and "further inside the prop" in note for note in track.take.notes)


class Hidden:
    """A bar passes before the prop in some frames, or stays there."""

    def __init__(self, take, first, last):
        self.take, self.first, self.last = take, first, last

    def __iter__(self):
        for number, picture in enumerate(self.take.pictures()):
            if self.first <= number <= self.last:
                picture[:, 60:260] = 90 + (np.arange(200) % 7 * 9).astype(np.uint8)
            yield picture


def test_a_point_that_is_hidden_is_lost_and_found_again_by_frame_number():
    take = RenderedTake(way=glide, frames=FRAMES)
    track = track_video(FrameSource(Hidden(take, 40, 45), RATE), point=INSIDE, still=())
    gone = np.flatnonzero(~np.isfinite(track.positions[:, 0]))
    assert gone.tolist() == list(range(40, 46))
    assert off(track, take.truth(INSIDE))[0] < 0.05
    assert track.take.dropped == 6
    assert any("lost from frame 40 to 45 (0.8 s)" in note for note in track.take.notes)


def test_a_point_that_stays_hidden_is_told_with_its_last_frame():
    take = RenderedTake(way=glide, frames=FRAMES)
    track = track_video(FrameSource(Hidden(take, 30, 999), RATE), point=INSIDE, still=())
    assert any("lost for good at frame 30" in note for note in track.take.notes)
    assert track.take.times[-1] == pytest.approx(29 / RATE)
    with pytest.raises(InputError, match=r"3 frames with a position of 70.*lost at frame 3"):
        track_video(FrameSource(Hidden(take, 3, 999), RATE), point=INSIDE, still=())


def repeated(pictures, rows):
    kept = list(pictures)
    return [kept[row] for row in rows]


def test_repeated_frames_are_found_and_left_out():
    take = RenderedTake(way=glide, frames=30)
    rows = [*range(12), 11, 13, 14, 14, *range(16, 30)]
    track = track_video(FrameSource(repeated(take.pictures(), rows), RATE), point=INSIDE, still=())
    assert np.flatnonzero(~np.isfinite(track.positions[:, 0])).tolist() == [12, 15]
    assert off(track, take.truth(INSIDE))[0] < 0.05  # the others keep their times
    assert any(
        "2 of 30 frames repeat the one before (the first is frame 12)" in note for note in track.take.notes
    )


def test_a_file_brought_to_twice_its_rate_is_told():
    take = RenderedTake(way=glide, frames=30)
    rows = np.repeat(np.arange(30), 2)
    track = track_video(FrameSource(repeated(take.pictures(), rows), 100.0), point=INSIDE, still=())
    assert any("brought from about 50 to 100 frames a second" in note for note in track.take.notes)
    assert track.take.times[:3] == pytest.approx([0.0, 0.02, 0.04])


def test_a_still_picture_without_grain_has_no_repeats():
    take = RenderedTake(way=lambda t: glide(np.maximum(t - 0.4, 0.0)), frames=40, grain=0.0)
    track = track_video(raw(take), point=INSIDE, still=())
    assert not any("repeat" in note for note in track.take.notes[1:])
    assert np.isfinite(track.positions[:17]).all()


@pytest.mark.parametrize(
    ("given", "rate", "says"), [(None, 25.0, "as the file says"), (100.0, 100.0, "plays at 25")]
)
def test_the_rate_as_shot_wins_over_the_file_and_it_is_said_which_was_used(tmp_path, given, rate, says):
    take = RenderedTake(way=glide, frames=8, width=160)
    path = encode(take.pictures(), tmp_path / "slow.avi", rate=25.0, codec="MJPG")
    track = track_video(path, point=INSIDE, still=(), frame_rate=given)
    assert track.take.times[:3] == pytest.approx(np.arange(3) / rate)
    assert track.take.frame_rate == pytest.approx(rate)
    assert any(says in note for note in track.take.notes)


def test_the_track_is_written_for_reuse_and_read_again(tmp_path):
    take = RenderedTake(way=glide, frames=FRAMES)
    track = track_video(
        FrameSource(Hidden(take, 40, 45), RATE, source="a\x1b[31mb.mp4"), point=INSIDE, still=GROUND
    )
    path = write_whole(tmp_path / "track.csv", track_csv(track))
    again = read_take(path)
    assert again.positions == pytest.approx(track.take.positions, abs=1e-4)
    assert again.background == pytest.approx(track.take.background, abs=1e-4)
    assert again.times == pytest.approx(track.take.times, abs=1e-7)
    assert again.dropped == 6
    text = path.read_text()
    assert text.splitlines()[2] == "frame,time_s,x_px,y_px,still_x_px,still_y_px,match"
    assert "\x1b" not in text
    assert len(list(csv.reader(text.splitlines()[2:]))) == FRAMES + 1


def test_the_marked_picture_shows_the_numbers():
    import cv2

    take = RenderedTake(way=glide, frames=30)
    found = propose_points(raw(take))
    picture = cv2.imdecode(np.frombuffer(marked_picture(raw(take), found), np.uint8), cv2.IMREAD_COLOR)
    assert picture.shape == (240, 320, 3)
    first = next(take.pictures())
    changed = np.abs(picture.astype(int) - first[:, :, None]).max(axis=2) > 40
    one = found.moving[0]
    ring = changed[int(one.y) - one.half - 1 : int(one.y) - one.half + 2, int(one.x)]
    assert ring.any()


def test_progress_is_told():
    seen = []
    take = RenderedTake(way=glide, frames=10)
    track_video(raw(take), point=INSIDE, still=(), progress=lambda done, total: seen.append((done, total)))
    assert [done for done, _ in seen] == list(range(1, 11))


def test_one_picture_at_a_time_is_held():
    """Memory does not grow with the take: a picture is let go before the next but one is made."""
    import gc
    import weakref

    take = RenderedTake(way=glide, frames=20)
    alive = []

    class Watched:
        def __iter__(self):
            for picture in take.pictures():
                held = picture.view(np.ndarray)
                alive.append(weakref.ref(held))
                gc.collect()
                assert sum(one() is not None for one in alive) <= 3
                yield held
                del held

    track_video(FrameSource(Watched(), RATE), point=INSIDE, still=())
    assert len(alive) > 20


@pytest.mark.parametrize(
    ("point", "says"),
    [
        ((5.0, 100.0), "too near its edge: x has to be 23 to 296 and y 23 to 216"),
        ((92.0, 999.0), "lies outside the picture"),
        ((float("nan"), 100.0), "lies outside the picture"),
    ],
)
def test_a_point_that_cannot_be_followed_from(point, says):
    with pytest.raises(InputError, match=says):
        track_video(raw(RenderedTake(way=glide, frames=6)), point=point, still=())


@pytest.mark.parametrize("what", ["plain", "edge"])
def test_a_plain_surface_and_a_straight_edge_are_refused(what):
    rng = np.random.default_rng(3)
    pictures = []
    for _ in range(6):
        picture = np.full((200, 200), 120.0)
        if what == "edge":
            picture[:, 100:] = 180.0
        pictures.append(np.rint(picture + rng.normal(0.0, 2.0, picture.shape)).astype(np.uint8))
    with pytest.raises(InputError, match="plain surface or a straight edge"):
        track_video(FrameSource(pictures, RATE), point=(100.0, 100.0), still=())


@pytest.mark.parametrize("rate", [0.0, -25.0, float("nan"), float("inf")])
def test_a_rate_that_is_none(rate):
    with pytest.raises(ArgumentError, match="frame_rate"):
        track_video(raw(RenderedTake(way=glide, frames=4)), point=INSIDE, frame_rate=rate)


@pytest.mark.parametrize("square", [0, 24, 203, -5])
def test_a_square_that_is_none(square):
    with pytest.raises(ArgumentError, match="25 to 201"):
        track_video(raw(RenderedTake(way=glide, frames=4)), point=INSIDE, square=square)


# -- files that are no good -----------------------------------------------------------------------------


def video_bytes(tmp_path, codec="mp4v", ending="mp4", frames=30):
    path = tmp_path / f"whole.{ending}"
    take = RenderedTake(way=glide, frames=frames, width=160)
    return encode(take.pictures(), path, rate=RATE, codec=codec).read_bytes()


def test_text_renamed(tmp_path):
    path = tmp_path / "take.mp4"
    path.write_text("frame,x_px,y_px\n0,1,2\n")
    with pytest.raises(InputError, match=r"take.mp4: 1 problem\n  the file: is text, not a video"):
        Video(path)


def test_a_play_list_is_not_followed(tmp_path):
    path = tmp_path / "take.mp4"
    path.write_text("#EXTM3U\n#EXTINF:10,\nhttp://127.0.0.1:9/take.ts\n")
    with pytest.raises(InputError, match="is text, not a video"):
        Video(path)


def test_an_mp4_cut_short_has_no_index(tmp_path, capfd):
    content = video_bytes(tmp_path)
    path = tmp_path / "take.mp4"
    path.write_bytes(content[: len(content) // 2])
    with pytest.raises(InputError, match="damaged, cut short, or of an unknown kind"):
        Video(path)
    assert capfd.readouterr() == ("", "")


def test_an_avi_cut_short_is_followed_to_its_end_and_that_is_said(tmp_path, capfd):
    content = video_bytes(tmp_path, "MJPG", "avi", 40)
    path = tmp_path / "take.avi"
    path.write_bytes(content[: int(0.6 * len(content))])
    track = track_video(path, point=INSIDE, still=())
    assert any("of the 40 frames it says it has" in note for note in track.take.notes)
    assert capfd.readouterr() == ("", "")


def test_damaged_bytes_end_in_words_or_in_a_track(tmp_path, capfd):
    content = video_bytes(tmp_path)
    rng = np.random.default_rng(5)
    outcomes = set()
    for number in range(25):
        damaged = bytearray(content)
        for place in rng.integers(0, len(damaged), 1 + 4 * number):
            damaged[place] = rng.integers(0, 256)
        path = tmp_path / f"damaged-{number}.mp4"
        path.write_bytes(bytes(damaged))
        try:
            track = track_video(path, point=INSIDE, still=())
        except InputError as error:
            outcomes.add("refused" if path.name in str(error) else "refused without its name")
        else:
            outcomes.add("followed")
            assert np.isfinite(track.take.positions).all()
    assert outcomes == {"refused", "followed"}
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize(
    ("frames", "says"), [(1, "has 1 frame; at least 4"), (3, "has 3 frames; at least 4")]
)
def test_too_few_frames(tmp_path, frames, says):
    path = tmp_path / "short.avi"
    encode(RenderedTake(way=glide, frames=frames, width=160).pictures(), path, rate=RATE, codec="MJPG")
    with pytest.raises(InputError, match=says):
        track_video(path, point=INSIDE, still=())


def test_no_frames(tmp_path):
    content = video_bytes(tmp_path, "MJPG", "avi", 4)
    path = tmp_path / "none.avi"
    path.write_bytes(content[: content.index(b"movi") + 4])
    with pytest.raises(InputError, match=r"has no frame that can be decoded|cannot be read as a video"):
        track_video(path, point=INSIDE, still=())


def test_what_is_no_file(tmp_path):
    (tmp_path / "take.mp4").write_bytes(b"\0")
    (tmp_path / "empty.mov").touch()
    (tmp_path / "folder.mov").mkdir()
    os.mkfifo(tmp_path / "pipe.mp4")
    for name, says in [
        ("tale.mp4", 'there is no such file. Did you mean ".*take.mp4"'),
        ("empty.mov", "is empty"),
        ("folder.mov", "is a folder"),
        ("pipe.mp4", "is no ordinary file"),
        ("take.mp4", "cannot be read as a video"),
        ("http://127.0.0.1:9/take.mp4", "there is no such file"),
        ("take%03d.mp4", "there is no such file"),
        ("a\0b.mp4", "cannot be opened"),
    ]:
        with pytest.raises(InputError, match=says):
            Video(tmp_path / name if "://" not in name else name)


def test_a_tiny_picture(tmp_path):
    take = RenderedTake(way=glide, frames=6, width=40, height=32)
    path = encode(take.pictures(), tmp_path / "tiny.avi", rate=RATE, codec="MJPG")
    with pytest.raises(InputError, match="picture of 40 x 32 px; 47 each way are needed"):
        track_video(path, point=(20.0, 16.0), still=())
    with pytest.raises(InputError, match="nothing in the picture was seen to move"):
        track_video(path)


def test_pictures_beyond_all_measure_are_refused_before_they_are_decoded(tmp_path, monkeypatch):
    (tmp_path / "vast.avi").write_bytes(video_bytes(tmp_path, "MJPG", "avi", 4))
    monkeypatch.setattr("rigcheck.files.video_frames._MOST_PIXELS", 30_000)
    monkeypatch.setattr(Video, "_next", None)
    with pytest.raises(InputError, match="has pictures of 160 x 240 px"):
        Video(tmp_path / "vast.avi")


def test_without_the_extra_one_plain_message_says_how_to_install_it(tmp_path, monkeypatch):
    path = tmp_path / "take.avi"
    path.write_bytes(b"RIFF\0\0\0\0AVI ")
    monkeypatch.setitem(sys.modules, "cv2", None)
    with pytest.raises(RigcheckError, match=r'pip install "rigcheck\[video\]"'):
        Video(path)


def test_a_table_is_read_without_loading_the_extra():
    code = (
        "import sys; from rigcheck.studies.explain.study import explain; "
        "assert 'cv2' not in sys.modules and 'rigcheck.files.video' in sys.modules"
    )
    root = Path(rigcheck.__file__).parents[1]
    subprocess.run([sys.executable, "-c", code], check=True, cwd=root)


def test_video_is_told_by_its_ending():
    assert is_video("A001.MOV")
    assert not is_video("take.csv")
