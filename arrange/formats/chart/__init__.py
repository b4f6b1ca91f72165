"""The text chart: what a band writes by hand, read into a Song and written from one.

Its grammar is in datasets/README.md. Reading goes in steps: `lines` (with their places),
`header`, `sections`, `sounds`, `rows` and `tablature` (settings, parts, sections of rows),
`items` and `bar_content` (what stands in a bar), `building` (a printed score), `score_columns`
(its columns), all led by `reading`. All faults are reported at once, each under its line.
"""

from arrange.formats.chart.reading import read_chart, read_typed
from arrange.formats.chart.writing import format_chart, write_chart

__all__ = ["format_chart", "read_chart", "read_typed", "write_chart"]
