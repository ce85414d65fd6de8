"""How the pages become a site: ``make docs`` builds it and fails where a link leads nowhere."""

project = "Proveout"
author = "the Proveout maintainers"
extensions = ["myst_parser"]
source_suffix = {".md": "markdown", ".rst": "restructuredtext"}
exclude_patterns = ["_build", "README.md"]
myst_heading_anchors = 3
html_theme = "alabaster"
html_theme_options = {
    "description": "Proving a rebuilt plant wire by wire",
    "fixed_sidebar": True,
    "page_width": "70em",
}
html_show_sourcelink = False
html_copy_source = False
nitpicky = True
