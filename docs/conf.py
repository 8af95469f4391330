"""How the manual is built: `make docs`."""

from __future__ import annotations

import sys
from pathlib import Path

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE))

from make_reference import write_all  # noqa: E402
from notebooks import write_pages  # noqa: E402

from edgewind.memory import collect_seldom, keep_freed_memory  # noqa: E402

keep_freed_memory()
collect_seldom()  # the pages are trees of many objects that stay

write_all(HERE / "generated")
write_pages(HERE / "generated" / "notebooks")

project = "Edgewind"
author = "The Edgewind founders"
copyright = "2026, the Edgewind founders"
extensions = [
    "myst_parser",
    "sphinx.ext.autodoc",
    "numpydoc",
    "sphinx_gallery.gen_gallery",
]
exclude_patterns = [
    "examples",
    "notebooks",
    "gallery/*.ipynb",
    "gallery/*.py",
    "gallery/*.json",
    "sg_execution_times.rst",
    "gallery/sg_execution_times.rst",
]
suppress_warnings = ["config.cache"]
myst_enable_extensions = ["colon_fence", "deflist", "dollarmath"]
myst_heading_anchors = 3
smartquotes = False  # options begin with two hyphens

autodoc_typehints = "none"
autodoc_member_order = "bysource"
numpydoc_show_class_members = False
numpydoc_xref_param_type = False

html_theme = "furo"
html_title = "Edgewind"
html_static_path = ["static"]
html_css_files = ["edgewind.css"]
html_show_sphinx = False
html_show_sourcelink = False
html_theme_options = {
    "light_css_variables": {
        "color-brand-primary": "#0b5d66",
        "color-brand-content": "#0b5d66",
        "font-stack": "system-ui, sans-serif",
    },
    "dark_css_variables": {"color-brand-primary": "#7fd0d8", "color-brand-content": "#7fd0d8"},
}

sphinx_gallery_conf = {
    "examples_dirs": "examples",
    "gallery_dirs": "gallery",
    "filename_pattern": r"/\d\d_",
    "within_subsection_order": "FileNameSortKey",
    "download_all_examples": False,
    "show_signature": False,
    "remove_config_comments": True,
    "min_reported_time": 1e9,
    "abort_on_example_error": True,
    "plot_gallery": "True",
}
