"""Common faces of a vane: how much light they absorb and how much infrared they emit, each with its source."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Face:
    """A material of a face.

    Attributes
    ----------
    name : str
        Common name.
    absorptance, emissivity : str
        For light of a lamp or the sun, and total near room temperature, as `bench.toml` takes them; empty where no
        value was found.
    source : str
        Where the values come from.
    bright : bool
        Whether it serves as a bright face.
    """

    name: str
    absorptance: str
    emissivity: str
    source: str
    bright: bool = True


_TABLES = "emissivity tables in FLIR Systems, User's manual FLIR T10xx series"
_SUN = "Mechanical Engineers' Handbook, vol. 4, Table 19 (after J. P. Holman, Heat Transfer, 1981)"
_COATINGS = "a table of coatings at html.scirp.org/file/88555_1.htm"

FACES: tuple[Face, ...] = (
    Face(
        "soot of a candle", "0.96 +/- 0.02", "0.95 +/- 0.03",
        f"emissivity: {_TABLES}, 0.95 at 20 °C; absorptance from memory, no table found; measure where it counts",
        bright=False,
    ),
    Face(
        "black paint, dull", "0.96 +/- 0.03", "0.96 +/- 0.03",
        f"emissivity: {_TABLES}, 0.96 to 0.98; absorptance: {_SUN}, flat black lacquer 0.96", bright=False,
    ),
    Face(
        "white paint", "0.19 +/- 0.05", "0.88 +/- 0.08",
        f"emissivity: {_TABLES}, 0.8 to 0.95; absorptance: {_SUN}, 0.12 to 0.16, and {_COATINGS}, 0.19 to 0.25",
    ),
    Face(
        "aluminium foil, bright side", "0.15 +/- 0.05", "0.05 +/- 0.02",
        f"emissivity: {_TABLES}, 0.04 for 10 µm; absorptance: {_COATINGS}, 0.19, and {_SUN}, highly polished 0.15",
    ),
    Face(
        "aluminium, polished", "0.15 +/- 0.04", "0.05 +/- 0.02",
        f"emissivity: {_TABLES}, 0.04 to 0.06 at 50 to 100 °C; absorptance: {_SUN}, highly polished 0.15",
    ),
    Face("aluminium, strongly oxidised", "", "0.25 +/- 0.05", f"{_TABLES}, 0.2 to 0.3; no absorptance found"),
    Face("aluminium, anodised sheet", "", "0.55 +/- 0.05", f"{_TABLES}, 0.55; no absorptance found"),
    Face(
        "copper, polished", "0.18 +/- 0.05", "0.02 +/- 0.01",
        f"emissivity: {_TABLES}, 0.02; absorptance: {_SUN}, highly polished 0.18",
    ),
    Face(
        "paper, white", "0.27 +/- 0.08", "0.93 +/- 0.03",
        "emissivity: table in Ideal Industries, HeatSeeker 160 manual, white bond paper 0.93; absorptance from memory, "
        "no table found",
    ),
    Face(
        "mica", "", "0.75 +/- 0.10",
        "emissivity from memory, no table found; no absorptance found: it depends on thickness and backing",
    ),
)  # fmt: skip
