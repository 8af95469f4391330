"""The pages in the browser: at the bench, the question, the gas itself, the books."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from edgewind.web.app import make_app
    from edgewind.web.serve import serve
else:
    from edgewind.doors import names_on_demand

    __getattr__ = names_on_demand(__name__, __file__)

__all__ = ["make_app", "serve"]
