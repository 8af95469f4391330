"""The pages in the browser: at the bench, the question, the gas itself, the books."""

from edgewind.web.app import make_app
from edgewind.web.serve import serve

__all__ = ["make_app", "serve"]
