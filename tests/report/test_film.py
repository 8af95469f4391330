"""The gas as a picture and as a film: agreement with the solver, exact symmetry, complete files or none."""

import io
import itertools
import json
import signal
import sys
import xml.etree.ElementTree as ET
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest
from matplotlib.text import Text
from numpy.testing import assert_allclose, assert_array_equal
from PIL import Image
from scipy.interpolate import RegularGridInterpolator
from support.films import read_back

from edgewind.__main__ import main
from edgewind.errors import EdgewindError, InputError, OutOfRangeError
from edgewind.kinetics import Response, respond
from edgewind.report.film import (
    QUANTITIES,
    SIZES,
    GasPicture,
    GasSeries,
    field_of_response,
    gas_field,
    gas_series,
    make_film,
    mark_of,
    picture_of,
    shipped_rotor_fields,
    standard_knudsen,
    still_bytes,
    write_still,
)
from edgewind.report.film.colours import from_oklab, nice_limit, paint, scale_of, to_oklab
from edgewind.report.film.movie import places
from edgewind.report.film.sample import stream_function
from edgewind.report.film.specks import ON_A_LINE, Specks

ROUGH = {"tolerance": 0.05, "fineness": 0.5}


def drawn(answer, knudsen=None, **how):
    """Return the figure of a picture, its moving parts included."""
    picture = picture_of(answer, **how)
    if knudsen is not None:
        picture.show(knudsen)
    for artist in picture.moving:
        artist.set_animated(False)
    return picture.figure


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("answers")


@pytest.fixture(scope="module")
def strip(folder):
    """The strip at three Knudsen numbers."""
    return gas_series("strip", [3.0, 0.1, 0.6], cache=folder, **ROUGH)


@pytest.fixture(scope="module")
def square(folder):
    return GasSeries([gas_field("square", 1.0, cache=folder, tolerance=0.05, fineness=0.4)])


@pytest.fixture(scope="module")
def fields(folder):
    """Each drive once."""
    return {drive: gas_field("strip", 0.3, drive=drive, cache=folder, **ROUGH) for drive in ("thermal", "flow", "warm")}


def along(values, sheet, points):
    """Values on the points of a sheet, at other points, by SciPy's linear rule."""
    rule = RegularGridInterpolator((sheet.y, sheet.x), values, bounds_error=False, fill_value=None)
    return rule(points[:, ::-1])


# ---- agreement with the solver


@pytest.mark.parametrize("drive", ["thermal", "flow", "warm"])
def test_the_drawn_flow_conserves_gas_at_the_walls(fields, drive):
    """The flow through every column of cells, summed from the axis to the side wall, must vanish."""
    psi = stream_function(fields[drive])
    assert np.abs(psi[:, -1]).max() < 1e-4 * np.abs(psi).max()
    assert abs(fields[drive].mass_residual) < 1e-4


def test_the_drawn_heat_flows_only_into_walls(fields):
    """Beside the vane heat goes through columns alike: at the axis behind, the function starts where it must."""
    field = fields["thermal"]
    psi = stream_function(field, "heat_flux")
    x = 0.5 * (field.x[1:] + field.x[:-1])
    front = int(np.argmax(x > 0.0))
    past = field.y > field.edge + 0.2
    assert_allclose(psi[front, past], psi[front - 1, past], atol=0.02 * np.abs(psi).max())


@pytest.mark.parametrize("drive", ["thermal", "warm"])
def test_flow_lines_follow_the_velocity_of_the_solver(fields, drive):
    series = GasSeries([fields[drive]])
    picture, moment, sheet = GasPicture(series, size="page"), series.at(0.3), series.sheet
    field = fields[drive]
    cells = 0.5 * (field.x[1:] + field.x[:-1]), 0.5 * (field.y[1:] + field.y[:-1])
    lines = picture.lines_of(moment)
    assert len(lines) >= 9
    for line in lines:
        assert np.ptp(along(moment.stream, sheet, line.points)) < 0.02 * np.abs(moment.stream).max()
        middle, step = 0.5 * (line.points[1:] + line.points[:-1]), np.diff(line.points, axis=0)
        u = np.stack(
            [
                RegularGridInterpolator(cells, field.moment(f"velocity_{a}"), bounds_error=False, fill_value=None)(
                    middle
                )
                for a in "xy"
            ],
            axis=1,
        )
        # At the vane and where the gas hardly moves, the cells of a rough answer do not tell the direction.
        fast = np.hypot(*u.T)
        sure = (fast > 0.1 * fast.max()) & (np.abs(middle[:, 0]) > 0.1) & (np.hypot(*step.T) > 0.0)
        cosine = np.sum(u * step, axis=1)[sure] / (np.hypot(*u.T) * np.hypot(*step.T))[sure]
        assert np.median(cosine) > 0.99
        assert np.mean(cosine > 0.9) > 0.95


def test_gas_creeps_round_the_edge_from_cold_to_hot(fields):
    """Thermal creep: along a surface, gas flows towards its warmer side (Maxwell 1879)."""
    field = fields["thermal"]
    past = int(np.searchsorted(field.y, field.edge))
    at = np.searchsorted(field.x, 0.0)
    assert field.moment("velocity_x")[at - 1 : at + 1, past].min() > 0.0  # +x is towards the hot side


def test_flow_lines_of_the_strip_are_closed(fields):
    series = GasSeries([fields["thermal"]])
    lines = GasPicture(series, size="page").lines_of(series.at(0.3))
    assert all(line.closed and np.array_equal(line.points[0], line.points[-1]) for line in lines)


def test_strokes_in_space_follow_the_flow(square):
    moment, sheet = square.at(1.0), square.sheet
    lines = GasPicture(square, size="page").lines_of(moment)
    assert len(lines) > 60
    for line in lines:
        middle, step = 0.5 * (line.points[1:] + line.points[:-1]), np.diff(line.points, axis=0)
        u = np.stack([along(part, sheet, middle) for part in moment.flow], axis=1)
        cosine = np.sum(u * step, axis=1) / (np.hypot(*u.T) * np.hypot(*step.T))
        assert np.median(cosine) > 0.98
        assert np.all(line.points[:, 1] >= 0.0)


def test_arrow_heads_point_along_their_lines(strip):
    moment = strip.at(0.6)
    for line in GasPicture(strip, size="page").lines_of(moment):
        for x, y, dx, dy in line.heads:
            near = np.argsort(np.hypot(line.points[:, 0] - x, line.points[:, 1] - y))[:2]
            first, second = sorted(near)
            step = line.points[second] - line.points[first]
            assert step @ [dx, dy] > 0.8 * np.hypot(*step)
            assert np.hypot(dx, dy) == pytest.approx(1.0)


@pytest.mark.parametrize("drive", ["thermal", "flow", "warm"])
def test_shares_add_to_one_and_their_mean_is_the_coefficient(fields, drive):
    field = fields[drive]
    assert field.area_share + field.edge_share == 1.0
    assert 0.0 < field.edge_share < field.area_share
    widths = np.diff(field.y)[: field.stress.size]
    assert widths.sum() == pytest.approx(field.edge)
    assert field.stress @ widths / widths.sum() == pytest.approx(field.mean)
    assert field.area_share == pytest.approx(field.stress[0] / field.mean)
    assert field.mean == pytest.approx(field.coefficient, rel=0.02)


def test_temperature_is_antisymmetric_in_the_picture(fields):
    values = GasSeries([fields["thermal"]]).at(0.3).values
    assert_allclose(values, -values[:, ::-1], atol=1e-6)
    assert values.max() == pytest.approx(0.4, abs=0.1)


def test_a_series_equals_its_nodes_and_is_smooth_between(strip, folder):
    for field in strip.fields:
        moment = strip.at(field.knudsen, "speed")
        assert_allclose(moment.values, GasSeries([field]).at(field.knudsen, "speed").values, atol=1e-6)
        assert moment.coefficient == pytest.approx(field.coefficient, rel=0.01)
        assert moment.area_share == pytest.approx(field.area_share)
    solved = gas_field("strip", 0.25, cache=folder, **ROUGH)
    between, true = strip.at(0.25), GasSeries([solved]).at(0.25)
    assert np.abs(between.values - true.values).max() < 0.05
    assert between.area_share == pytest.approx(true.area_share, abs=0.05)


def test_a_response_with_fields_can_be_drawn():
    answer = respond("strip", 1.0, tolerance=0.05, fields=True, cache=False)
    field = field_of_response(answer)
    data = answer.to_dataset().sel(drive="faces")
    assert_allclose(field.moment("temperature"), data["temperature"].to_numpy())
    assert_allclose(field.stress, (data["face_pressure"][0] - data["face_pressure"][1]).dropna("y").to_numpy())
    assert (field.coefficient, field.error) == (answer.thermal_force, answer.errors["thermal_force"])
    assert drawn(answer).get_size_inches().tolist() == [12.8, 7.2]
    with pytest.raises(InputError, match="holds no fields"):
        field_of_response(Response.from_json(answer.to_json()))


def test_stored_fields_are_read_again_and_damaged_ones_solved_again(fields, folder, monkeypatch):
    files = sorted(folder.glob("*.npz"))
    assert files
    again = gas_field("strip", 0.3, cache=folder, **ROUGH)
    assert_array_equal(again.moments, fields["thermal"].moments)
    assert again.room == (4.0, 4.0)
    monkeypatch.setattr("edgewind.report.film.field.solve", lambda *a, **k: pytest.fail("solved again"))
    gas_field("strip", 0.3, cache=folder, **ROUGH)
    monkeypatch.undo()
    for file in files:
        kept = file.read_bytes()
        file.write_bytes(kept[: len(kept) // 2])
    anew = gas_field("strip", 0.3, cache=folder, **ROUGH)
    assert_allclose(anew.moments, fields["thermal"].moments, atol=1e-9)


# ---- the picture


def test_the_lower_half_is_the_exact_mirror_image(strip):
    picture = GasPicture(strip, size="page")
    for knudsen in (0.1, 1.0):
        picture.show(knudsen)
        image = np.asarray(picture._image.get_array())
        assert_array_equal(image, image[::-1])
        lines = [np.asarray(path.vertices) for path in picture._lines.get_paths()]
        half = len(lines) // 2
        for above, below in zip(lines[:half], lines[half:], strict=True):
            assert_array_equal(above * [1.0, -1.0], below)


@pytest.mark.parametrize("quantity", sorted(QUANTITIES))
def test_the_colour_scale_covers_all_values_shown(strip, quantity):
    picture = GasPicture(strip, quantity=quantity, size="page")
    low, high = picture.limits
    for knudsen in (0.1, 0.25, 1.5, 3.0):
        values = strip.at(knudsen, quantity).values
        assert low <= values.min()
        assert values.max() <= high
    assert low == (-high if QUANTITIES[quantity].signed else 0.0)


def overlaps(figure):
    """Pairs of texts that overlap, and texts that stick out of the figure."""
    figure.draw_without_rendering()
    texts = [text for text in figure.findobj(Text) if text.get_visible() and text.get_text().strip()]
    boxes = [(text.get_text(), text.get_window_extent()) for text in texts]
    whole = figure.bbox
    out = [
        words for words, box in boxes
        if box.x0 < whole.x0 or box.x1 > whole.x1 or box.y0 < whole.y0 or box.y1 > whole.y1
    ]  # fmt: skip
    pairs = [
        (a, b) for (a, one), (b, two) in itertools.combinations(boxes, 2)
        if min(one.x1, two.x1) - max(one.x0, two.x0) > 0.5 and min(one.y1, two.y1) - max(one.y0, two.y0) > 0.5
    ]  # fmt: skip
    return pairs, out


@pytest.mark.parametrize("drive", ["thermal", "flow", "warm"])
@pytest.mark.parametrize("quantity", sorted(QUANTITIES))
def test_no_labels_overlap(fields, drive, quantity):
    for size in ("1080p", "vertical") if quantity in ("pressure", "heat-flux") else ("1080p",):
        assert overlaps(drawn(fields[drive], quantity=quantity, size=size)) == ([], []), size


def test_no_labels_overlap_in_any_frame_or_for_a_square(strip, square):
    for knudsen in (3.0, 0.8, 0.25, 0.1):
        assert overlaps(drawn(strip, knudsen=knudsen, theme="dark")) == ([], [])
    assert overlaps(drawn(square, quantity="density")) == ([], [])
    # The longest caption.
    mixed = replace(strip.fields[0], accommodation=(0.83, 0.91, 0.77), position=0.45, room=(4.25, 3.75))
    assert overlaps(drawn(mixed, quantity="heat-flux")) == ([], [])
    # Dense gas pushes at the edge alone.
    dense = replace(strip.fields[0], stress=np.where(np.arange(strip.fields[0].stress.size) > 10, 20.0, 0.1), mean=1.0)
    assert overlaps(drawn(dense)) == ([], [])


@pytest.mark.parametrize("size", sorted(SIZES))
def test_stills_have_the_size_asked_for(fields, size):
    with Image.open(io.BytesIO(still_bytes(fields["thermal"], "png", size=size, theme="dark"))) as image:
        assert image.size == SIZES[size]
        assert image.mode == "RGB"
        assert image.getpixel((2, 2)) == (0x14, 0x17, 0x1C)


def test_svg_holds_its_labels_as_text(fields):
    root = ET.fromstring(still_bytes(fields["thermal"], "svg"))
    words = " ".join("".join(node.itertext()) for node in root.iter("{http://www.w3.org/2000/svg}text"))
    for wanted in ("hot face", "cold face", "Kn 0.30", "Computed, not measured", "area", "edge", "per ΔT/T₀"):
        assert wanted in words
    title = root.find("{http://www.w3.org/2000/svg}title")
    assert title is not None
    assert "Knudsen number of 0.300" in title.text


def test_a_picture_for_a_phone_has_a_short_caption_instead_of_its_footnote(fields):
    pages = [still_bytes(fields["thermal"], "svg", footnote=wanted).decode() for wanted in (True, False)]
    with_it, without = (ET.fromstring(page).iter("{http://www.w3.org/2000/svg}text") for page in pages)
    assert len(list(without)) < len(list(with_it))
    assert "Computed, not measured" in pages[1] and "resolution" not in pages[1]


@pytest.mark.parametrize("size", ["page", "vertical"])
def test_a_place_of_ones_own_is_marked_on_the_curve_with_its_words(strip, size):
    """At its Knudsen number on the axis, which runs from thin gas to dense, in pictures of a vane and of a rotor."""
    for answer in (strip, shipped_rotor_fields("thermal")):
        places = {}
        for knudsen in (2.0, 0.5):
            drawn = ET.fromstring(still_bytes(answer, "svg", size=size, mark=mark_of(f"{knudsen}: my rotor, 3 Pa")))
            texts = drawn.iter("{http://www.w3.org/2000/svg}text")
            (words,) = (node for node in texts if "my rotor" in "".join(node.itertext()))
            assert "".join(words.itertext()).strip() == "my rotor, 3 Pa"
            places[knudsen] = float(words.get("x"))
        assert places[2.0] < places[0.5]
        with pytest.raises(InputError, match="beyond the curve"):
            still_bytes(answer, "svg", size=size, mark=mark_of("300: far"))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("my rotor", "is not a Knudsen number"),
        ("-1: x", "above 0"),
        ("nan: x", "above 0"),
        ("1: " + 40 * "w", "32 char"),
    ],
)
def test_a_mark_that_cannot_be_drawn_is_refused(text, words):
    with pytest.raises(InputError, match=words):
        mark_of(text)
    assert mark_of(" ") is None


@pytest.mark.parametrize("kind", ["png", "svg"])
def test_same_answer_gives_the_same_bytes(strip, kind):
    one = still_bytes(strip, kind, knudsen=0.2, size="page")
    picture = GasPicture(strip, size="page")
    picture.show(2.0)
    picture.png()
    picture.svg()
    picture.show(0.2)
    two = picture.svg().encode() if kind == "svg" else picture.png(effort=6)
    assert one == two


def test_threads_may_share_a_picture_and_draw_at_the_same_time(strip):
    wanted = [0.15, 2.5, 0.15, 2.5]
    alone = GasPicture(strip, size="page")
    serial = {kn: (alone.png(kn), alone.svg(kn)) for kn in set(wanted)}
    shared = GasPicture(strip, size="page")

    def draw(kn):
        own = GasPicture(strip, size="page", theme="light")
        return shared.png(kn), own.svg(kn)

    with ThreadPoolExecutor(4) as pool:
        assert list(pool.map(draw, wanted)) == [serial[kn] for kn in wanted]


def test_a_picture_has_a_text_alternative(fields):
    words = GasPicture(fields["thermal"], size="page").alt()
    assert "hot and a cold face" in words
    assert "Knudsen number of 0.300" in words
    assert "from the edge" in words


def test_colour_scales_are_even_and_symmetric():
    for theme in ("light", "dark"):
        signed = to_oklab(scale_of(signed=True, theme=theme))
        lightness = signed[:, 0]
        assert_allclose(lightness, lightness[::-1], atol=0.01)
        half = np.diff(lightness[: len(lightness) // 2])
        assert_allclose(half, half.mean(), atol=0.15 * abs(half.mean()))
        plain = np.diff(to_oklab(scale_of(signed=False, theme=theme))[:, 0])
        assert_allclose(plain, plain.mean(), atol=0.15 * abs(plain.mean()))
        # Those who do not tell red from green still see blue against yellow: the third axis.
        assert signed[-1, 2] - signed[0, 2] > 0.12
    colours = np.random.default_rng(1).random((50, 3))
    assert_allclose(from_oklab(to_oklab(colours)), colours, atol=1e-6)


def test_zero_has_the_colour_of_the_paper_and_limits_those_of_the_ends():
    table = np.rint(255 * scale_of(signed=True, theme="light")).astype(int)
    painted = paint(np.array([-2.0, 0.0, 2.0]), (-2.0, 2.0), signed=True, theme="light")
    assert_array_equal(painted[[0, 2]], table[[0, -1]])
    assert np.abs(painted[1].astype(int) - [0xF7, 0xF4, 0xEC]).max() <= 1
    assert nice_limit(0.0) == 1.0
    for value in (1e-7, 0.03, 0.3001, 7.0, 99.0):
        assert value <= nice_limit(value) <= 2.1 * value


# ---- the film


def test_specks_stay_on_their_lines_and_move_with_the_flow(strip):
    moment = strip.at(0.6)
    lines = GasPicture(strip, size="page").lines_of(moment)
    drifting = Specks()
    before = drifting.step(lines, moment, strip.sheet, 1 / 30)
    after = drifting.step(lines, moment, strip.sheet, 1 / 30)
    assert before.shape == (ON_A_LINE * len(lines), 2)
    top = np.abs(moment.stream).max()
    for number in range(len(lines)):
        mine = slice(ON_A_LINE * number, ON_A_LINE * (number + 1))
        assert_allclose(along(moment.stream, strip.sheet, after[mine]) / top, (number + 0.5) / 10, atol=0.03)
    moved = np.hypot(*(after - before).T)
    assert np.all(moved > 0.0)
    assert np.median(moved) < 0.2


@pytest.mark.parametrize(("size", "seconds", "fps"), [("page", 0.4, 25), ("4K", 0.2, 10)])
def test_film_reads_back_with_its_frames_size_and_duration(strip, tmp_path, size, seconds, fps):
    told = []
    film = make_film(
        tmp_path / "gas.mp4", strip, size=size, seconds=seconds, fps=fps, progress=lambda done, total: told.append(done)
    )
    found = read_back(film.path)
    frames = round(seconds * fps)
    assert (found["frames"], film.frames, told) == (frames, frames, list(range(1, frames + 1)))
    assert found["size"] == SIZES[size] == (film.width, film.height)
    assert found["fps"] == fps
    assert found["seconds"] == pytest.approx(seconds, abs=0.011)
    assert found["codec"] == "h264"
    assert found["pix_fmt"].startswith("yuv420p")
    assert film.path.stat().st_mode & 0o777 == 0o644
    assert list(tmp_path.iterdir()) == [film.path]


def test_every_frame_has_its_own_knudsen_number():
    route = places(10.0, 0.01, 300)
    assert (route[0], route[-1]) == (pytest.approx(10.0), pytest.approx(0.01))
    assert np.all(np.diff(route) <= 0.0)
    speed = -np.diff(np.log(route))
    assert speed.max() < 1.5 * np.log(1000.0) / 299 / 0.84
    assert np.all(speed[:20] == 0.0)


class Stopped(Exception):
    pass


@pytest.mark.parametrize("stop", [KeyboardInterrupt, Stopped])
def test_cancelling_leaves_no_partial_film_and_keeps_the_old_one(strip, tmp_path, stop):
    path = tmp_path / "gas.mp4"
    path.write_bytes(b"the old one")

    def progress(done, total):
        if done == 2:
            raise stop

    with pytest.raises(stop):
        make_film(path, strip, size="page", seconds=1.0, fps=10, replace=True, progress=progress)
    assert path.read_bytes() == b"the old one"
    assert list(tmp_path.iterdir()) == [path]


def test_a_film_that_exists_is_kept(strip, tmp_path):
    path = tmp_path / "gas.mp4"
    path.write_bytes(b"the old one")
    with pytest.raises(InputError, match="exists already"):
        make_film(path, strip, size="page", seconds=0.2, fps=10)
    assert path.read_bytes() == b"the old one"
    assert make_film(path, strip, size="page", seconds=0.2, fps=10, replace=True).bytes == path.stat().st_size > 100


def test_a_film_created_in_the_meantime_is_kept(strip, tmp_path):
    path = tmp_path / "gas.mp4"
    with pytest.raises(InputError, match="was created"):
        make_film(path, strip, size="page", seconds=0.2, fps=10, progress=lambda *_: path.write_bytes(b"another's"))
    assert path.read_bytes() == b"another's"
    assert list(tmp_path.iterdir()) == [path]


def test_missing_or_failing_ffmpeg_is_named_and_leaves_nothing(strip, tmp_path, monkeypatch):
    path = tmp_path / "gas.mp4"
    monkeypatch.setenv("IMAGEIO_FFMPEG_EXE", "/bin/false")
    with pytest.raises(EdgewindError, match="FFmpeg could not encode"):
        make_film(path, strip, size="page", seconds=1.0, fps=10)
    monkeypatch.setenv("IMAGEIO_FFMPEG_EXE", str(tmp_path / "nothing-here"))
    with pytest.raises(EdgewindError, match="does not start"):
        make_film(path, strip, size="page", seconds=1.0, fps=10)
    monkeypatch.delenv("IMAGEIO_FFMPEG_EXE")
    monkeypatch.setitem(sys.modules, "imageio_ffmpeg", None)
    with pytest.raises(EdgewindError, match=r'pip install "edgewind\[film\]"'):
        make_film(path, strip, size="page", seconds=1.0, fps=10)
    assert list(tmp_path.iterdir()) == []


def test_stills_are_written_completely_or_not_at_all(fields, tmp_path):
    path = tmp_path / "gas.png"
    write_still(path, b"one")
    with pytest.raises(InputError, match="exists already"):
        write_still(path, b"two")
    assert path.read_bytes() == b"one"
    write_still(path, b"two", replace=True)
    assert path.read_bytes() == b"two"
    assert list(tmp_path.iterdir()) == [path]


# ---- refused input


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda gas: gas_field("strip", 0.001), "must be between 0.005 and"),
        (lambda gas: gas_field("strip", 5000.0), "thinner gas hardly flows"),
        (lambda gas: gas_field("square", 0.01), "denser gas in space"),
        (lambda gas: gas_field("strip", float("inf")), "cannot be drawn"),
        (lambda gas: gas_field("hexagon", 1.0), "not a known shape"),
        (lambda gas: gas_field("strip", 1.0, drive="sound"), "choose one of thermal"),
        (lambda gas: gas_field("strip", 1.0, fineness=9), "stay between 0.3 and 2"),
        (lambda gas: gas_series("strip", [0.1, 0.1], cache=False, **ROUGH), "is given twice"),
        (lambda gas: GasSeries([]), "no Knudsen number is given"),
        (lambda gas: GasPicture(gas, quantity="colour"), "choose one of temperature"),
        (lambda gas: GasPicture(gas, theme="sepia"), "choose one of light"),
        (lambda gas: GasPicture(gas, size="8K"), "choose one of page"),
        (lambda gas: still_bytes(gas, "gif"), "choose one of png"),
        (lambda gas: gas.at(100.0), "outside what was computed"),
        (lambda gas: make_film("gas.avi", gas), r"end the name in \.mp4"),
        (lambda gas: make_film("no-such-folder/gas.mp4", gas), "folder does not exist"),
        (lambda gas: make_film("gas.mp4", gas, seconds=0.0), "duration of a film cannot be 0 s"),
        (lambda gas: make_film("gas.mp4", gas, fps=1000), "frame rate cannot be 1000 a second"),
        (lambda gas: make_film("gas.mp4", GasSeries(gas.fields[:1])), "two Knudsen numbers or more"),
        (lambda gas: write_still("gas.jpg", b""), r"\.png or \.svg"),
    ],
)
def test_bad_input_is_refused_with_a_correction(strip, call, words, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(InputError, match=words):
        call(strip)
    assert list(tmp_path.iterdir()) == []


def test_series_of_two_cases_is_refused(strip, fields):
    with pytest.raises(InputError, match="differ in drive"):
        GasSeries([strip.fields[0], fields["warm"]])
    with pytest.raises(OutOfRangeError):
        strip.check(1e3)


def test_all_standard_knudsen_numbers_can_be_drawn():
    from edgewind.report.film.field import check_field_knudsen

    for shape in ("strip", "square", "disc"):
        numbers = standard_knudsen(shape)
        assert [check_field_knudsen(shape, kn) for kn in numbers] == numbers


# ---- the command


def run(monkeypatch, *words):
    monkeypatch.setattr(sys, "argv", ["edgewind", *map(str, words)])
    try:
        main()
    except SystemExit as ended:
        return ended.code or 0
    return 0


def test_command_writes_a_film_and_a_still(tmp_path, folder, monkeypatch, capsys):
    monkeypatch.setenv("EDGEWIND_CACHE", str(folder))
    movie, still = tmp_path / "gas.mp4", tmp_path / "gas.svg"
    words = ("film", "--knudsen", "1:3:2", "--out", movie, "--still", still, "--at", "2", "--size", "page", "--seconds",
             "0.2", "--fps", "10", "--tolerance", "0.05", "--json")  # fmt: skip
    assert run(monkeypatch, *words) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["film"]["frames"] == 2
    assert (told["film"]["knudsen_first"], told["film"]["knudsen_last"]) == (1.0, 3.0)
    assert told["still"]["knudsen"] == 2.0
    assert [node["area_share"] + node["edge_share"] for node in told["nodes"]] == [1.0, 1.0]
    assert movie.stat().st_size == told["film"]["bytes"]
    assert ET.parse(still).getroot().tag.endswith("svg")
    assert run(monkeypatch, *words) == 2
    assert "exists already" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((), "give --out FILE.mp4"),
        (("--out", "gas.avi"), ".mp4"),
        (("--out", "gas.mp4", "--size", "huge"), "choose one of page, 1080p, 4K"),
        (("--out", "gas.mp4", "--knudsen", "0.001,1"), "must be between 0.005 and"),
        (("--out", "gas.mp4", "--knudsen", "much"), "does not give Knudsen numbers"),
        (("--out", "gas.mp4", "--knudsen", "1"), "a film needs two Knudsen numbers or more"),
        (("--out", "none/gas.mp4"), "folder does not exist"),
        (("--still", "gas.png"), "give --at"),
        (("--still", "gas.png", "--knudsen", "1,2", "--at", "5"), "lies outside"),
        (("--still", "gas.png", "--at", "1", "--quantity", "taste"), "choose one of temperature"),
    ],
)
def test_command_refuses_bad_input_with_status_two(tmp_path, monkeypatch, capsys, words, said):
    monkeypatch.chdir(tmp_path)
    assert run(monkeypatch, "film", *words) == 2
    assert said in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_an_interrupted_command_leaves_no_files(tmp_path, monkeypatch, strip):
    """Ctrl-C at the terminal: the signal while frames are drawn, and no file."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)  # ignored where tests run in the background

    def stop(done, total):
        if done == 3:
            signal.raise_signal(signal.SIGINT)

    try:
        with pytest.raises(KeyboardInterrupt):
            make_film(str(tmp_path / "gas.mp4"), strip, size="page", seconds=2, progress=stop)
    finally:
        signal.signal(signal.SIGINT, before)
    assert list(tmp_path.iterdir()) == []
