"""Serves plotly.js out of the installed plotly package, so that no copy of it is committed."""

from pathlib import Path

import plotly
from django.contrib.staticfiles.finders import BaseFinder
from django.core.files.storage import FileSystemStorage


class PlotlyFinder(BaseFinder):
    """Finds one file, ``plotly/plotly.min.js``."""

    path = "plotly/plotly.min.js"

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.storage = FileSystemStorage(location=Path(plotly.__file__).parent / "package_data")
        self.storage.prefix = "plotly"

    def find(self, path, find_all=False, **kwargs):
        if path != self.path:
            return []
        found = self.storage.path("plotly.min.js")
        return [found] if find_all else found

    def list(self, ignore_patterns):
        yield "plotly.min.js", self.storage
