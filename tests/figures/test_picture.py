"""Saving: every format is written, at its size, with the same bytes each time."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image

from kit.errors import DataError, PlanError
from kit.figures import FORMATS, running_stills, save_animation, save_picture, to_png, to_svg
from kit.figures.style import PAGE
from tests.figures import invented
from tests.figures.gallery import EY, NAMES, Setting, gallery

PIXELS = {
    "still-wide": (1920, 1080),
    "still-wide-4k": (3840, 2160),
    "still-tall": (1080, 1920),
    "still-tall-4k": (2160, 3840),
}


# a 4k still differs from its smaller twin in nothing but its pixels: one of each is enough
WRITTEN = sorted(name for name in FORMATS if "4k-" not in name)


@pytest.mark.parametrize("name", WRITTEN)
def test_every_format_is_written(name: str, tmp_path: Path):
    picture = gallery(2)["differences"]()
    files = save_picture(picture, tmp_path, name)
    assert {path.suffix[1:] for path in files} == set(FORMATS[name].kinds)
    assert (tmp_path / f"{picture.name}.txt").read_text(encoding="utf-8") == picture.alt + "\n"
    for path in files:
        content = path.read_bytes()
        if path.suffix == ".png":
            image = Image.open(BytesIO(content))
            base = name.removesuffix("-clear").removesuffix("-dark")
            if base in PIXELS:
                assert image.size == PIXELS[base]
            corner = image.convert("RGBA").getpixel((2, 2))
            assert (corner[3] == 0) == name.endswith("-clear")
        elif path.suffix == ".svg":
            assert ET.fromstring(content).tag.endswith("svg")
        else:
            assert content.startswith(b"%PDF")


def test_widths_of_print_are_those_of_a_journal(tmp_path: Path):
    """One column 85 mm, two columns 174 mm."""
    picture = gallery(2)["means"]()
    for name, millimetres in (("print-single", 85), ("print-double", 174)):
        svg = save_picture(picture, tmp_path, name)[1].read_text(encoding="utf-8")
        points = float(re.search(r'width="([\d.]+)pt"', svg)[1])
        assert points / 72 * 25.4 == pytest.approx(millimetres, abs=0.01)


@pytest.mark.parametrize("name", NAMES)
def test_svg_and_png_have_the_same_bytes_each_time(name: str):
    first, second = gallery(4)[name](), gallery(4)[name]()
    assert to_svg(first.figure, first.name) == to_svg(second.figure, second.name)
    if name == "shots":
        assert to_png(first.figure, 80) == to_png(second.figure, 80)


def test_bytes_do_not_depend_on_process_time_or_settings_of_the_user(tmp_path: Path):
    """Another process, another hash seed, another matplotlibrc and time zone: the same SVG."""
    code = (
        "import sys; sys.path.insert(0, sys.argv[1])\n"
        "from tests.figures.gallery import gallery\n"
        "from kit.figures import to_svg\n"
        "import hashlib\n"
        "p = gallery(2)['means'](); print(hashlib.sha256(to_svg(p.figure, p.name)).hexdigest())"
    )
    root = str(Path(__file__).parents[2])
    (tmp_path / "matplotlibrc").write_text(
        "font.family: serif\nlines.linewidth: 7\naxes.grid: True\naxes.facecolor: red\n"
        "xtick.labelsize: 30\nsvg.fonttype: none\naxes.formatter.use_locale: True\n"
    )
    outputs = set()
    for variables in (
        {},
        {"PYTHONHASHSEED": "7", "TZ": "Asia/Tokyo", "MATPLOTLIBRC": str(tmp_path)},
    ):
        done = subprocess.run(
            [sys.executable, "-c", code, root],
            env={**os.environ, **variables},
            capture_output=True,
            text=True,
            check=True,
        )
        outputs.add(done.stdout.strip())
    assert len(outputs) == 1


def test_an_unknown_format_lists_the_known_ones(tmp_path: Path):
    with pytest.raises(PlanError, match=r"no figure format “poster”.*still-wide"):
        save_picture(gallery(2)["means"](), tmp_path, "poster")
    assert not list(tmp_path.iterdir())


def test_stills_in_shooting_order_share_their_axes_and_become_an_animation(tmp_path: Path):
    kept = invented.kept(invented.shots(2)).head(5)
    stills = running_stills(kept, EY, Setting(invented.methods(2)))
    assert [still.name for still in stills] == [f"running_ey_pct_{n}" for n in range(1, 6)]
    limits = {still.draw(PAGE).axes[0].get_ylim() for still in stills}
    assert len(limits) == 1
    path = save_animation(stills, tmp_path, "still-tall", 200)
    with Image.open(path) as film:
        assert film.n_frames == 5
    with pytest.raises(DataError, match="no stills"):
        save_animation([], tmp_path, "still-tall", 200)


def test_no_figure_goes_through_pyplot():
    """pyplot keeps figures in a global list: a notebook would leak them."""
    code = (
        "import sys; sys.path.insert(0, sys.argv[1])\n"
        "from tests.figures.gallery import gallery\n"
        "[make().figure for make in list(gallery(2).values())[::3]]\n"
        "sys.exit('matplotlib.pyplot' in sys.modules or 'seaborn' in sys.modules)"
    )
    root = str(Path(__file__).parents[2])
    assert subprocess.run([sys.executable, "-c", code, root], check=False).returncode == 0
