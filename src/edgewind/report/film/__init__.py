"""The gas drawn for a film: stills and animations of solutions of the kinetic solver."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from edgewind.report.film.field import GasField, field_of_response, gas_field
    from edgewind.report.film.movie import Film, check_film, make_film
    from edgewind.report.film.picture import GasPicture, caption
    from edgewind.report.film.rotor_field import RotorField, rotor_fields, rotor_series, shipped_rotor_fields
    from edgewind.report.film.rotor_picture import RotorPicture
    from edgewind.report.film.series import FieldFrame, GasSeries, gas_series, standard_knudsen
    from edgewind.report.film.shipped import shipped_fields
    from edgewind.report.film.still import check_still, picture_of, still_bytes, write_still
    from edgewind.report.film.words import DRIVES, QUANTITIES, SIZES, THEMES, Mark, mark_of, option_of
else:
    from edgewind.doors import names_on_demand

    __getattr__ = names_on_demand(__name__, __file__)

__all__ = [
    "DRIVES",
    "QUANTITIES",
    "SIZES",
    "THEMES",
    "FieldFrame",
    "Film",
    "GasField",
    "GasPicture",
    "GasSeries",
    "Mark",
    "RotorField",
    "RotorPicture",
    "caption",
    "check_film",
    "check_still",
    "field_of_response",
    "gas_field",
    "gas_series",
    "make_film",
    "mark_of",
    "option_of",
    "picture_of",
    "rotor_fields",
    "rotor_series",
    "shipped_fields",
    "shipped_rotor_fields",
    "standard_knudsen",
    "still_bytes",
    "write_still",
]
